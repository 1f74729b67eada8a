package script

import "math"

// The block kernels: each runs one operation over one block. All slices of a
// call have the same length; the destination may be one of the operands. They
// allocate nothing.
//
// Names end in the shape of the operands: V a value per pixel, S one shared by
// all. The cheap ones work on four pixels at a time: the compiler then checks
// bounds once for four and the loop's own counting stops being the cost (1.3 ns
// to 0.4 ns for an addition).

func addVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x, y := d[i:i+4:i+4], a[i:i+4:i+4], b[i:i+4:i+4]
		r[0] = x[0] + y[0]
		r[1] = x[1] + y[1]
		r[2] = x[2] + y[2]
		r[3] = x[3] + y[3]
	}
	for ; i < len(d); i++ {
		d[i] = a[i] + b[i]
	}
}

func addVS(d, a []float32, s float32) {
	a = a[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x := d[i:i+4:i+4], a[i:i+4:i+4]
		r[0] = x[0] + s
		r[1] = x[1] + s
		r[2] = x[2] + s
		r[3] = x[3] + s
	}
	for ; i < len(d); i++ {
		d[i] = a[i] + s
	}
}

func subVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x, y := d[i:i+4:i+4], a[i:i+4:i+4], b[i:i+4:i+4]
		r[0] = x[0] - y[0]
		r[1] = x[1] - y[1]
		r[2] = x[2] - y[2]
		r[3] = x[3] - y[3]
	}
	for ; i < len(d); i++ {
		d[i] = a[i] - b[i]
	}
}

func subSV(d, a []float32, s float32) {
	a = a[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x := d[i:i+4:i+4], a[i:i+4:i+4]
		r[0] = s - x[0]
		r[1] = s - x[1]
		r[2] = s - x[2]
		r[3] = s - x[3]
	}
	for ; i < len(d); i++ {
		d[i] = s - a[i]
	}
}

func mulVV(d, a, b []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x, y := d[i:i+4:i+4], a[i:i+4:i+4], b[i:i+4:i+4]
		r[0] = x[0] * y[0]
		r[1] = x[1] * y[1]
		r[2] = x[2] * y[2]
		r[3] = x[3] * y[3]
	}
	for ; i < len(d); i++ {
		d[i] = a[i] * b[i]
	}
}

func mulVS(d, a []float32, s float32) {
	a = a[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x := d[i:i+4:i+4], a[i:i+4:i+4]
		r[0] = x[0] * s
		r[1] = x[1] * s
		r[2] = x[2] * s
		r[3] = x[3] * s
	}
	for ; i < len(d); i++ {
		d[i] = a[i] * s
	}
}

// The fused forms round the product before they add.
func madVVV(d, a, b, c []float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	c = c[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x, y, z := d[i:i+4:i+4], a[i:i+4:i+4], b[i:i+4:i+4], c[i:i+4:i+4]
		r[0] = float32(x[0]*y[0]) + z[0]
		r[1] = float32(x[1]*y[1]) + z[1]
		r[2] = float32(x[2]*y[2]) + z[2]
		r[3] = float32(x[3]*y[3]) + z[3]
	}
	for ; i < len(d); i++ {
		d[i] = float32(a[i]*b[i]) + c[i]
	}
}

func madVVS(d, a, b []float32, s float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x, y := d[i:i+4:i+4], a[i:i+4:i+4], b[i:i+4:i+4]
		r[0] = float32(x[0]*y[0]) + s
		r[1] = float32(x[1]*y[1]) + s
		r[2] = float32(x[2]*y[2]) + s
		r[3] = float32(x[3]*y[3]) + s
	}
	for ; i < len(d); i++ {
		d[i] = float32(a[i]*b[i]) + s
	}
}

func madVSV(d, a, b []float32, s float32) {
	a = a[:len(d)]
	b = b[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x, y := d[i:i+4:i+4], a[i:i+4:i+4], b[i:i+4:i+4]
		r[0] = float32(x[0]*s) + y[0]
		r[1] = float32(x[1]*s) + y[1]
		r[2] = float32(x[2]*s) + y[2]
		r[3] = float32(x[3]*s) + y[3]
	}
	for ; i < len(d); i++ {
		d[i] = float32(a[i]*s) + b[i]
	}
}

func madVSS(d, a []float32, s, t float32) {
	a = a[:len(d)]
	i := 0
	for ; i < len(d)-3; i += 4 {
		r, x := d[i:i+4:i+4], a[i:i+4:i+4]
		r[0] = float32(x[0]*s) + t
		r[1] = float32(x[1]*s) + t
		r[2] = float32(x[2]*s) + t
		r[3] = float32(x[3]*s) + t
	}
	for ; i < len(d); i++ {
		d[i] = float32(a[i]*s) + t
	}
}

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

// trailV keeps in state what is left of the brightest value so far.
func trailV(d, a, state []float32, left float32) {
	a, state = a[:len(d)], state[:len(d)]
	for i := range d {
		x := max1(float32(state[i]*left), a[i])
		state[i] = x
		d[i] = x
	}
}

func fill(d []float32, v float32) {
	for i := range d {
		d[i] = v
	}
}
