package script

import "math"

// The common functions of GLSL ES: what bounds, rounds and steps.

func minVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x, y := d[i:i+4:i+4], a[i:i+4:i+4], b[i:i+4:i+4]
		r[0] = min1(x[0], y[0])
		r[1] = min1(x[1], y[1])
		r[2] = min1(x[2], y[2])
		r[3] = min1(x[3], y[3])
	}
	for ; i < len(d); i++ {
		d[i] = min1(a[i], b[i])
	}
}

func minVS(d, a []float32, s float32) {
	a = a[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x := d[i:i+4:i+4], a[i:i+4:i+4]
		r[0] = min1(x[0], s)
		r[1] = min1(x[1], s)
		r[2] = min1(x[2], s)
		r[3] = min1(x[3], s)
	}
	for ; i < len(d); i++ {
		d[i] = min1(a[i], s)
	}
}

func maxVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x, y := d[i:i+4:i+4], a[i:i+4:i+4], b[i:i+4:i+4]
		r[0] = max1(x[0], y[0])
		r[1] = max1(x[1], y[1])
		r[2] = max1(x[2], y[2])
		r[3] = max1(x[3], y[3])
	}
	for ; i < len(d); i++ {
		d[i] = max1(a[i], b[i])
	}
}

func maxVS(d, a []float32, s float32) {
	a = a[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x := d[i:i+4:i+4], a[i:i+4:i+4]
		r[0] = max1(x[0], s)
		r[1] = max1(x[1], s)
		r[2] = max1(x[2], s)
		r[3] = max1(x[3], s)
	}
	for ; i < len(d); i++ {
		d[i] = max1(a[i], s)
	}
}

func clampVSS(d, a []float32, s, t float32) {
	a = a[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x := d[i:i+4:i+4], a[i:i+4:i+4]
		r[0] = clamp1(x[0], s, t)
		r[1] = clamp1(x[1], s, t)
		r[2] = clamp1(x[2], s, t)
		r[3] = clamp1(x[3], s, t)
	}
	for ; i < len(d); i++ {
		d[i] = clamp1(a[i], s, t)
	}
}

func absV(d, a []float32) {
	a = a[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x := d[i:i+4:i+4], a[i:i+4:i+4]
		r[0] = math.Float32frombits(math.Float32bits(x[0]) &^ (1 << 31))
		r[1] = math.Float32frombits(math.Float32bits(x[1]) &^ (1 << 31))
		r[2] = math.Float32frombits(math.Float32bits(x[2]) &^ (1 << 31))
		r[3] = math.Float32frombits(math.Float32bits(x[3]) &^ (1 << 31))
	}
	for ; i < len(d); i++ {
		d[i] = math.Float32frombits(math.Float32bits(a[i]) &^ (1 << 31))
	}
}

func fractV(d, a []float32) {
	a = a[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x := d[i:i+4:i+4], a[i:i+4:i+4]
		r[0] = fract32(x[0])
		r[1] = fract32(x[1])
		r[2] = fract32(x[2])
		r[3] = fract32(x[3])
	}
	for ; i < len(d); i++ {
		d[i] = fract32(a[i])
	}
}

func fractVS(d, a []float32, s float32) {
	a = a[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x := d[i:i+4:i+4], a[i:i+4:i+4]
		r[0] = fract32(x[0] + s)
		r[1] = fract32(x[1] + s)
		r[2] = fract32(x[2] + s)
		r[3] = fract32(x[3] + s)
	}
	for ; i < len(d); i++ {
		d[i] = fract32(a[i] + s)
	}
}

func stepSV(d, a []float32, s float32) {
	a = a[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x := d[i:i+4:i+4], a[i:i+4:i+4]
		r[0] = step1(s, x[0])
		r[1] = step1(s, x[1])
		r[2] = step1(s, x[2])
		r[3] = step1(s, x[3])
	}
	for ; i < len(d); i++ {
		d[i] = step1(s, a[i])
	}
}

func stepVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x, y := d[i:i+4:i+4], a[i:i+4:i+4], b[i:i+4:i+4]
		r[0] = step1(x[0], y[0])
		r[1] = step1(x[1], y[1])
		r[2] = step1(x[2], y[2])
		r[3] = step1(x[3], y[3])
	}
	for ; i < len(d); i++ {
		d[i] = step1(a[i], b[i])
	}
}

func smoothVSS(d, a []float32, s, t float32) {
	a = a[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x := d[i:i+4:i+4], a[i:i+4:i+4]
		r[0] = smooth32(x[0], s, t)
		r[1] = smooth32(x[1], s, t)
		r[2] = smooth32(x[2], s, t)
		r[3] = smooth32(x[3], s, t)
	}
	for ; i < len(d); i++ {
		d[i] = smooth32(a[i], s, t)
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
