package panel

import "math"

// light is CIE X, Y, Z in cd/m2, or in cd on its way there.
type light = [3]float32

// scratch is what one frame is worked out in. It belongs to a Field, so that a
// Glass may serve several goroutines.
type scratch struct {
	of     *grids
	near   []light
	source [][]light // of the coarse grids
	coarse [][]light
	fold   []light // one row of sources, or one row of a refined grid
	rows   []light
}

func (s *scratch) ready(g *grids) {
	if s.of == g {
		return
	}
	*s = scratch{of: g, near: make([]light, g.near.w*g.near.h)}
	wide := 0
	for i := range g.coarse {
		c := &g.coarse[i]
		s.source = append(s.source, make([]light, c.w*c.h))
		s.coarse = append(s.coarse, make([]light, c.w*c.h))
		wide = max(wide, c.w, len(c.toFineX)*c.h)
	}
	s.fold = make([]light, wide)
}

// solve fills s.near with the spline coefficients of a frame's light. It
// allocates nothing.
func (g *Glass) solve(s *scratch, codes []uint8) {
	gr := g.build()
	s.ready(gr)
	clear(s.near)
	for i := range s.source {
		clear(s.source[i])
		clear(s.coarse[i])
	}
	for i := range g.layout.LEDs {
		v, lit := g.led(int(g.layout.LEDs[i].Pixel), codes)
		if !lit {
			continue
		}
		l := light{float32(v[0]), float32(v[1]), float32(v[2])}
		gr.scatter(s.near, i, l)
		for k := range gr.coarse {
			gr.coarse[k].spreadOne(s.source[k], i, l)
		}
	}
	for k := len(gr.coarse) - 1; k >= 0; k-- {
		c := &gr.coarse[k]
		c.carry(s.coarse[k], s.source[k], s.fold)
		fine := s.near
		if k > 0 {
			fine = s.coarse[k-1]
		}
		c.merge(fine, s.coarse[k], s.fold)
	}
}

// scatter adds one LED's near light.
func (g *grids) scatter(dst []light, led int, l light) {
	a, b, c := l[0], l[1], l[2]
	for _, sp := range g.spans[g.first[led]:g.first[led+1]] {
		w := g.weight[sp.weight : sp.weight+sp.n]
		row := dst[sp.at : sp.at+sp.n]
		row = row[:len(w)]
		for x, k := range w {
			p := &row[x]
			p[0] += float32(k * a)
			p[1] += float32(k * b)
			p[2] += float32(k * c)
		}
	}
}

// spreadOne adds one LED to the 16 points around it.
func (c *coarse) spreadOne(dst []light, led int, l light) {
	w := &c.spread[led]
	at := int(c.cellY[led])*c.w + int(c.cellX[led])
	for j := range 4 {
		row := dst[at+j*c.w : at+j*c.w+4]
		for i := range row {
			k := float32(w[i] * w[4+j])
			row[i][0] += float32(k * l[0])
			row[i][1] += float32(k * l[1])
			row[i][2] += float32(k * l[2])
		}
	}
}

// carry adds to every point the light of all points in the stencil's reach.
// Rows above and below have the same weights, so they are added up first.
func (c *coarse) carry(dst, src, fold []light) {
	fold = fold[:c.w]
	dark := make([]bool, 0, 256)
	for y := range c.h {
		dark = append(dark, isDark(src[y*c.w:(y+1)*c.w]))
	}
	for y := range c.h {
		out := dst[y*c.w : (y+1)*c.w]
		for dy, weights := range c.stencil {
			if len(weights) == 0 {
				continue
			}
			lo, hi := y-dy, y+dy
			low, high := lo >= 0 && !dark[lo], hi < c.h && dy > 0 && !dark[hi]
			var in []light
			switch {
			case low && high:
				a, b := src[lo*c.w:(lo+1)*c.w], src[hi*c.w:(hi+1)*c.w]
				for x := range fold {
					fold[x] = light{a[x][0] + b[x][0], a[x][1] + b[x][1], a[x][2] + b[x][2]}
				}
				in = fold
			case low:
				in = src[lo*c.w : (lo+1)*c.w]
			case high:
				in = src[hi*c.w : (hi+1)*c.w]
			default:
				continue
			}
			gather(out, in, weights, c.reach[dy])
		}
	}
}

// gather adds to every point the weighted points around it, two points at a
// time: sums that wait for nothing but themselves would leave the processor idle.
func gather(out, in []light, weights []float32, reach int) {
	x := 0
	for ; x+1 < len(out); x += 2 {
		// Both points see from..to; the first alone sees from-1, the second alone to.
		from, to := max(0, x+1-reach), min(len(in), x+1+reach)
		w := weights[from-x+reach-1 : to-x+reach]
		v := in[from:to]
		w = w[: len(v)+1 : len(v)+1]
		p0, q0, r0 := out[x][0], out[x][1], out[x][2]
		p1, q1, r1 := out[x+1][0], out[x+1][1], out[x+1][2]
		second := w[0]
		for i := range v {
			first := w[i+1]
			a, b, c := v[i][0], v[i][1], v[i][2]
			p0 += float32(first * a)
			q0 += float32(first * b)
			r0 += float32(first * c)
			p1 += float32(second * a)
			q1 += float32(second * b)
			r1 += float32(second * c)
			second = first
		}
		if x-reach >= 0 {
			k, v := weights[0], &in[x-reach]
			p0 += float32(k * v[0])
			q0 += float32(k * v[1])
			r0 += float32(k * v[2])
		}
		if end := x + 1 + reach; end < len(in) {
			k, v := weights[2*reach], &in[end]
			p1 += float32(k * v[0])
			q1 += float32(k * v[1])
			r1 += float32(k * v[2])
		}
		out[x], out[x+1] = light{p0, q0, r0}, light{p1, q1, r1}
	}
	for ; x < len(out); x++ {
		for i := max(0, x-reach); i < min(len(in), x+reach+1); i++ {
			k, v := weights[i-x+reach], &in[i]
			out[x][0] += float32(k * v[0])
			out[x][1] += float32(k * v[1])
			out[x][2] += float32(k * v[2])
		}
	}
}

func isDark(row []light) bool {
	for i := range row {
		if row[i] != (light{}) {
			return false
		}
	}
	return true
}

// merge adds a coarse grid to the next finer one.
func (c *coarse) merge(fine, src, wide []light) {
	n := len(c.toFineX)
	for y := range c.h {
		resample(wide[y*n:(y+1)*n], src[y*c.w:(y+1)*c.w], c.toFineX)
	}
	for y := range c.toFineY {
		t := &c.toFineY[y]
		at := int(t.at) * n
		mix(fine[y*n:(y+1)*n], wide[at:at+n], wide[at+n:at+2*n], wide[at+2*n:at+3*n], wide[at+3*n:at+4*n], t.w)
	}
}

// resample sets a row from another by four taps a point.
func resample(dst, src []light, t []taps) {
	t = t[:len(dst)]
	for x := range dst {
		p := &t[x]
		v := src[p.at : p.at+4 : p.at+4]
		a, b, c, d := &v[0], &v[1], &v[2], &v[3]
		for k := range 3 {
			dst[x][k] = float32(p.w[0]*a[k]) + float32(p.w[1]*b[k]) + float32(p.w[2]*c[k]) + float32(p.w[3]*d[k])
		}
	}
}

// mix adds four rows, weighted, to a row.
func mix(dst, a, b, c, d []light, w [4]float32) {
	a, b, c, d = a[:len(dst)], b[:len(dst)], c[:len(dst)], d[:len(dst)]
	for x := range dst {
		for k := range 3 {
			dst[x][k] += float32(w[0]*a[x][k]) + float32(w[1]*b[x][k]) + float32(w[2]*c[x][k]) + float32(w[3]*d[x][k])
		}
	}
}

// viewTaps are the taps of n places, step apart from the first on, on a grid
// whose first point is number first.
func viewTaps(dst []taps, n int, start, step, grid float64, first, width int) []taps {
	dst = dst[:0]
	for i := range n {
		u := (start + float64(i)*step) / grid
		// Beyond the panel's edge the edge goes on.
		u = math.Min(math.Max(u, float64(first+1)), float64(first+width-3)+0.999999)
		iu := math.Floor(u)
		t := taps{at: int32(int(iu) - 1 - first)}
		for k, w := range splineWeights(u - iu) {
			t.w[k] = float32(w)
		}
		dst = append(dst, t)
	}
	return dst
}

// Shine fills a field with what a frame of codes looks like, without room
// light. It is within 0.25 % of the field's maximum of Direct (TestFieldError).
// The first call on a Glass builds its grids; a Field serves one goroutine.
func (g *Glass) Shine(f *Field, codes []uint8) {
	s := &f.scratch
	g.solve(s, codes)
	gr := s.of
	f.tapsX = viewTaps(f.tapsX, f.W, 0, f.Step, gr.near.step, gr.near.x0, gr.near.w)
	f.tapsY = viewTaps(f.tapsY, f.H, 0, f.Step, gr.near.step, gr.near.y0, gr.near.h)
	if len(s.rows) < gr.near.w {
		s.rows = make([]light, gr.near.w)
	}
	row := s.rows[:gr.near.w]
	for y := range f.H {
		t := &f.tapsY[y]
		clear(row)
		at, n := int(t.at)*gr.near.w, gr.near.w
		v := s.near
		mix(row, v[at:at+n], v[at+n:at+2*n], v[at+2*n:at+3*n], v[at+3*n:at+4*n], t.w)
		out := f.XYZ[y*f.W : (y+1)*f.W]
		resample(out, row, f.tapsX)
		for x := range out {
			for k := range 3 {
				if out[x][k] < 0 { // within the stated error of zero
					out[x][k] = 0
				}
			}
		}
	}
}

// build makes the grids once.
func (g *Glass) build() *grids {
	g.once.Do(func() {
		x, y := make([]float64, len(g.layout.LEDs)), make([]float64, len(g.layout.LEDs))
		for i := range x {
			x[i], y[i] = g.layout.LEDs[i].X, g.layout.LEDs[i].Y
		}
		d := g.depth * 1000
		scale := 1 / (g.depth * g.depth)
		kernel := func(r float64) float64 { return scale * g.k(r/d) }
		g.grids = newGrids(fieldPlan, kernel, g.Spot(), d, g.layout.Width, g.layout.Height, x, y)
	})
	return g.grids
}

// Build makes the panel's grids, which the first Shine would do otherwise, so
// that it may be done in the background.
func (g *Glass) Build() { g.build() }
