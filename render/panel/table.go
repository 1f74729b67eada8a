package panel

import "math"

// table is a function of the lateral distance in depths, by straight lines
// between its points; beyond them it falls with a power of the distance.
type table struct {
	step  float64
	v     []float64
	falls float64
}

// tableReach is how far a table goes, in depths. Beyond it a Lambertian LED's
// light is below 1e-6 of its peak.
const tableReach = 40

func tabulate(step, falls float64, f func(r float64) float64) table {
	t := table{step: step, falls: falls, v: make([]float64, int(tableReach/step)+2)}
	for i := range t.v {
		t.v[i] = f(float64(i) * step)
	}
	return t
}

func (t *table) at(r float64) float64 {
	p := r / t.step
	i := int(p)
	if i >= len(t.v)-1 {
		last := len(t.v) - 1
		if last < 0 {
			return 0
		}
		return t.v[last] * math.Pow(float64(last)*t.step/r, t.falls)
	}
	u := p - float64(i)
	return t.v[i] + u*(t.v[i+1]-t.v[i])
}

// soften is the mean of a table over a disc of a radius: the light of a round
// face from that of a point whose finest feature is s wide.
//
// A circle of radius t around a place r from the disc's middle lies inside the
// disc over a half angle alpha with cos alpha = (t^2 + r^2 - a^2) / 2tr, so the
// mean is a single integral over t.
func (t *table) soften(radius, s float64) table {
	if radius <= 0 {
		return *t
	}
	// Softened, the finest feature is the wider of both.
	out := tabulate(math.Min(math.Max(s, radius/2)/100, 0.005), t.falls, t.at)
	// Far away four points do, that have the disc's second moment: one of them would
	// leave an edge where the integral ends, and what is cut in two there (grids) would
	// have its curvature.
	far := min(int(20*radius/out.step), len(out.v))
	b := radius / math.Sqrt2
	for i := far; i < len(out.v); i++ {
		r := float64(i) * out.step
		out.v[i] = (t.at(r-b) + t.at(r+b) + 2*t.at(math.Hypot(r, b))) / 4
	}
	n := max(48, int(math.Ceil(2*radius/(s/10))))
	for i := range far {
		r := float64(i) * out.step
		lo, hi := math.Max(0, r-radius), r+radius
		h := (hi - lo) / float64(n)
		sum, area := 0.0, 0.0
		for j := range n {
			u := lo + (float64(j)+0.5)*h
			alpha := math.Pi
			if u+r > radius {
				alpha = math.Acos(math.Min(math.Max((u*u+r*r-radius*radius)/(2*u*r), -1), 1))
			}
			sum += alpha * u * t.at(u)
			area += alpha * u
		}
		out.v[i] = sum / area
	}
	return out
}
