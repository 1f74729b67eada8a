package panel

import "math"

// viewTaps are the weights of n places, step apart from a start on, on a grid
// whose first point is number first. Beyond the panel's edge the edge goes on.
func viewTaps(dst []views, n int, start, step, grid float64, first, width int) []views {
	dst = dst[:0]
	for i := range n {
		u := (start + float64(i)*step) / grid
		u = math.Min(math.Max(u, float64(first+2)), float64(first+width-4)+0.999999)
		iu := math.Floor(u)
		t := views{at: int32(int(iu) - 2 - first)}
		for k, w := range quinticWeights(u - iu) {
			t.w[k] = float32(w)
		}
		dst = append(dst, t)
	}
	return dst
}

// viewRow sets a row of places from six rows of the near grid.
func viewRow(row, v []light, n int, t *views) {
	at := int(t.at) * n
	a, b, c := v[at:at+n], v[at+n:at+2*n], v[at+2*n:at+3*n]
	d, e, f := v[at+3*n:at+4*n], v[at+4*n:at+5*n], v[at+5*n:at+6*n]
	a, b, c, d, e, f = a[:len(row)], b[:len(row)], c[:len(row)], d[:len(row)], e[:len(row)], f[:len(row)]
	w0, w1, w2, w3, w4, w5 := t.w[0], t.w[1], t.w[2], t.w[3], t.w[4], t.w[5]
	for x := range row {
		o, a, b, c, d, e, f := &row[x], &a[x], &b[x], &c[x], &d[x], &e[x], &f[x]
		o[0] = float32(w0*a[0]) + float32(w1*b[0]) + float32(w2*c[0]) + float32(w3*d[0]) + float32(w4*e[0]) + float32(w5*f[0])
		o[1] = float32(w0*a[1]) + float32(w1*b[1]) + float32(w2*c[1]) + float32(w3*d[1]) + float32(w4*e[1]) + float32(w5*f[1])
		o[2] = float32(w0*a[2]) + float32(w1*b[2]) + float32(w2*c[2]) + float32(w3*d[2]) + float32(w4*e[2]) + float32(w5*f[2])
	}
}

// viewPlaces sets the places of one row, none below zero: what the splines
// leave there is within the stated error.
func viewPlaces(dst, row []light, t []views) {
	t = t[:len(dst)]
	for x := range dst {
		v := (*[6]light)(row[t[x].at:])
		w := &t[x].w
		w0, w1, w2, w3, w4, w5 := w[0], w[1], w[2], w[3], w[4], w[5]
		p := float32(w0*v[0][0]) + float32(w1*v[1][0]) + float32(w2*v[2][0]) + float32(w3*v[3][0]) + float32(w4*v[4][0]) + float32(w5*v[5][0])
		q := float32(w0*v[0][1]) + float32(w1*v[1][1]) + float32(w2*v[2][1]) + float32(w3*v[3][1]) + float32(w4*v[4][1]) + float32(w5*v[5][1])
		r := float32(w0*v[0][2]) + float32(w1*v[1][2]) + float32(w2*v[2][2]) + float32(w3*v[3][2]) + float32(w4*v[4][2]) + float32(w5*v[5][2])
		if p < 0 {
			p = 0
		}
		if q < 0 {
			q = 0
		}
		if r < 0 {
			r = 0
		}
		dst[x] = light{p, q, r}
	}
}

// Weights of the quintic spline at its own points: 1, 26, 66, 26, 1 over 120.
const (
	knotFar  = 1.0 / 120
	knotNear = 26.0 / 120
	knotOwn  = 66.0 / 120
)

// knotRow sets a row of a grid's own points in one direction from five rows.
func knotRow(row, v []light) {
	n := len(row)
	a, b, c, d, e := v[:n], v[n:2*n], v[2*n:3*n], v[3*n:4*n], v[4*n:5*n]
	for x := range row {
		o, a, b, c, d, e := &row[x], &a[x], &b[x], &c[x], &d[x], &e[x]
		o[0] = float32(knotFar*(a[0]+e[0])) + float32(knotNear*(b[0]+d[0])) + float32(knotOwn*c[0])
		o[1] = float32(knotFar*(a[1]+e[1])) + float32(knotNear*(b[1]+d[1])) + float32(knotOwn*c[1])
		o[2] = float32(knotFar*(a[2]+e[2])) + float32(knotNear*(b[2]+d[2])) + float32(knotOwn*c[2])
	}
}

// knotPlaces sets the points of one row, none below zero.
func knotPlaces(dst, row []light) {
	row = row[: len(dst)+4 : len(dst)+4]
	for x := range dst {
		a, b, c, d, e := &row[x], &row[x+1], &row[x+2], &row[x+3], &row[x+4]
		p := float32(knotFar*(a[0]+e[0])) + float32(knotNear*(b[0]+d[0])) + float32(knotOwn*c[0])
		q := float32(knotFar*(a[1]+e[1])) + float32(knotNear*(b[1]+d[1])) + float32(knotOwn*c[1])
		r := float32(knotFar*(a[2]+e[2])) + float32(knotNear*(b[2]+d[2])) + float32(knotOwn*c[2])
		dst[x] = light{max(p, 0), max(q, 0), max(r, 0)}
	}
}
