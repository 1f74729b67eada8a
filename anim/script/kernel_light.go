package script

import "paneglow/anim/color"

// The last kernels of a block gather three lanes into light. Those that apply
// one more operation on the way save a pass over three arrays.

func points(dst []color.Light, a, b, c []float32) {
	a, b, c = a[:len(dst)], b[:len(dst)], c[:len(dst)]
	for i := range dst {
		dst[i] = color.Light{a[i], b[i], c[i]}
	}
}

func tint(dst []color.Light, a []float32, r, g, b float32) {
	a = a[:len(dst)]
	for i := range dst {
		x := a[i]
		dst[i] = color.Light{x * r, x * g, x * b}
	}
}

func ramp(dst []color.Light, a []float32, r, g, b, r0, g0, b0 float32) {
	a = a[:len(dst)]
	for i := range dst {
		x := a[i]
		dst[i] = color.Light{float32(x*r) + r0, float32(x*g) + g0, float32(x*b) + b0}
	}
}

func shade(dst []color.Light, by, a, b, c []float32) {
	by, a, b, c = by[:len(dst)], a[:len(dst)], b[:len(dst)], c[:len(dst)]
	for i := range dst {
		x := by[i]
		dst[i] = color.Light{a[i] * x, b[i] * x, c[i] * x}
	}
}

func paint(dst []color.Light, t []float32, p *palette) {
	t = t[:len(dst)]
	for k := range dst {
		i, f := place32(t[k])
		if uint32(i) > paletteSteps {
			continue // never: place32 is bounded; it spares the checks below
		}
		e, n := &p[i], &p[i+1]
		dst[k] = color.Light{
			e[0] + float32(f*(n[0]-e[0])),
			e[1] + float32(f*(n[1]-e[1])),
			e[2] + float32(f*(n[2]-e[2])),
		}
	}
}
