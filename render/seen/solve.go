package seen

import "math"

// problem is the least-squares problem of one panel: find duties x between 0 and
// most, with cost.x at most a limit, that minimise
//
//	1/2 v'Gv - b'v   for each of three channels, v = light of the pixels
//
// where pixel p's light is the sum over its dies of x times the die's colour.
type problem struct {
	pixels int
	gram   []float32    // pixels x pixels: shared influence
	first  []int        // of each pixel's dies; one more entry at the end
	die    [][3]float32 // colour of each die, linear sRGB
	most   []float32    // of each die
	cost   []float32    // of each die
	step   float32      // 1/L, L the largest curvature
}

// work is one solver's memory: the last solution is where the next one starts.
type work struct {
	x, y, old []float32
	light     [][3]float32
	pull      [][3]float32
	rounds    int // of the last solution
}

// settled is the change of a duty in one plain step below which a solution
// stands: a thirtieth of a code.
const settled = 1.0 / 8192

// mostRounds bounds one solution. A deep glass blurs neighbours together, and
// then many duties make nearly the same light.
const mostRounds = 300

// curvature sets step by power iteration on the largest eigenvalue.
func (p *problem) curvature() {
	v := make([]float64, p.pixels)
	for i := range v {
		v[i] = 1 + float64(float64(i%7)/16)
	}
	most := 0.0
	next := make([]float64, p.pixels)
	for range 60 {
		norm := 0.0
		for i := range next {
			sum := 0.0
			row := p.gram[i*p.pixels : (i+1)*p.pixels]
			for j, g := range row {
				sum += float64(float64(g) * v[j])
			}
			next[i] = sum
			norm = max(norm, math.Abs(sum))
		}
		if norm == 0 {
			break
		}
		for i := range v {
			v[i] = next[i] / norm
		}
		most = norm
	}
	color := 0.0
	for i := range p.pixels {
		// The trace bounds the largest eigenvalue of the dies' products.
		trace := 0.0
		for _, d := range p.die[p.first[i]:p.first[i+1]] {
			trace += float64(float64(d[0])*float64(d[0])) + float64(float64(d[1])*float64(d[1])) + float64(float64(d[2])*float64(d[2]))
		}
		color = max(color, trace)
	}
	if most*color > 0 {
		// Power iteration comes from below: a little more keeps steps safe.
		p.step = float32(1 / (1.02 * most * color))
	}
}

// solve goes from w.x to the best duties under a limit of cost, by an accelerated
// projected gradient with restarts (Beck and Teboulle 2009; O'Donoghue and Candes
// 2015). b is what the target asks of each pixel.
func (p *problem) solve(w *work, b [][3]float32, limit float64) {
	p.project(w.x, limit)
	copy(w.y, w.x)
	t := 1.0
	for w.rounds = 1; w.rounds <= mostRounds; w.rounds++ {
		copy(w.old, w.x)
		p.gradient(w, w.y, b)
		change := float32(0)
		for i := range p.pixels {
			pull := &w.pull[i]
			for k := p.first[i]; k < p.first[i+1]; k++ {
				d := &p.die[k]
				g := float32(d[0]*pull[0]) + float32(d[1]*pull[1]) + float32(d[2]*pull[2])
				w.x[k] = w.y[k] - float32(p.step*g)
			}
		}
		p.project(w.x, limit)
		back := float32(0)
		for k := range w.x {
			change = max(change, abs32(w.x[k]-w.y[k]))
			back += float32((w.y[k] - w.x[k]) * (w.x[k] - w.old[k]))
		}
		if change < settled {
			return
		}
		if back > 0 {
			t = 1 // the momentum leads uphill
		}
		next := (1 + math.Sqrt(1+float64(4*t*t))) / 2
		m := float32((t - 1) / next)
		t = next
		for k := range w.y {
			w.y[k] = w.x[k] + float32(m*(w.x[k]-w.old[k]))
		}
	}
}

// gradient sets w.pull to G v - b for the light v of some duties.
func (p *problem) gradient(w *work, x []float32, b [][3]float32) {
	for i := range p.pixels {
		var v [3]float32
		for k := p.first[i]; k < p.first[i+1]; k++ {
			d := &p.die[k]
			v[0] += float32(x[k] * d[0])
			v[1] += float32(x[k] * d[1])
			v[2] += float32(x[k] * d[2])
		}
		w.light[i] = v
	}
	n := p.pixels
	i := 0
	// Two rows at a time: sums that wait for nothing but themselves would leave
	// the processor idle.
	for ; i+1 < n; i += 2 {
		r0, r1 := p.gram[i*n:(i+1)*n], p.gram[(i+1)*n:(i+2)*n]
		r1 = r1[:len(r0)]
		light := w.light[:len(r0)]
		var a0, a1, a2, c0, c1, c2 float32
		for j := range r0 {
			g, h, l := r0[j], r1[j], &light[j]
			a0 += float32(g * l[0])
			a1 += float32(g * l[1])
			a2 += float32(g * l[2])
			c0 += float32(h * l[0])
			c1 += float32(h * l[1])
			c2 += float32(h * l[2])
		}
		w.pull[i] = [3]float32{a0 - b[i][0], a1 - b[i][1], a2 - b[i][2]}
		w.pull[i+1] = [3]float32{c0 - b[i+1][0], c1 - b[i+1][1], c2 - b[i+1][2]}
	}
	for ; i < n; i++ {
		var a [3]float32
		for j, g := range p.gram[i*n : (i+1)*n] {
			for k := range a {
				a[k] += float32(g * w.light[j][k])
			}
		}
		w.pull[i] = [3]float32{a[0] - b[i][0], a[1] - b[i][1], a[2] - b[i][2]}
	}
}

// project moves duties to the nearest ones within 0..most whose cost is at most
// the limit: x - lambda cost, cut, with the least lambda that does it.
func (p *problem) project(x []float32, limit float64) {
	sum := 0.0
	for k := range x {
		v := min(max(x[k], 0), p.most[k])
		sum += float64(float64(p.cost[k]) * float64(v))
	}
	lambda := float32(0)
	if sum > limit {
		lambda = p.price(x, limit)
	}
	for k := range x {
		x[k] = min(max(x[k]-float32(lambda*p.cost[k]), 0), p.most[k])
	}
}

// price is the least lambda, within float32, whose duties cost at most a limit.
func (p *problem) price(x []float32, limit float64) float32 {
	spent := func(lambda float32) float64 {
		sum := 0.0
		for k := range x {
			v := min(max(x[k]-float32(lambda*p.cost[k]), 0), p.most[k])
			sum += float64(float64(p.cost[k]) * float64(v))
		}
		return sum
	}
	lo, hi := float32(0), float32(1e-6)
	for spent(hi) > limit && hi < 1e12 {
		lo, hi = hi, hi*4
	}
	for range 30 {
		mid := (lo + hi) / 2
		if mid == lo || mid == hi {
			break
		}
		if spent(mid) > limit {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

func abs32(v float32) float32 {
	if v < 0 {
		return -v
	}
	return v
}
