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
		throughCubic(s.RGB[y*s.W:], s.W, 1)
	}
	for x := range s.W {
		throughCubic(s.RGB[x:], s.H, s.W)
	}
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

// throughCubic replaces n values, stride apart, by the coefficients of the cubic
// B-spline through them that is straight at both ends, two points outside the
// panel: c(i-1) + 4 c(i) + c(i+1) = 6 v(i), by elimination.
func throughCubic(v [][3]float32, n, stride int) {
	if n < 3 {
		return
	}
	// The eliminated diagonal runs 1/4, 1/(4 - 1/4), ... and settles at once.
	var inv [16]float32
	inv[0] = 1.0 / 4
	for i := 1; i < len(inv); i++ {
		inv[i] = 1 / (4 - inv[i-1])
	}
	at := func(i int) float32 { return inv[min(i, len(inv)-1)] }
	for k := range 3 {
		last := (n - 1) * stride
		before := v[0][k]
		for i := 1; i < n-1; i++ {
			right := 6 * v[i*stride][k]
			if i == n-2 {
				right -= v[last][k]
			}
			before = (right - before) * at(i-1)
			v[i*stride][k] = before
		}
		for i := n - 3; i > 0; i-- {
			v[i*stride][k] -= at(i-1) * v[(i+1)*stride][k]
		}
	}
}
