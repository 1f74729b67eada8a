package script

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
