package panel

import "math"

// from is the luminance per candela that a viewer at a place sees at x, y mm on
// the pane, of a LED at lx, ly mm: the lobe between the ray's direction and the
// viewer's, averaged over the lit face.
func (s *source) from(x, y, lx, ly float64, eye *Eye) float64 {
	ex, ey := eye.X-x, eye.Y-y
	far := 1 / math.Sqrt(ex*ex+ey*ey+eye.Z*eye.Z)
	ox, oy := ex*far, ey*far
	out := s.lobe.at(math.Min(math.Hypot(ox, oy), 1))
	px, py := (x-lx)*s.perMM, (y-ly)*s.perMM
	n := 1
	// From far away the face is a point.
	if r := math.Hypot(px, py); s.disc > 0 && r < 6*(s.disc+s.core*s.perMM)+math.Hypot(ex, ey)*far*2 {
		// Enough points that the spots of neighbours on the face run together.
		fine := s.disc / (s.core * s.perMM)
		n = 2 * min(max(8, int(2*fine*fine)), 45)
	}
	sum := 0.0
	for i := range n {
		dx, dy := px, py
		if n > 1 {
			// A sunflower's head and its mirror image: points of equal area, no rows.
			r := s.disc * math.Sqrt((float64(i/2)+0.5)/float64(n/2))
			a := float64(i/2)*2.39996322972865332 + float64(i%2)*math.Pi // the golden angle
			dx, dy = dx-r*math.Cos(a), dy-r*math.Sin(a)
		}
		inverse := 1 / (1 + dx*dx + dy*dy)
		cos := math.Sqrt(inverse)
		e := inverse * inverse // cos^4 of a Lambertian LED
		if math.Abs(s.order-1) > 1e-9 {
			e *= math.Pow(cos, s.order-1)
		}
		if !s.straight() {
			e *= s.aimed(dx, dy) + s.back
		}
		bx, by := dx*cos, dy*cos
		d2 := (bx-ox)*(bx-ox) + (by-oy)*(by-oy)
		f := s.lobe.at(math.Min(math.Hypot(bx, by), 1)) * out * math.Exp(-d2/(2*s.lobe.s*s.lobe.s))
		sum += e * ((1-s.q)*f + s.q/math.Pi)
	}
	r := math.Hypot(px, py)
	return s.scale * (s.haze*sum/float64(n) + s.around*s.box.at(r))
}

// sharp is the image of a LED that clear glass lets through: a square on the
// pane, in mm, and its luminance per candela.
type sharp struct {
	x, y, side float64
	luminance  float64
}

// sharpOf is the sharp image of a LED; ok is false where there is none.
func (g *Glass) sharpOf(led int) (im sharp, ok bool) {
	s := g.sourceOf(led)
	l := &g.layout.LEDs[led]
	if s.haze >= 1 || s.emitter <= 0 {
		return im, false
	}
	im = sharp{x: l.X, y: l.Y, side: s.emitter}
	cos := s.aim[2]
	if g.eye != nil {
		// Where the straight line from the eye to the LED meets the pane.
		t := s.depth / (s.depth + g.eye.Z)
		im.x, im.y = l.X+t*(g.eye.X-l.X), l.Y+t*(g.eye.Y-l.Y)
		im.side *= 1 - t
		dx, dy, dz := g.eye.X-l.X, g.eye.Y-l.Y, g.eye.Z+s.depth
		cos = (dx*s.aim[0] + dy*s.aim[1] + dz*s.aim[2]) / math.Sqrt(dx*dx+dy*dy+dz*dz)
	}
	if cos <= 1e-9 {
		return im, false
	}
	// Intensity over area; a tilted face looks narrower, which is left to the
	// luminance, so that the light is right and the outline is the whole face.
	im.luminance = (1 - s.haze) * math.Pow(cos, s.order) / (s.emitter * s.emitter * 1e-6)
	return im, true
}

// overlap is the length that two stretches of a line share.
func overlap(a0, a1, b0, b1 float64) float64 {
	return math.Max(0, math.Min(a1, b1)-math.Max(a0, b0))
}

// addSharp adds the sharp images of lit LEDs to a field; a point stands for the
// square of one step around it.
func (g *Glass) addSharp(f *Field, codes []uint8) {
	if !g.anyClear() {
		f.sharp = nil
		return
	}
	f.sharp = grown(f.sharp, len(f.XYZ))
	clear(f.sharp)
	for i := range g.layout.LEDs {
		im, ok := g.sharpOf(i)
		if !ok {
			continue
		}
		v, lit := g.led(int(g.layout.LEDs[i].Pixel), codes)
		if !lit {
			continue
		}
		h := im.side / 2
		for y := max(0, int((im.y-h)/f.Step)); y < min(f.H, int((im.y+h)/f.Step)+2); y++ {
			cy := float64(y) * f.Step
			wy := overlap(cy-f.Step/2, cy+f.Step/2, im.y-h, im.y+h) / f.Step
			for x := max(0, int((im.x-h)/f.Step)); x < min(f.W, int((im.x+h)/f.Step)+2); x++ {
				cx := float64(x) * f.Step
				w := wy * overlap(cx-f.Step/2, cx+f.Step/2, im.x-h, im.x+h) / f.Step * im.luminance
				p := &f.sharp[y*f.W+x]
				for k := range p {
					p[k] += float32(w * v[k])
				}
			}
		}
	}
	for i := range f.XYZ {
		for k := range f.XYZ[i] {
			f.XYZ[i][k] += f.sharp[i][k]
		}
	}
}

// anyClear tells that some light passes without being scattered.
func (g *Glass) anyClear() bool {
	for _, s := range g.strips {
		if s.haze < 1 {
			return true
		}
	}
	return false
}
