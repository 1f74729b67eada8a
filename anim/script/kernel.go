package script

import "math"

// The block kernels: each runs one operation over one block. All slices of a
// call have the same length; the destination may be one of the operands. They
// allocate nothing.
//
// Names end in the shape of the operands: v a value per pixel, s one shared by
// all.

func addVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	for i := range d {
		d[i] = a[i] + b[i]
	}
}

func addVS(d, a []float32, s float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = a[i] + s
	}
}

func subVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	for i := range d {
		d[i] = a[i] - b[i]
	}
}

func subSV(d, a []float32, s float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = s - a[i]
	}
}

func mulVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	for i := range d {
		d[i] = a[i] * b[i]
	}
}

func mulVS(d, a []float32, s float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = a[i] * s
	}
}

// The fused forms round the product before they add.

func madVVV(d, a, b, c []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	c = c[:len(d)]
	for i := range d {
		d[i] = float32(a[i]*b[i]) + c[i]
	}
}

func madVVS(d, a, b []float32, s float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	for i := range d {
		d[i] = float32(a[i]*b[i]) + s
	}
}

func madVSV(d, a, c []float32, s float32) {
	a = a[:len(d)]
	c = c[:len(d)]
	for i := range d {
		d[i] = float32(a[i]*s) + c[i]
	}
}

func madVSS(d, a []float32, s, t float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = float32(a[i]*s) + t
	}
}

func divVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	for i := range d {
		if b[i] != 0 {
			d[i] = a[i] / b[i]
		} else {
			d[i] = 0
		}
	}
}

func divSV(d, a []float32, s float32) {
	a = a[:len(d)]
	for i := range d {
		if a[i] != 0 {
			d[i] = s / a[i]
		} else {
			d[i] = 0
		}
	}
}

func minVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	for i := range d {
		x := a[i]
		if y := b[i]; y < x {
			x = y
		}
		d[i] = x
	}
}

func minVS(d, a []float32, s float32) {
	a = a[:len(d)]
	for i := range d {
		x := a[i]
		if s < x {
			x = s
		}
		d[i] = x
	}
}

func maxVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	for i := range d {
		x := a[i]
		if y := b[i]; y > x {
			x = y
		}
		d[i] = x
	}
}

func maxVS(d, a []float32, s float32) {
	a = a[:len(d)]
	for i := range d {
		x := a[i]
		if s > x {
			x = s
		}
		d[i] = x
	}
}

func clampVSS(d, a []float32, lo, hi float32) {
	a = a[:len(d)]
	for i := range d {
		x := a[i]
		if x < lo {
			x = lo
		}
		if x > hi {
			x = hi
		}
		d[i] = x
	}
}

func absV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = math.Float32frombits(math.Float32bits(a[i]) &^ (1 << 31))
	}
}

func signV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		x := a[i]
		switch {
		case x > 0:
			x = 1
		case x < 0:
			x = -1
		}
		d[i] = x
	}
}

func floorV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = floor32(a[i])
	}
}

func ceilV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = float32(math.Ceil(float64(a[i])))
	}
}

func truncV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = float32(math.Trunc(float64(a[i])))
	}
}

func roundV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = float32(math.Floor(float64(a[i]) + 0.5))
	}
}

func roundEvenV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = float32(math.RoundToEven(float64(a[i])))
	}
}

func fractV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		x := a[i]
		f := x - float32(math.Floor(float64(x)))
		if f >= 1 {
			f = 0
		}
		d[i] = f
	}
}

func fractVS(d, a []float32, s float32) {
	a = a[:len(d)]
	for i := range d {
		x := a[i] + s
		f := x - float32(math.Floor(float64(x)))
		if f >= 1 {
			f = 0
		}
		d[i] = f
	}
}

func stepSV(d, a []float32, s float32) {
	a = a[:len(d)]
	for i := range d {
		x := float32(1)
		if a[i] < s {
			x = 0
		}
		d[i] = x
	}
}

func stepVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	for i := range d {
		x := float32(1)
		if b[i] < a[i] {
			x = 0
		}
		d[i] = x
	}
}

func slopeVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	for i := range d {
		x := float32(limit)
		if a[i] != b[i] {
			x = 1 / (b[i] - a[i])
		}
		d[i] = x
	}
}

func smoothVSS(d, a []float32, e, slope float32) {
	a = a[:len(d)]
	for i := range d {
		t := float32((a[i] - e) * slope)
		if t < 0 {
			t = 0
		}
		if t > 1 {
			t = 1
		}
		d[i] = float32(t*t) * (3 - float32(2*t))
	}
}

func sqrtV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		x := a[i]
		if x < 0 {
			x = 0
		}
		d[i] = float32(math.Sqrt(float64(x)))
	}
}

func inverseSqrtV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		x := a[i]
		if x > 0 {
			x = float32(1 / math.Sqrt(float64(x)))
		} else {
			x = 0
		}
		d[i] = x
	}
}

func expV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = exp32(a[i])
	}
}

func exp2V(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = exp2_32(a[i])
	}
}

func logV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = log32(a[i])
	}
}

func log2V(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = log2_32(a[i])
	}
}

func tanV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = tan32(a[i])
	}
}

func asinV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = asin32(a[i])
	}
}

func acosV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = acos32(a[i])
	}
}

func atanV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = atan32(a[i])
	}
}

func lightnessV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = lightness32(a[i])
	}
}

func modVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	for i := range d {
		d[i] = mod32(a[i], b[i])
	}
}

func modVS(d, a []float32, s float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = mod32(a[i], s)
	}
}

func powVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	for i := range d {
		d[i] = pow32(a[i], b[i])
	}
}

func powVS(d, a []float32, s float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = pow32(a[i], s)
	}
}

func powSV(d, a []float32, s float32) {
	a = a[:len(d)]
	for i := range d {
		d[i] = pow32(s, a[i])
	}
}

func atan2VV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	for i := range d {
		d[i] = atan2_32(a[i], b[i])
	}
}

func sinV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		t := float64(a[i]) * perTurn
		d[i] = float32(sineTurns(t - nearest(t)))
	}
}

func cosV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		t := float64(float64(a[i])*perTurn) + 0.25
		d[i] = float32(sineTurns(t - nearest(t)))
	}
}

// trailV keeps in state what is left of the brightest value so far.
func trailV(d, a, state []float32, left float32) {
	a, state = a[:len(d)], state[:len(d)]
	for i := range d {
		x, y := a[i], float32(state[i]*left)
		if y > x {
			x = y
		}
		state[i] = x
		d[i] = x
	}
}

func fill(d []float32, v float32) {
	for i := range d {
		d[i] = v
	}
}
