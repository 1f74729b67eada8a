package panel

// Spline is a frame's light as coefficients of a cubic B-spline in linear sRGB,
// 1 cd/m2 of white = 1, without room light: what a screen's own processor can
// draw at any size. Rows run from the bottom up. It serves one goroutine.
type Spline struct {
	W, H         int
	RGB          [][3]float32
	X, Y         float64 // the panel's lower left corner, in points of the grid
	SpanX, SpanY float64 // the panel's size in points

	scratch scratch
	row     []light
}

// Spline fills s with what a frame looks like. white is what the eye takes for
// white, XYZ in any unit, or zero for colours as they are measured. Sharp images
// through clear glass are not in it. It reports false, and leaves s as it was,
// where a panel is too fine for grids.
func (g *Glass) Spline(s *Spline, codes []uint8, white [3]float64) bool {
	if g.tooFine() {
		return false
	}
	g.solve(&s.scratch, codes)
	near := s.scratch.of.near
	s.W, s.H = near.w-4, near.h-4
	s.RGB = grown(s.RGB, s.W*s.H)
	s.row = grown(s.row, near.w)
	s.X, s.Y = float64(-near.x0-2), float64(-near.y0-2)
	s.SpanX, s.SpanY = g.layout.Width/near.step, g.layout.Height/near.step
	m := narrow(matrixFor(white))
	for y := range s.H {
		knotRow(s.row, s.scratch.near[y*near.w:])
		row := s.RGB[y*s.W : (y+1)*s.W]
		knotPlaces(row, s.row)
		for x := range row {
			v := row[x]
			for i := range row[x] {
				row[x][i] = float32(m[3*i]*v[0]) + float32(m[3*i+1]*v[1]) + float32(m[3*i+2]*v[2])
			}
		}
	}
	for y := range s.H {
		throughCubic(s.RGB[y*s.W : (y+1)*s.W])
	}
	throughCubicUp(s.RGB, s.W, s.H)
	return true
}

// matrixFor turns XYZ into linear sRGB for an eye that takes a light for white.
func matrixFor(white [3]float64) [9]float64 {
	if white[0] > 0 && white[1] > 0 && white[2] > 0 {
		return product(toSRGB, adaptation(white))
	}
	return toSRGB
}

// RoomRGB is the pane in room light, linear sRGB, 1 cd/m2 of white = 1.
func (g *Glass) RoomRGB(lux float64, white [3]float64) (out [3]float32) {
	for i, v := range times(matrixFor(white), g.Room(lux)) {
		out[i] = float32(v)
	}
	return out
}

// eliminated are the diagonals that elimination of 1, 4, 1 leaves, one over each:
// they settle at once.
var eliminated = func() (inv [16]float32) {
	inv[0] = 1.0 / 4
	for i := 1; i < len(inv); i++ {
		inv[i] = 1 / (4 - inv[i-1])
	}
	return inv
}()

func diagonal(i int) float32 { return eliminated[min(i, len(eliminated)-1)] }

// throughCubic replaces values by the coefficients of the cubic B-spline through
// them that is straight at both ends, two points outside the panel:
// c(i-1) + 4 c(i) + c(i+1) = 6 v(i), by elimination.
func throughCubic(v []light) {
	n := len(v)
	if n < 3 {
		return
	}
	a, b, c := v[0][0], v[0][1], v[0][2]
	for i := 1; i < n-1; i++ {
		d, p := diagonal(i-1), &v[i]
		x, y, z := 6*p[0], 6*p[1], 6*p[2]
		if i == n-2 {
			x, y, z = x-v[n-1][0], y-v[n-1][1], z-v[n-1][2]
		}
		a, b, c = (x-a)*d, (y-b)*d, (z-c)*d
		*p = light{a, b, c}
	}
	for i := n - 3; i > 0; i-- {
		d, p, q := diagonal(i-1), &v[i], &v[i+1]
		p[0] -= d * q[0]
		p[1] -= d * q[1]
		p[2] -= d * q[2]
	}
}

// throughCubicUp is throughCubic for all columns of a grid of w by h values at
// once, row by row, as they lie in memory.
func throughCubicUp(v []light, w, h int) {
	if h < 3 {
		return
	}
	row := func(i int) []light { return v[i*w : (i+1)*w] }
	for i := 1; i < h-1; i++ {
		d, p, before := diagonal(i-1), row(i), row(i-1)
		before = before[:len(p)]
		if i == h-2 {
			last := row(h - 1)[:len(p)]
			for x := range p {
				for k := range p[x] {
					p[x][k] = (6*p[x][k] - last[x][k] - before[x][k]) * d
				}
			}
			continue
		}
		for x := range p {
			o, b := &p[x], &before[x]
			o[0], o[1], o[2] = (6*o[0]-b[0])*d, (6*o[1]-b[1])*d, (6*o[2]-b[2])*d
		}
	}
	for i := h - 3; i > 0; i-- {
		d, p, next := diagonal(i-1), row(i), row(i+1)
		next = next[:len(p)]
		for x := range p {
			o, q := &p[x], &next[x]
			o[0] -= d * q[0]
			o[1] -= d * q[1]
			o[2] -= d * q[2]
		}
	}
}
