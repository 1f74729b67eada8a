package picture

import (
	"fmt"
	"image"
	"image/color"
	"math"

	light "paneglow/anim/color"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/render/drive"
)

// Paint turns codes into screen colors: the die's light relative to the show's
// white, as linear sRGB.
type Paint struct {
	layout *layout.Layout
	dies   [][4][3]float32 // by part: linear sRGB of each die at code 1
}

// NewPaint prepares a machine's dies.
func NewPaint(m *show.Machine, l *layout.Layout) (*Paint, error) {
	p := &Paint{layout: l}
	for i := range m.Parts {
		part := &m.Parts[i]
		xyz, err := drive.Relative(part)
		if err != nil {
			return nil, fmt.Errorf("part %q: %w", part.Name, err)
		}
		var d [4][3]float32
		for c := range xyz {
			for k, v := range light.LinearFromXYZ(xyz[c]) {
				d[c][k] = float32(v / 255)
			}
		}
		p.dies = append(p.dies, d)
	}
	return p, nil
}

// Light is the linear sRGB of one pixel; 1 is the show's white.
func (p *Paint) Light(pixel int, codes []uint8) (r, g, b float32) {
	px := &p.layout.Pixels[pixel]
	s := &p.layout.Strips[px.Strip]
	for c, code := range codes[px.Offset : px.Offset+s.Dies] {
		d := &p.dies[s.Part][c]
		r += float32(code) * d[0]
		g += float32(code) * d[1]
		b += float32(code) * d[2]
	}
	return
}

func encoded(r, g, b float32) color.NRGBA {
	e := func(v float32) uint8 { return uint8(255*light.Encode(float64(min(max(v, 0), 1))) + 0.5) }
	return color.NRGBA{e(r), e(g), e(b), 0xff}
}

// Bare draws the LEDs without the glass, to scale: every LED as a disc of its
// pixel's color, dark ones as rings, the first pixel of each strip named. longest
// is the longest note of an animation, so that all its frames get one size.
func Bare(p *Paint, codes []uint8, height int, note, longest string) (*image.RGBA, error) {
	return discs(p.layout, height, note, longest, func(pixel int) (color.NRGBA, bool) {
		r, g, b := p.Light(pixel, codes)
		return encoded(r, g, b), max(r, g, b) > 0
	})
}

// Driven draws what the dies are driven with, as Bare draws their light: the codes
// of red, green and blue shown as they are. A white die is left out.
func Driven(l *layout.Layout, codes []uint8, height int, note, longest string) (*image.RGBA, error) {
	return discs(l, height, note, longest, func(pixel int) (color.NRGBA, bool) {
		c := codes[l.Pixels[pixel].Offset:]
		return color.NRGBA{c[0], c[1], c[2], 0xff}, max(c[0], c[1], c[2]) > 0
	})
}

// discs draws each LED as a disc of its pixel's color, or as a ring where it is
// dark.
func discs(l *layout.Layout, height int, note, longest string, shows func(pixel int) (c color.NRGBA, lit bool)) (*image.RGBA, error) {
	if height < 100 || height > 4000 {
		return nil, fmt.Errorf("a picture %d pixels high is outside 100 to 4000", height)
	}
	scale := float64(height) / l.Height
	textScale := math.Min(math.Max(float64(height)/900, 0.8), 2)
	margin := 16 * textScale
	probe, err := newCanvas(8, 8, textScale)
	if err != nil {
		return nil, err
	}
	lines := probe.reserve(note, longest, l.Width*scale, probe.small)
	cv, err := newCanvas(int(l.Width*scale+2*margin), height+int(2*margin+17*textScale*float64(len(lines))), textScale)
	if err != nil {
		return nil, err
	}
	at := func(x, y float64) (float64, float64) { return margin + x*scale, margin + (l.Height-y)*scale }
	x0, y0 := at(0, l.Height)
	cv.SetColor(sheet)
	cv.DrawRectangle(x0, y0, l.Width*scale, float64(height))
	cv.Fill()
	radius := math.Max(2, 0.36*scale*nearest(l))
	for i := range l.LEDs {
		led := &l.LEDs[i]
		px := &l.Pixels[led.Pixel]
		x, y := at(led.X, led.Y)
		c, lit := shows(int(led.Pixel))
		cv.DrawCircle(x, y, radius)
		switch {
		case px.Missing:
			cv.SetColor(limit)
			cv.SetLineWidth(1.5)
			cv.Stroke()
		case !lit:
			cv.SetColor(rule)
			cv.SetLineWidth(1)
			cv.Stroke()
		default:
			cv.SetColor(c)
			cv.Fill()
		}
	}
	for i := range l.Strips {
		nameStrip(cv, l, i, at, radius)
	}
	for i, line := range lines {
		cv.text(line, margin, float64(height)+margin+17*textScale*float64(i+1), 0, cv.small, ink)
	}
	return cv.rgba(), nil
}

// nameStrip writes a strip's name beside its first pixel, towards the inside of
// the panel, with an arrow in data order.
func nameStrip(cv *canvas, l *layout.Layout, i int, at func(x, y float64) (float64, float64), radius float64) {
	s := &l.Strips[i]
	if s.Count == 0 {
		return
	}
	a, b := &l.Pixels[s.First], &l.Pixels[s.First+s.Count-1]
	dx, dy := b.X-a.X, b.Y-a.Y
	arrow := "→"
	switch {
	case math.Abs(dy) > math.Abs(dx) && dy > 0:
		arrow = "↑"
	case math.Abs(dy) > math.Abs(dx):
		arrow = "↓"
	case dx < 0:
		arrow = "←"
	}
	label := fmt.Sprintf("%s %s", s.Name, arrow)
	x, y := at(a.X, a.Y)
	if math.Abs(dy) > math.Abs(dx) { // beside a column, inwards
		if a.X < l.Width/2 {
			cv.text(label, x+radius+8, y+4, 0, cv.small, pale)
		} else {
			cv.text(label, x-radius-8, y+4, 1, cv.small, pale)
		}
		return
	}
	// Under or over the middle of a row, inwards: at its ends it would meet
	// the columns.
	x, y = at((a.X+b.X)/2, (a.Y+b.Y)/2)
	off := radius + 16
	if a.Y < l.Height/2 {
		off = -radius - 6
	}
	cv.text(label, x, y+off, 0.5, cv.small, pale)
}

// nearest is the smallest distance of neighbouring LEDs in millimetres.
func nearest(l *layout.Layout) float64 {
	best := math.Inf(1)
	for i := range l.Strips {
		best = math.Min(best, l.Strips[i].LEDPitch)
	}
	if math.IsInf(best, 1) || best <= 0 {
		return 10
	}
	return best
}
