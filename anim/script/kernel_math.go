package script

import "math"

// Roots, powers, angles and lightness: most are one call of math32.go a pixel.

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

// sinV and cosV hold sineTurns written out, which is too long to be inlined.

func sinV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		t := float64(float64(a[i]) * perTurn)
		t -= nearest(t)
		r := math.Copysign(0.25-math.Abs(math.Abs(t)-0.25), t)
		q := r * r
		p := float64(q*sine9) + sine7
		p = float64(q*p) + sine5
		p = float64(q*p) + sine3
		p = float64(q*p) + sine1
		d[i] = float32(r * p)
	}
}

func cosV(d, a []float32) {
	a = a[:len(d)]
	for i := range d {
		t := float64(float64(a[i])*perTurn) + 0.25
		t -= nearest(t)
		r := math.Copysign(0.25-math.Abs(math.Abs(t)-0.25), t)
		q := r * r
		p := float64(q*sine9) + sine7
		p = float64(q*p) + sine5
		p = float64(q*p) + sine3
		p = float64(q*p) + sine1
		d[i] = float32(r * p)
	}
}
