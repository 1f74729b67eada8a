package picture

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"

	"paneglow/anim"
	light "paneglow/anim/color"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/render/panel"
)

var (
	tooBright = color.NRGBA{0xf2, 0xb1, 0x34, 0xff}
	tooDark   = color.NRGBA{0x5a, 0x9c, 0xf0, 0xff}
)

// Targeted draws what a clip wants to be seen on the glass, what the machine
// latches for it, and where the two differ, side by side. height is the panel's
// in pixels, 100 to 4000; notes are lines under the pictures.
//
// White in all of them is the luminance over the pixels of the panel all white;
// an eye adapted to it is drawn, in the dark.
func Targeted(m *show.Machine, l *layout.Layout, of *anim.Seen, target int, codes []uint8, height int, notes []string) (*image.RGBA, error) {
	if height < 100 || height > 4000 {
		return nil, fmt.Errorf("a picture %d pixels high is outside 100 to 4000", height)
	}
	w := max(2, int(math.Round(l.Width*float64(height)/l.Height)))
	if w > 2000 {
		return nil, fmt.Errorf("three pictures of %d pixels each are wider than 6000: ask for a smaller height", w)
	}
	g, err := panel.New(m, l)
	if err != nil {
		return nil, err
	}
	white, err := WhiteCodes(m, l)
	if err != nil {
		return nil, err
	}
	s, err := g.NewScreen(w, height, overPixels(g, l, white), 0)
	if err != nil {
		return nil, err
	}
	s.Adapt(g.Through(white))
	result := image.NewRGBA(image.Rect(0, 0, w, height))
	if err := s.Draw(result, codes); err != nil {
		return nil, err
	}
	wanted := stretched(of, target, w, height)

	scale := math.Min(math.Max(float64(height)/700, 0.8), 2)
	gap, line := int(16*scale), 17*scale
	wide := max(w, int(150*scale))
	full := 3*wide + 4*gap
	probe, err := newCanvas(8, 8, scale)
	if err != nil {
		return nil, err
	}
	var lines []string
	for _, n := range append(notes, "simulated; white is the panel all white; blue is too dark, amber too bright") {
		lines = append(lines, probe.wrap(n, float64(full-2*gap), probe.small)...)
	}
	head := int(30 * scale)
	cv, err := newCanvas(full, head+height+gap+int(line*float64(len(lines))+8*scale), scale)
	if err != nil {
		return nil, err
	}
	img := cv.rgba()
	for i, p := range []struct {
		name string
		img  *image.RGBA
	}{{"wanted", wanted}, {"seen", result}, {"difference", difference(wanted, result)}} {
		x := gap + i*(wide+gap)
		cv.text(p.name, float64(x), 20*scale, 0, cv.normal, ink)
		draw.Draw(img, p.img.Bounds().Add(image.Pt(x+(wide-w)/2, head)), p.img, image.Point{}, draw.Src)
	}
	for i, s := range lines {
		col := ink
		if i >= len(lines)-1 {
			col = pale
		}
		cv.text(s, float64(gap), float64(head+height)+line*(float64(i)+1), 0, cv.small, col)
	}
	return img, nil
}

// overPixels is the mean luminance over the pixels in cd/m2.
func overPixels(g *panel.Glass, l *layout.Layout, codes []uint8) float64 {
	f := g.Grid()
	g.Shine(f, codes)
	sum, n := 0.0, 0
	for i := range l.Pixels {
		if p := &l.Pixels[i]; !p.Hidden && !p.Missing {
			sum += float64(f.At(p.X, p.Y)[1])
			n++
		}
	}
	return math.Max(sum/math.Max(1, float64(n)), 1e-3)
}

// stretched is a target as a picture of the panel.
func stretched(of *anim.Seen, target, w, h int) *image.RGBA {
	t := of.Target(target)
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := t[(y*of.H/h)*of.W+x*of.W/w]
			out.Set(x, y, encoded(c[0], c[1], c[2]))
		}
	}
	return out
}

// difference is the luminance of b over that of a: amber where b is brighter,
// blue where it is darker, encoded like light, so that the eye weighs both alike.
func difference(a, b *image.RGBA) *image.RGBA {
	out := image.NewRGBA(a.Bounds())
	at := func(img *image.RGBA, x, y int) float64 {
		c := img.RGBAAt(x, y)
		d := func(v uint8) float64 { return light.Decode(float64(v) / 255) }
		return 0.2126*d(c.R) + 0.7152*d(c.G) + 0.0722*d(c.B)
	}
	for y := range a.Bounds().Dy() {
		for x := range a.Bounds().Dx() {
			d := at(b, x, y) - at(a, x, y)
			c := tooBright
			if d < 0 {
				c = tooDark
			}
			k := light.Encode(math.Min(math.Abs(d), 1))
			out.Set(x, y, color.NRGBA{uint8(k * float64(c.R)), uint8(k * float64(c.G)), uint8(k * float64(c.B)), 0xff})
		}
	}
	return out
}
