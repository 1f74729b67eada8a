package ammeter

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"paneglow/anim/show"
)

// MeterShare is how far a reading may be off, with half a unit of its last
// digit on top; Tolerance is how many times that a law may be off and still fit.
// Both are common practice for hand-held meters, no standard.
const (
	MeterShare = 0.01
	Tolerance  = 2
)

// Strip is what was measured.
type Strip struct {
	Dies         int // 3 or 4
	Pixels       int // that were lit, one address each
	LEDsPerPixel int // 0 counts as 1
}

// Law is one law's explanation of the readings, in microamperes per pixel.
type Law struct {
	Law     show.Law
	Idle    float64
	Channel [4]float64 // red, green, blue, white at full duty
	Ceiling float64    // per pixel; law ceiling only
	// Open is how far each of the above may be off when the readings are right
	// within the meter's share and last digit: idle, channels, ceiling.
	Open   [6]float64
	Says   []float64 // of each reading, microamperes for the whole strip
	Worst  float64   // largest miss in units of what a meter may be off
	Off    float64   // largest miss as a share of its reading's light
	Checks int       // readings beyond what the currents themselves take
	Valid  bool      // false: the readings do not determine this law's currents
}

// Fits tells whether no reading is off by more than Tolerance allows.
func (l *Law) Fits() bool { return l.Valid && l.Worst <= Tolerance }

// says is what the law makes of a reading, for one pixel.
func (l *Law) says(r *Reading) float64 {
	duty := float64(r.Code) / 255
	sum, most := 0.0, 0.0
	for d, ua := range l.Channel {
		if r.Dies>>d&1 != 0 {
			sum += ua
			most = max(most, ua)
		}
	}
	switch l.Law {
	case show.Sum:
		return l.Idle + duty*sum
	case show.Largest:
		return l.Idle + duty*most
	}
	return l.Idle + min(duty*sum, l.Ceiling)
}

// sigma is how far a reading may be off, in microamperes.
func sigma(r *Reading) float64 {
	return max(MeterShare*float64(r.Amps)+float64(r.Step)/2, 1)
}

// problem is the readings as equations that are linear once it is said which
// die is the largest, or which readings the ceiling holds.
type problem struct {
	strip    Strip
	readings []Reading
	share    [4][4]float64 // share[d][u]: what the current of read die u counts in die d
	read     []int         // dies that were read alone
}

func newProblem(s Strip, readings []Reading) *problem {
	p := &problem{strip: s, readings: readings}
	for d := range s.Dies {
		if slices.ContainsFunc(readings, func(r Reading) bool { return r.Dies == 1<<d }) {
			p.read = append(p.read, d)
		}
	}
	for d := range s.Dies {
		if slices.Contains(p.read, d) {
			p.share[d][d] = 1
			continue
		}
		// A coloured die that was not read draws as much as the others on average.
		n := 0.0
		for _, u := range p.read {
			if u < 3 {
				n++
			}
		}
		for _, u := range p.read {
			if u < 3 {
				p.share[d][u] = 1 / n
			}
		}
	}
	return p
}

// Fit explains the readings by every law: sum, largest, ceiling. The readings
// must have passed Check.
func Fit(s Strip, readings []Reading) [3]Law {
	readings = settle(readings)
	p := newProblem(s, readings)
	var out [3]Law
	for law := range out {
		out[law] = Law{Law: show.Law(law), Worst: math.Inf(1)}
	}
	p.try(&out[show.Sum], func(r *Reading) (Dies, bool) { return r.Dies, false })
	// Under largest one die stands for a set of them: by each order of the dies.
	permute([]int{0, 1, 2, 3}[:s.Dies], func(order []int) {
		p.try(&out[show.Largest], func(r *Reading) (Dies, bool) {
			for _, d := range order {
				if r.Dies>>d&1 != 0 {
					return 1 << d, false
				}
			}
			return 0, false
		})
	})
	// Under ceiling some of the lit readings are held, at least one.
	lit := 0
	for i := range readings {
		if readings[i].Dies != Dark {
			lit++
		}
	}
	for held := 1; held < 1<<lit; held++ {
		k := 0
		p.try(&out[show.Ceiling], func(r *Reading) (Dies, bool) {
			if r.Dies == Dark {
				return 0, false
			}
			k++
			return r.Dies, held>>(k-1)&1 != 0
		})
	}
	return out
}

// permute calls f with every order of the items.
func permute(items []int, f func([]int)) {
	var walk func(n int)
	walk = func(n int) {
		if n == len(items) {
			f(items)
			return
		}
		for i := n; i < len(items); i++ {
			items[n], items[i] = items[i], items[n]
			walk(n + 1)
			items[n], items[i] = items[i], items[n]
		}
	}
	walk(0)
}

// try solves the weighted least squares of one way to read a law, judges the
// currents by the law itself, and keeps them if they are better. what says
// which dies count in a reading, or that the ceiling does.
func (p *problem) try(best *Law, what func(*Reading) (Dies, bool)) {
	unknowns := 1 + len(p.read) // idle, the dies read, the ceiling
	if best.Law == show.Ceiling {
		unknowns++
	}
	if len(p.readings) < unknowns {
		return
	}
	a := mat.NewDense(len(p.readings), unknowns, nil)
	b := mat.NewVecDense(len(p.readings), nil)
	pixels := float64(p.strip.Pixels)
	for i := range p.readings {
		r := &p.readings[i]
		w := pixels / sigma(r)
		dies, held := what(r)
		a.Set(i, 0, w)
		if held {
			a.Set(i, unknowns-1, w)
		} else {
			for j, u := range p.read {
				k := 0.0
				for d := range p.strip.Dies {
					if dies>>d&1 != 0 {
						k += p.share[d][u]
					}
				}
				a.Set(i, 1+j, w*k*float64(r.Code)/255)
			}
		}
		b.SetVec(i, w*float64(r.Amps)/pixels)
	}
	var x mat.VecDense
	if err := x.SolveVec(a, b); err != nil {
		return // the readings do not determine the currents this way
	}
	got := Law{Law: best.Law, Idle: max(x.AtVec(0), 0), Checks: len(p.readings) - unknowns, Valid: true}
	var at, cov mat.Dense
	at.Mul(a.T(), a)
	if err := cov.Inverse(&at); err != nil {
		return
	}
	got.Open[0] = math.Sqrt(cov.At(0, 0))
	for d := range p.strip.Dies {
		v := 0.0
		for j, u := range p.read {
			got.Channel[d] += p.share[d][u] * x.AtVec(1+j)
			for k, t := range p.read {
				v += p.share[d][u] * p.share[d][t] * cov.At(1+j, 1+k)
			}
		}
		if got.Channel[d] <= 0 {
			return
		}
		got.Open[1+d] = math.Sqrt(v)
	}
	if best.Law == show.Ceiling {
		if got.Ceiling = x.AtVec(unknowns - 1); got.Ceiling <= 0 {
			return
		}
		got.Open[5] = math.Sqrt(cov.At(unknowns-1, unknowns-1))
	}
	got.judge(p.readings, pixels)
	if got.Worst < best.Worst {
		*best = got
	}
}

// judge says what the law makes of every reading, and how far that is off.
func (l *Law) judge(readings []Reading, pixels float64) {
	l.Says = make([]float64, len(readings))
	l.Worst, l.Off = 0, 0
	for i := range readings {
		r := &readings[i]
		l.Says[i] = pixels * l.says(r)
		miss := math.Abs(l.Says[i] - float64(r.Amps))
		l.Worst = max(l.Worst, miss/sigma(r))
		if light := float64(r.Amps) - pixels*l.Idle; r.Dies != Dark && light > 0 {
			l.Off = max(l.Off, miss/light)
		}
	}
}
