package panel

// light is CIE X, Y, Z in cd/m2, or in cd on its way there.
type light = [3]float32

// scratch is what one frame is worked out in. It belongs to a Field, so that a
// Glass may serve several goroutines.
type scratch struct {
	of     *grids
	near   []light
	source [][][]light // by kind and level: what its LEDs spread
	coarse [][]light   // by level
	dark   []bool
	fold   []light // one row of sources, or one row of a refined grid
	rows   []light
}

func (s *scratch) ready(g *grids) {
	if s.of == g {
		return
	}
	*s = scratch{of: g, near: make([]light, g.near.w*g.near.h)}
	wide := 0
	for i := range g.levels {
		c := &g.levels[i]
		s.coarse = append(s.coarse, make([]light, c.w*c.h))
		wide = max(wide, c.w, len(c.toFineX)*c.h)
	}
	for _, k := range g.kinds {
		var levels [][]light
		for i := range g.levels {
			var source []light
			if c := &g.levels[i]; !k.parts[i].few {
				source = make([]light, c.w*c.h)
			}
			levels = append(levels, source)
		}
		s.source = append(s.source, levels)
	}
	s.fold = make([]light, wide)
}

// solve fills s.near with the spline coefficients of a frame's light, sharp
// images aside. It allocates nothing.
func (g *Glass) solve(s *scratch, codes []uint8) {
	gr := g.build()
	s.ready(gr)
	clear(s.near)
	for i := range s.coarse {
		clear(s.coarse[i])
	}
	for _, levels := range s.source {
		for i := range levels {
			clear(levels[i])
		}
	}
	for i, st := range gr.strips {
		g.scatterAll(s.near, &st.near, codes)
		for k := range st.coarse {
			sl := &st.coarse[k]
			if len(sl.led) == 0 {
				g.scatterAll(s.coarse[k], &sl.shares, codes)
				continue
			}
			c, source := &gr.levels[k], s.source[gr.light[i]][k]
			for j, led := range sl.led {
				if l, lit := g.lightOf(led, codes); lit {
					sl.spreadOne(source, c.w, j, &l)
				}
			}
		}
	}
	for k := len(gr.levels) - 1; k >= 0; k-- {
		c := &gr.levels[k]
		for i, kd := range gr.kinds {
			if t := &kd.parts[k]; !t.few {
				t.carry(s.coarse[k], s.source[i][k], &c.mesh, s)
			}
		}
		fine := s.near
		if k > 0 {
			fine = s.coarse[k-1]
		}
		c.merge(fine, s.coarse[k], s.fold)
	}
}

// lightOf is an LED's intensity through the pane, XYZ in cd.
func (g *Glass) lightOf(led int32, codes []uint8) (light, bool) {
	v, lit := g.led(int(g.layout.LEDs[led].Pixel), codes)
	return light{float32(v[0]), float32(v[1]), float32(v[2])}, lit
}

// scatterAll adds a part's light of all LEDs.
func (g *Glass) scatterAll(dst []light, of *shares, codes []uint8) {
	for i := range of.pairs {
		p := &of.pairs[i]
		a, litA := g.lightOf(p.a, codes)
		b, litB := g.lightOf(p.b, codes)
		if litA || litB {
			of.scatter(dst, i, &a, &b)
		}
	}
}

// spreadOne adds one LED to the 16 points around it.
func (c *stripLevel) spreadOne(dst []light, width, led int, l *light) {
	w := &c.spread[led]
	p, q, r := l[0], l[1], l[2]
	at := int(c.cellY[led])*width + int(c.cellX[led])
	for j := range 4 {
		row := (*[4]light)(dst[at+j*width:])
		for i := range row {
			k := float32(w[i] * w[4+j])
			v := &row[i]
			v[0] += float32(k * p)
			v[1] += float32(k * q)
			v[2] += float32(k * r)
		}
	}
}

// carry adds to every point the light of all points in the stencil's reach.
// Rows above and below have the same weights, so they are added up first.
func (t *stencil) carry(dst, src []light, c *mesh, s *scratch) {
	fold := s.fold[:c.w]
	s.dark = grown(s.dark, c.h)
	dark := s.dark
	for y := range dark {
		dark[y] = isDark(src[y*c.w : (y+1)*c.w])
	}
	for y := range c.h {
		out := dst[y*c.w : (y+1)*c.w]
		for dy, weights := range t.rows {
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
			gather(out, in, weights, t.reach[dy])
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
func (c *level) merge(fine, src, wide []light) {
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

// The loops below spell out X, Y, Z: an inner loop over them costs twice the time.

// resample sets a row from another by four taps a point.
func resample(dst, src []light, t []taps) {
	t = t[:len(dst)]
	for x := range dst {
		v := (*[4]light)(src[t[x].at:])
		e, f, g, h := t[x].w[0], t[x].w[1], t[x].w[2], t[x].w[3]
		o := &dst[x]
		o[0] = float32(e*v[0][0]) + float32(f*v[1][0]) + float32(g*v[2][0]) + float32(h*v[3][0])
		o[1] = float32(e*v[0][1]) + float32(f*v[1][1]) + float32(g*v[2][1]) + float32(h*v[3][1])
		o[2] = float32(e*v[0][2]) + float32(f*v[1][2]) + float32(g*v[2][2]) + float32(h*v[3][2])
	}
}

// mix adds four rows, weighted, to a row.
func mix(dst, a, b, c, d []light, w [4]float32) {
	a, b, c, d = a[:len(dst)], b[:len(dst)], c[:len(dst)], d[:len(dst)]
	e, f, g, h := w[0], w[1], w[2], w[3]
	for x := range dst {
		o, a, b, c, d := &dst[x], &a[x], &b[x], &c[x], &d[x]
		o[0] += float32(e*a[0]) + float32(f*b[0]) + float32(g*c[0]) + float32(h*d[0])
		o[1] += float32(e*a[1]) + float32(f*b[1]) + float32(g*c[1]) + float32(h*d[1])
		o[2] += float32(e*a[2]) + float32(f*b[2]) + float32(g*c[2]) + float32(h*d[2])
	}
}

// Shine fills a field with what a frame of codes looks like, without room
// light. It is within fieldError of Direct (TestFieldError). The first call on
// a Glass builds its grids; a Field serves one goroutine.
func (g *Glass) Shine(f *Field, codes []uint8) {
	if g.tooFine() {
		g.Direct(f, codes)
		return
	}
	s := &f.scratch
	g.solve(s, codes)
	gr := s.of
	s.rows = grown(s.rows, gr.near.w)
	row := s.rows
	if f.spline = f.Step == gr.near.step; f.spline {
		for y := range f.H {
			knotRow(row, s.near[(y-2-gr.near.y0)*gr.near.w:])
			knotPlaces(f.XYZ[y*f.W:(y+1)*f.W], row[-2-gr.near.x0:])
		}
	} else {
		f.tapsX = viewTaps(f.tapsX, f.W, 0, f.Step, gr.near.step, gr.near.x0, gr.near.w)
		f.tapsY = viewTaps(f.tapsY, f.H, 0, f.Step, gr.near.step, gr.near.y0, gr.near.h)
		for y := range f.H {
			viewRow(row, s.near, len(row), &f.tapsY[y])
			viewPlaces(f.XYZ[y*f.W:(y+1)*f.W], row, f.tapsX)
		}
	}
	g.addSharp(f, codes)
}
