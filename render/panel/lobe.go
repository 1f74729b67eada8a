package panel

import "math"

// lobe is what scattering glass does to a ray, as a function of direction
// cosines: f(in, out) = u(in) u(out) exp(-|out - in|^2 / 2 s^2), with u chosen
// so that all light that enters leaves again. It is reciprocal, and equals a
// normalised Gaussian for narrow lobes.
//
// s is the sine of the lobe's standard angle. u depends on the length of the
// lateral direction cosine alone, so it is one table of 0..1.
type lobe struct {
	s float64
	u [lobePoints]float64 // u(b) at b = (i + 1/2) / lobePoints
}

const lobePoints = 256

// narrowest is the smallest s that the table resolves; a narrower lobe than
// 0.6 degrees is no frosted glass.
const narrowest = 0.01

// sigmaPerFWHM turns a full width at half maximum into a standard deviation.
const sigmaPerFWHM = 1 / 2.3548200450309493

// newLobe solves for u by Sinkhorn's iteration: u <- sqrt(u / integral(G u)),
// which converges to the one u with u(b) integral(G u) = 1 over the unit disc.
func newLobe(s float64) *lobe {
	l := &lobe{s: max(s, narrowest)}
	const n = lobePoints
	const h = 1.0 / n
	// Integrating G over the angle of a ring leaves 2 pi b e^{-(b-c)^2/2s^2} I0e(b c/s^2).
	g := make([]float64, n*n)
	for i := range n {
		b := (float64(i) + 0.5) * h
		for j := range n {
			c := (float64(j) + 0.5) * h
			d := (b - c) / l.s
			g[i*n+j] = 2 * math.Pi * c * h * math.Exp(-d*d/2) * besselI0e(b*c/(l.s*l.s))
		}
		l.u[i] = 1 / (math.Sqrt(2*math.Pi) * l.s)
	}
	for range 500 {
		worst := 0.0
		var next [n]float64
		for i := range n {
			sum := 0.0
			for j := range n {
				sum += g[i*n+j] * l.u[j]
			}
			worst = math.Max(worst, math.Abs(l.u[i]*sum-1))
			next[i] = math.Sqrt(l.u[i] / sum)
		}
		l.u = next
		if worst < 1e-10 {
			break
		}
	}
	return l
}

// at is u(b), 0 <= b <= 1: a parabola through the three nearest points.
func (l *lobe) at(b float64) float64 {
	p := b*lobePoints - 0.5
	i := min(max(int(math.Round(p)), 1), lobePoints-2)
	t := p - float64(i)
	a, m, z := l.u[i-1], l.u[i], l.u[i+1]
	return m + t*(z-a)/2 + t*t*(z-2*m+a)/2
}

// toward is f for a ray of lateral direction cosine b seen along the normal.
func (l *lobe) toward(b float64) float64 {
	return l.at(b) * l.at(0) * math.Exp(-b*b/(2*l.s*l.s))
}

// besselI0e is e^-x I0(x), x >= 0, within 2e-7 relative. Source: Abramowitz and
// Stegun, Handbook of Mathematical Functions, 9.8.1 and 9.8.2.
func besselI0e(x float64) float64 {
	if x <= 3.75 {
		t := x / 3.75
		t *= t
		return math.Exp(-x) * (1 + t*(3.5156229+t*(3.0899424+t*(1.2067492+t*(0.2659732+t*(0.0360768+t*0.0045813))))))
	}
	t := 3.75 / x
	return (0.39894228 + t*(0.01328592+t*(0.00225319+t*(-0.00157565+t*(0.00916281+t*(-0.02057706+t*(0.02635537+t*(-0.01647633+t*0.00392377)))))))) / math.Sqrt(x)
}
