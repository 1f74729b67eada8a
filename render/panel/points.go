package panel

import (
	"math"
	"slices"
)

// toSRGB are the coefficients of CSS Color 4, XYZ D65 to linear sRGB.
var toSRGB = [9]float64{
	3.24096994, -1.53738318, -0.49861076,
	-0.96924364, 1.87596750, 0.04155506,
	0.05563008, -0.20397696, 1.05697151,
}

// The Bradford matrix, XYZ to sharpened cone responses (CSS Color 4 prints it,
// from Lam 1985), and the white that screens are made for.
var (
	bradford = [9]float64{0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296}
	d65      = [3]float64{0.95045593, 1, 1.08905775}
)

// adaptation is the von Kries change in Bradford's responses from a white, in
// any unit, to D65 of the same luminance.
func adaptation(white [3]float64) [9]float64 {
	from, to := times(bradford, white), times(bradford, d65)
	var scale [9]float64
	for i := range 3 {
		scale[4*i] = to[i] * white[1] / from[i]
	}
	return product(inverse(bradford), product(scale, bradford))
}

func times(m [9]float64, v [3]float64) (out [3]float64) {
	for i := range out {
		out[i] = m[3*i]*v[0] + m[3*i+1]*v[1] + m[3*i+2]*v[2]
	}
	return out
}

func product(a, b [9]float64) (out [9]float64) {
	for i := range 3 {
		for j := range 3 {
			out[3*i+j] = a[3*i]*b[j] + a[3*i+1]*b[3+j] + a[3*i+2]*b[6+j]
		}
	}
	return out
}

// inverse is that of a matrix that has one.
func inverse(m [9]float64) (out [9]float64) {
	cofactor := func(r, c int) float64 {
		r1, r2, c1, c2 := (r+1)%3, (r+2)%3, (c+1)%3, (c+2)%3
		return m[3*r1+c1]*m[3*r2+c2] - m[3*r1+c2]*m[3*r2+c1]
	}
	det := m[0]*cofactor(0, 0) + m[1]*cofactor(0, 1) + m[2]*cofactor(0, 2)
	for r := range 3 {
		for c := range 3 {
			out[3*c+r] = cofactor(r, c) / det
		}
	}
	return out
}

func narrow(m [9]float64) (out [9]float32) {
	for i := range m {
		out[i] = float32(m[i])
	}
	return out
}

// Expose sets Exposure by a frame: the 99.5th percentile of the largest channel
// over the panel, room light included, so that a few hot points do not darken
// the rest. A black panel gives 1 cd/m2.
func (s *Screen) Expose(codes []uint8) {
	f := s.glass.Grid()
	s.glass.Shine(f, codes)
	s.Exposure = 1
	rgb := make([]light, len(f.XYZ))
	s.convert(rgb, f.XYZ)
	var most []float64
	for i := range rgb {
		if v := max(rgb[i][0], rgb[i][1], rgb[i][2]); v > 0 {
			most = append(most, float64(v))
		}
	}
	if len(most) == 0 {
		return
	}
	slices.Sort(most)
	s.Exposure = math.Max(most[int(float64(len(most)-1)*0.995)], 1e-3)
}

// Through is the intensity of a frame's LEDs together through the pane, XYZ in
// cd: what a colour becomes behind this glass.
func (g *Glass) Through(codes []uint8) (sum [3]float64) {
	for i := range g.layout.LEDs {
		v, _ := g.led(int(g.layout.LEDs[i].Pixel), codes)
		for k := range sum {
			sum[k] += v[k]
		}
	}
	return sum
}

// point is a lit LED's sharp image on the screen: its edges in image pixels, and
// its light, 1 = white.
type point struct {
	left, right, top, bottom float64
	rgb                      light
}

// point adds one LED's sharp image to a frame's.
func (s *Screen) point(led int, codes []uint8) {
	im := &s.sharps[led]
	v, lit := s.glass.led(int(s.glass.layout.LEDs[led].Pixel), codes)
	if im.luminance == 0 || !lit {
		return
	}
	l := s.glass.layout
	sx, sy, h := float64(s.W)/l.Width, float64(s.H)/l.Height, im.side/2
	p := point{left: (im.x - h) * sx, right: (im.x + h) * sx, top: (l.Height - im.y - h) * sy, bottom: (l.Height - im.y + h) * sy}
	for i := range p.rgb {
		m := s.matrix[3*i:]
		p.rgb[i] = float32(im.luminance / s.Exposure * (float64(m[0])*v[0] + float64(m[1])*v[1] + float64(m[2])*v[2]))
	}
	s.points = append(s.points, p)
}

// spot is a row of the picture with the sharp images that cross it.
func (s *Screen) spot(y int, row []trio) []trio {
	own := false
	for i := range s.points {
		p := &s.points[i]
		high := overlap(float64(y), float64(y+1), p.top, p.bottom)
		if high == 0 {
			continue
		}
		if !own {
			// The row serves the rows between too, which know no points.
			s.spotted = append(s.spotted[:0], row...)
			own = true
		}
		for x := max(0, int(p.left)); x < min(len(row), int(math.Ceil(p.right))); x++ {
			w := float32(high * overlap(float64(x), float64(x+1), p.left, p.right))
			s.spotted[x] = plus(s.spotted[x], &p.rgb, w)
		}
	}
	if own {
		return s.spotted
	}
	return row
}

// plus adds light to a pixel, each channel between black and the most.
func plus(v trio, l *light, w float32) (out trio) {
	for k := range l {
		at := k * trioBits
		sum := float32(v>>at&trioMask) + l[k]*w*trioWhite
		out |= trio(max(min(sum, trioMost), 0)) << at
	}
	return out
}
