package script

import "paneglow/anim/color"

// The last kernels of a block gather three lanes into light. Those that apply
// one more operation on the way save passes over three arrays.

// points: three arrays.
func points(dst []color.Light, a, b, c []float32) {
	a, b, c = a[:len(dst)], b[:len(dst)], c[:len(dst)]
	for i := range dst {
		l := &dst[i]
		l[0], l[1], l[2] = a[i], b[i], c[i]
	}
}

// tint: a number times shared light.
func tint(dst []color.Light, a []float32, s *[3]float32) {
	r, g, b := s[0], s[1], s[2]
	a = a[:len(dst)]
	i := 0
	for ; i < len(dst)-3; i += 4 {
		l, x := dst[i:i+4:i+4], a[i:i+4:i+4]
		l[0][0], l[0][1], l[0][2] = x[0]*r, x[0]*g, x[0]*b
		l[1][0], l[1][1], l[1][2] = x[1]*r, x[1]*g, x[1]*b
		l[2][0], l[2][1], l[2][2] = x[2]*r, x[2]*g, x[2]*b
		l[3][0], l[3][1], l[3][2] = x[3]*r, x[3]*g, x[3]*b
	}
	for ; i < len(dst); i++ {
		l, x := &dst[i], a[i]
		l[0], l[1], l[2] = x*r, x*g, x*b
	}
}

// ramp: a number times shared light, plus shared light.
func ramp(dst []color.Light, a []float32, s, t *[3]float32) {
	r, g, b := s[0], s[1], s[2]
	r0, g0, b0 := t[0], t[1], t[2]
	a = a[:len(dst)]
	i := 0
	for ; i < len(dst)-3; i += 4 {
		l, x := dst[i:i+4:i+4], a[i:i+4:i+4]
		l[0][0], l[0][1], l[0][2] = float32(x[0]*r)+r0, float32(x[0]*g)+g0, float32(x[0]*b)+b0
		l[1][0], l[1][1], l[1][2] = float32(x[1]*r)+r0, float32(x[1]*g)+g0, float32(x[1]*b)+b0
		l[2][0], l[2][1], l[2][2] = float32(x[2]*r)+r0, float32(x[2]*g)+g0, float32(x[2]*b)+b0
		l[3][0], l[3][1], l[3][2] = float32(x[3]*r)+r0, float32(x[3]*g)+g0, float32(x[3]*b)+b0
	}
	for ; i < len(dst); i++ {
		l, x := &dst[i], a[i]
		l[0], l[1], l[2] = float32(x*r)+r0, float32(x*g)+g0, float32(x*b)+b0
	}
}

// fractRamp is ramp at fract(a + u): a moving gradient of two colors.
func fractRamp(dst []color.Light, a []float32, u float32, s, t *[3]float32) {
	r, g, b := s[0], s[1], s[2]
	r0, g0, b0 := t[0], t[1], t[2]
	a = a[:len(dst)]
	for i := range dst {
		l, x := &dst[i], fract32(a[i]+u)
		l[0], l[1], l[2] = float32(x*r)+r0, float32(x*g)+g0, float32(x*b)+b0
	}
}

// shadedRamp is ramp times a number.
func shadedRamp(dst []color.Light, a, by []float32, s, t *[3]float32) {
	r, g, b := s[0], s[1], s[2]
	r0, g0, b0 := t[0], t[1], t[2]
	a, by = a[:len(dst)], by[:len(dst)]
	for i := range dst {
		l, x, y := &dst[i], a[i], by[i]
		l[0], l[1], l[2] = (float32(x*r)+r0)*y, (float32(x*g)+g0)*y, (float32(x*b)+b0)*y
	}
}

// shade: three arrays times a number.
func shade(dst []color.Light, by, a, b, c []float32) {
	by, a, b, c = by[:len(dst)], a[:len(dst)], b[:len(dst)], c[:len(dst)]
	for i := range dst {
		l, x := &dst[i], by[i]
		l[0], l[1], l[2] = a[i]*x, b[i]*x, c[i]*x
	}
}

// paint: a gradient.
func paint(dst []color.Light, t []float32, p *palette) {
	t = t[:len(dst)]
	for k := range dst {
		i, f := place32(t[k])
		if uint32(i) > paletteSteps {
			continue // never: place32 is bounded; it spares the checks below
		}
		e, n, l := &p[i], &p[i+1], &dst[k]
		l[0] = e[0] + float32(f*(n[0]-e[0]))
		l[1] = e[1] + float32(f*(n[1]-e[1]))
		l[2] = e[2] + float32(f*(n[2]-e[2]))
	}
}

// shadedPaint is a gradient times a number.
func shadedPaint(dst []color.Light, t, by []float32, p *palette) {
	t, by = t[:len(dst)], by[:len(dst)]
	for k := range dst {
		i, f := place32(t[k])
		if uint32(i) > paletteSteps {
			continue
		}
		e, n, l, y := &p[i], &p[i+1], &dst[k], by[k]
		l[0] = (e[0] + float32(f*(n[0]-e[0]))) * y
		l[1] = (e[1] + float32(f*(n[1]-e[1]))) * y
		l[2] = (e[2] + float32(f*(n[2]-e[2]))) * y
	}
}
