package photo

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// What is fitted: light = lobe L(r)/L(0) + lambert P(r)/P(0) + base, with L the
// model's lobe of a width and P its Lambertian part, less a share rim (r/R)^2
// that the lens takes away towards the outermost ring R. The rim's share is held
// near zero by rimError: the tail of a Lambertian part looks like it.
const (
	lnWidth = iota
	ofLobe
	ofLambert
	ofBase
	ofRim
	unknowns
)

// rimError is the standard deviation of the rim's share: a lens that nobody
// corrects takes 1 - cos^4 of the angle, 0.19 at a distance of three times R.
const rimError = 0.1

// Errors that are not noise, as shares: of the light itself, and of the peak.
// Real panes follow the model within a few per cent, and in their tails, below
// 1 % of the peak, hardly.
const (
	modelError = 0.01
	tailError  = 0.0005
)

// data is a profile to fit, less its lowest value and in shares of its contrast.
type data struct {
	m        *model
	radii    []float64 // in depths; the middle first, which is no ring
	value    []float64 // by ring
	whole    []float64 // the same with the background
	sigma    []float64 // standard deviations that the weights are made of
	now      []float64 // scratch: the lobe by radius
	z        []float64 // scratch: residuals of the last fit, where the next begins
	floor    float64   // the lowest value, of full scale
	contrast float64   // highest less lowest value, of full scale
}

// newData takes the rings listed; unit is a photo pixel in depths.
func newData(rings []ring, at []int, unit float64) *data {
	d := &data{radii: []float64{0}, floor: math.Inf(1), now: make([]float64, len(at)+1), z: make([]float64, len(at))}
	top := math.Inf(-1)
	for _, i := range at {
		d.floor, top = math.Min(d.floor, rings[i].value), math.Max(top, rings[i].value)
	}
	d.contrast = math.Max(top-d.floor, 1e-9)
	for _, i := range at {
		q := &rings[i]
		v, noise := (q.value-d.floor)/d.contrast, q.sigma/d.contrast
		d.radii = append(d.radii, q.r*unit)
		d.value = append(d.value, v)
		d.whole = append(d.whole, q.value/d.contrast)
		d.sigma = append(d.sigma, math.Sqrt(noise*noise+modelError*modelError*v*v+tailError*tailError))
	}
	return d
}

// fitted is one solution.
type fitted struct {
	x    [unknowns]float64
	cost float64
	free [unknowns]bool // false where it is held at its limit
}

// solve tries all widths of the model's nodes and half-way between, then looks
// closely at the best. The shares are solved for at each width, and none is
// below zero.
func (d *data) solve() fitted { return d.solveIn(0, 2*nodes-2) }

// solveNear looks only around a width.
func (d *data) solveNear(lnS float64) fitted {
	i := int((lnS - d.m.lo) / d.m.step * 2)
	return d.solveIn(max(i-3, 0), min(i+4, 2*nodes-2))
}

// solveIn looks at half nodes from..to.
func (d *data) solveIn(from, to int) fitted {
	last := d.m.lo + d.m.step*(nodes-1)
	best := fitted{cost: math.Inf(1)}
	for i := from; i <= to; i++ {
		if f := d.given(d.m.lo + d.m.step*float64(i)/2); f.cost < best.cost {
			best = f
		}
	}
	const golden = 0.6180339887498949
	a, b := math.Max(best.x[lnWidth]-d.m.step/2, d.m.lo), math.Min(best.x[lnWidth]+d.m.step/2, last)
	p, q := b-golden*(b-a), a+golden*(b-a)
	lo, hi := d.given(p), d.given(q)
	for b-a > 1e-6 {
		if lo.cost < hi.cost {
			b, q, hi = q, p, lo
			p = b - golden*(b-a)
			lo = d.given(p)
		} else {
			a, p, lo = p, q, hi
			q = a + golden*(b-a)
			hi = d.given(q)
		}
	}
	for _, f := range []fitted{lo, hi} {
		if f.cost < best.cost {
			best = f
		}
	}
	if best.x[ofLobe] == 0 {
		best.x[lnWidth] = last // no lobe: what it might hide is most like the widest
	}
	w := best.x[lnWidth]
	best.free[lnWidth] = w > d.m.lo+1e-5 && w < last-1e-5 && best.x[ofLobe] > 0
	return best
}

// given is the best solution at one width.
func (d *data) given(lnS float64) fitted {
	d.m.lobe(d.now, lnS)
	f := d.linear(lnS, ofLobe, ofLambert, ofBase, ofRim)
	if f.x[ofLobe] >= 0 && f.x[ofLambert] >= 0 {
		return f
	}
	best := fitted{cost: math.Inf(1)}
	for _, one := range []int{ofLobe, ofLambert} {
		if f := d.linear(lnS, one, ofBase, ofRim); f.x[one] >= 0 && f.cost < best.cost {
			best = f
		}
	}
	return best
}

// row is how the light at one radius changes with the shares, at the width of
// d.now.
func (d *data) row(i int) [unknowns]float64 {
	out := d.m.at[i+1] / d.m.at[len(d.m.at)-1]
	return [unknowns]float64{0, d.now[i+1] / d.now[0], d.m.lambert[i+1] / d.m.lambert[0], 1, -d.whole[i] * out * out}
}

// linear is soft-L1 regression at the width of d.now, by reweighting: the loss
// of a residual of z standard deviations is 2 (sqrt(1 + z^2) - 1), its weight
// 1/sqrt(1 + z^2).
func (d *data) linear(lnS float64, of ...int) fitted {
	f := fitted{cost: math.Inf(1)}
	f.x[lnWidth], f.free[lnWidth] = lnS, true
	n := len(of)
	var x mat.VecDense
	var chol mat.Cholesky
	z, last := d.z, math.Inf(1)
	for range 30 {
		var sum [unknowns * unknowns]float64
		var right [unknowns]float64
		for i, v := range d.value {
			row := d.row(i)
			w := 1 / (d.sigma[i] * d.sigma[i] * math.Sqrt(1+z[i]*z[i]))
			for p, j := range of {
				g := w * row[j]
				right[p] += g * v
				for q, k := range of {
					sum[p*n+q] += g * row[k]
				}
			}
		}
		for p, j := range of {
			if j == ofRim {
				sum[p*n+p] += 1 / (rimError * rimError)
			}
		}
		if !chol.Factorize(mat.NewSymDense(n, sum[:n*n])) || chol.SolveVecTo(&x, mat.NewVecDense(n, right[:n])) != nil {
			return f
		}
		cost := 0.0
		for p, j := range of {
			if j == ofRim {
				cost = x.AtVec(p) * x.AtVec(p) / (rimError * rimError)
			}
		}
		for i, v := range d.value {
			row := d.row(i)
			for p, j := range of {
				v -= row[j] * x.AtVec(p)
			}
			z[i] = v / d.sigma[i]
			cost += 2 * (math.Sqrt(1+z[i]*z[i]) - 1)
		}
		f.cost = cost
		if last-cost < 1e-8*(1+cost) {
			break
		}
		last = cost
	}
	for p, j := range of {
		f.x[j], f.free[j] = x.AtVec(p), true
	}
	return f
}

// lit is a solution's light at one radius, with what the lens takes put back,
// and its two parts.
type lit struct{ all, lobe, lambert float64 }

// light is a solution's light at every radius, the middle first.
func (d *data) light(f *fitted) []lit {
	d.m.lobe(d.now, f.x[lnWidth])
	out := make([]lit, len(d.now))
	for i := range d.now {
		l, p := f.x[ofLobe]*d.now[i]/d.now[0], f.x[ofLambert]*d.m.lambert[i]/d.m.lambert[0]
		out[i] = lit{l + p + f.x[ofBase], l, p}
	}
	return out
}

// rms is what a solution leaves over, in shares of the contrast.
func (d *data) rms(f *fitted) float64 {
	sum := 0.0
	for _, v := range d.left(f) {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(d.value)))
}

// innerExcess tells whether the rings of d that e leaves out are brighter than a
// solution of e says.
func (d *data) innerExcess(f *fitted, e *data) bool {
	inner := len(d.value) - len(e.value)
	light := d.light(f)
	sum := 0.0
	for i := range inner {
		sum += (d.value[i]*d.contrast + d.floor) - (light[i+1].all*e.contrast + e.floor)
	}
	return inner > 0 && sum > 0
}

// left is what a solution leaves over at every ring.
func (d *data) left(f *fitted) []float64 {
	d.m.lobe(d.now, f.x[lnWidth])
	out := make([]float64, len(d.value))
	for i, v := range d.value {
		row := d.row(i)
		for k := ofLobe; k < unknowns; k++ {
			v -= row[k] * f.x[k]
		}
		out[i] = v
	}
	return out
}

// share is the Lambertian share q of the scattered light. Of 1 cd at unit depth
// the model gives (1-q) L + q P.
func (d *data) share(f *fitted) float64 {
	d.m.lobe(d.now, f.x[lnWidth])
	a, c := f.x[ofLobe]/d.now[0], f.x[ofLambert]/d.m.lambert[0]
	return c / (a + c)
}

// influence is how the unknowns that are not held, and the Lambertian share
// beside them, answer to a change of each ring's value: one row an unknown, one
// column a ring; one column more is one standard deviation of the rim. The
// share's row is the last. It is nil where the rings do not
// tell the unknowns apart.
func (d *data) influence(f *fitted) *mat.Dense {
	var of []int
	for k, free := range f.free {
		if free || k == ofLambert || k == ofLobe {
			of = append(of, k) // what was held at zero has an uncertainty as well
		}
	}
	rings := len(d.value)
	const h = 1e-4
	up, down := make([]float64, rings+1), make([]float64, rings+1)
	d.m.lobe(up, f.x[lnWidth]+h)
	d.m.lobe(down, f.x[lnWidth]-h)
	d.m.lobe(d.now, f.x[lnWidth])
	left := d.left(f)
	j := mat.NewDense(rings+1, len(of), nil)
	wj := mat.NewDense(rings+1, len(of), nil)
	for i := range rings {
		row := d.row(i)
		row[lnWidth] = f.x[ofLobe] * (up[i+1]/up[0] - down[i+1]/down[0]) / (2 * h)
		z := left[i] / d.sigma[i]
		w := 1 / (d.sigma[i] * d.sigma[i] * math.Sqrt(1+z*z))
		for p, k := range of {
			j.Set(i, p, row[k])
			wj.Set(i, p, w*row[k])
		}
	}
	for p, k := range of {
		if k == ofRim { // what is known beforehand is one more reading, of a rim of zero
			j.Set(rings, p, 1)
			wj.Set(rings, p, 1/(rimError*rimError))
		}
	}
	var normal, g mat.Dense
	normal.Mul(wj.T(), j)
	if g.Solve(&normal, wj.T()) != nil {
		return nil
	}
	out := mat.NewDense(unknowns+1, rings+1, nil)
	for p, k := range of {
		for i := range rings {
			out.Set(k, i, g.At(p, i))
		}
		out.Set(k, rings, g.At(p, rings)*rimError)
	}
	// q = c/(a+c), a = lobe/L0(s), c = lambert/P0.
	l0, p0 := d.now[0], d.m.lambert[0]
	a, c := f.x[ofLobe]/l0, f.x[ofLambert]/p0
	sum := (a + c) * (a + c)
	dA, dC := -c/sum, a/sum
	dS := dA * -a / l0 * (up[0] - down[0]) / (2 * h)
	for i := range rings + 1 {
		out.Set(unknowns, i, dA/l0*out.At(ofLobe, i)+dC/p0*out.At(ofLambert, i)+dS*out.At(lnWidth, i))
	}
	return out
}
