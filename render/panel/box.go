package panel

import "math"

// newBox is the light that goes to and fro between the pane and the back wall
// before it leaves, per candela of a straight LED of order m at depth 1 m, as
// luminance through glass of transmittance 1. product is the product of the two
// planes' diffuse reflectances.
//
// Both planes send light on by Lambert's law, so every passage between them
// spreads it by d^2/pi/(d^2+r^2)^2, whose Hankel transform is kd K1(kd) (K1:
// modified Bessel function). There and back is the square of it; any number of
// rounds is a geometric sum:
//
//	box(k) = E(k) g/(1-g),  g = product (kd K1(kd))^2
//
// It stays near the LED: it is local, not an even glow. Light that leaves is
// diffuse from behind, and leaves diffusely by the lobe's energy conservation.
func newBox(m, product float64) table {
	// Smooth on the scale of the depth; a power of the distance far away.
	const step, reach = 0.1, 20
	if product <= 0 {
		return table{step: step}
	}
	const dk, most = 0.02, 14.0
	n := int(most / dk)
	spectrum := make([]float64, n)
	order := (m + 1) / 2
	flux := 2 * math.Pi / (m + 1)
	for i := range spectrum {
		k := (float64(i) + 0.5) * dk
		pass := k * besselK(1, k)
		g := product * pass * pass
		e := flux * 2 * math.Pow(k/2, order) * besselK(order, k) / math.Gamma(order)
		spectrum[i] = e * g / (1 - g) * k * dk / (2 * math.Pi) / math.Pi // E/pi is luminance
	}
	t := table{step: step, falls: 4, v: make([]float64, int(reach/step)+1)}
	for i := range t.v {
		r := float64(i) * step
		for j, v := range spectrum {
			t.v[i] += v * math.J0((float64(j)+0.5)*dk*r)
		}
		t.v[i] = math.Max(t.v[i], 0)
	}
	return t.finer(0.005)
}

// besselK is the modified Bessel function of the second kind, x > 0, by the
// trapezoid rule on integral(exp(-x cosh t) cosh(nu t) dt), which converges
// faster than any power of its step. Source: DLMF 10.32.9.
func besselK(nu, x float64) float64 {
	const h = 0.05
	sum := 0.5 * math.Exp(-x)
	for t := h; ; t += h {
		v := math.Exp(-x*math.Cosh(t)) * math.Cosh(nu*t)
		sum += v
		if v < 1e-16*sum && t > 1 {
			return sum * h
		}
	}
}

// finer is a smooth table with a smaller step, by cubics through four points.
func (t *table) finer(step float64) table {
	out := table{step: step, falls: t.falls}
	get := func(i int) float64 {
		if i < 0 {
			i = -i // the same on both sides of the LED
		}
		return t.v[min(i, len(t.v)-1)]
	}
	for r := 0.0; r < float64(len(t.v)-1)*t.step; r = float64(len(out.v)) * step {
		p := r / t.step
		i := int(p)
		u := p - float64(i)
		a, b, c, d := get(i-1), get(i), get(i+1), get(i+2)
		out.v = append(out.v, b+0.5*u*(c-a+u*(2*a-5*b+4*c-d+u*(3*(b-c)+d-a))))
	}
	return out
}
