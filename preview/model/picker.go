package model

import (
	"fmt"
	"math"

	"paneglow/anim/color"
	"paneglow/anim/layout"
	"paneglow/render/drive"
)

// mostChroma is the right edge of the picker's plane: beyond it no LED goes.
const mostChroma = 0.36

// drawPicker draws OKLCH: a plane of chroma and lightness, a bar of hues. What
// the LEDs cannot make is hatched, with its edge drawn.
func (m *Model) drawPicker(id, now string, r Rect, set func(text string, dragging bool)) float64 {
	u := &m.ui
	c, err := color.Parse(now)
	if err != nil {
		u.text(fitted(err.Error(), r.W, small), r.X, r.Y+14, small, u.theme.Limit, Left)
		return r.Y + 20
	}
	ok := c.In(color.OKLCH)
	l, ch, h := ok.C[0], ok.C[1], ok.C[2]
	if math.IsNaN(h) || ch < 1e-4 {
		h = m.hue
	}
	m.hue = h
	plane := Rect{r.X, r.Y, r.W, 120}
	if u.clip != nil {
		// Its name, hue and current are to be seen with it in a low window, too.
		plane.H = math.Max(60, math.Min(plane.H, u.clip.H-104))
	}
	u.add(Op{Kind: Picture, X: plane.X, Y: plane.Y, W: plane.W, H: plane.H, Image: m.plane(h)})
	// Where the LEDs end, white on black: it is seen on every color.
	var edge []Point
	for _, p := range m.planeEdge {
		edge = append(edge, Point{plane.X + p.X*plane.W, plane.Y + p.Y*plane.H})
	}
	if len(edge) > 1 {
		u.add(Op{Kind: Path, Points: edge, Color: rgb(0x000000), Width: 3})
		u.add(Op{Kind: Path, Points: edge, Color: rgb(0xffffff), Width: 1.2})
	}
	u.frame(plane, u.theme.Rule, 1)
	u.hit(id+".plane", plane)
	changed, dragging := false, false
	if u.active == id+".plane" && u.in.Down {
		ch = math.Min(math.Max((u.in.X-plane.X)/plane.W, 0), 1) * mostChroma
		l = 1 - math.Min(math.Max((u.in.Y-plane.Y)/plane.H, 0), 1)
		changed, dragging = true, !u.in.Pressed
	}
	x, y := plane.X+math.Min(ch/mostChroma, 1)*plane.W, plane.Y+(1-l)*plane.H
	u.frame(Rect{x - 6, y - 6, 12, 12}, rgb(0xffffff), 2)
	u.frame(Rect{x - 7, y - 7, 14, 14}, rgb(0x000000), 1)
	u.outline(id+".plane", plane)
	nh := u.slider(id+".hue", "hue", fmt.Sprintf("%.0f°", h), Rect{r.X, plane.Y + plane.H + 4, r.W, 36}, h, 0, 360, 1)
	if nh != h {
		h, m.hue, changed, dragging = nh, nh, true, u.active == id+".hue" && !u.in.Pressed
	}
	if changed {
		set(fmt.Sprintf("oklch(%.1f%% %.3f %.0f)", 100*l, ch, h), dragging)
	}
	end := plane.Y + plane.H + 44
	light := (color.Color{Space: color.OKLCH, C: [3]float64{l, ch, h}, Alpha: 1}).Light()
	ua, inside := m.costOf(light)
	words := fmt.Sprintf("one pixel draws %.1f mA", ua/1000)
	if !inside {
		words += "; the LEDs cannot make it"
	}
	u.text(words, r.X, end+10, small, u.theme.Ink, Left)
	return end + 22
}

// plane is the picture of one hue, remembered while the hue stays.
func (m *Model) plane(h float64) *Image {
	if m.planeImg != nil && m.planeHue == h && m.planeOf == m.stage {
		return m.planeImg
	}
	const w, hh = 96, 60
	version := 1
	if m.planeImg != nil {
		version = m.planeImg.Version + 1
	}
	img := &Image{W: w, H: hh, Pix: make([]uint8, 4*w*hh), Version: version, Smooth: true}
	m.planeEdge = m.planeEdge[:0]
	for y := range hh {
		edge := -1 // first column that the LEDs cannot make
		for x := range w {
			l, ch := 1-(float64(y)+0.5)/hh, (float64(x)+0.5)/w*mostChroma
			c := color.Color{Space: color.OKLCH, C: [3]float64{l, ch, h}, Alpha: 1}
			q := c.RGB8()
			_, inside := m.costOf(c.Light())
			if !inside && edge < 0 {
				edge = x
			}
			if !inside && (x+y)%3 == 0 {
				q = [3]uint8{q[0] / 3, q[1] / 3, q[2] / 3}
			}
			o := 4 * (y*w + x)
			img.Pix[o], img.Pix[o+1], img.Pix[o+2], img.Pix[o+3] = q[0], q[1], q[2], 255
		}
		// Darker than that, what the LEDs miss is less than half a code.
		if edge >= 0 && float64(y) < 0.75*hh {
			m.planeEdge = append(m.planeEdge, Point{float64(edge) / w, (float64(y) + 0.5) / hh})
		}
	}
	m.planeImg, m.planeHue, m.planeOf = img, h, m.stage
	return img
}

// costOf is what one pixel of the first part draws for a light, microamperes,
// idle included, and whether the dies can make it.
func (m *Model) costOf(l color.Light) (float64, bool) {
	if m.stage == nil || m.stage.On == nil || len(m.stage.Machine.Parts) == 0 {
		return 0, false
	}
	if m.onePixel == nil || m.oneOf != m.stage {
		m.onePixel, m.oneOf = newOnePixel(m.stage), m.stage
	}
	if m.onePixel == nil {
		return 0, false
	}
	return m.onePixel.cost(l)
}

// onePixel is a pixel of the machine's first part, alone.
type onePixel struct {
	on     *drive.Map
	duties []float32
	codes  []uint8
	count  func(codes []uint8) int64
}

func newOnePixel(s *Stage) *onePixel {
	part := s.On.Layout.Strips[0].Part
	dies := s.On.Layout.Strips[0].Dies
	l := &layout.Layout{Strips: []layout.Strip{{Name: s.On.Layout.Strips[0].Name, Part: part, Count: 1, Dies: dies}}, Pixels: []layout.Pixel{{}}}
	machine := *s.Machine
	machine.Strips = nil // stretches belong to places, not to colours
	d, err := drive.NewMap(&machine, l)
	if err != nil {
		return nil
	}
	meter, err := newMeter(&machine, l)
	if err != nil {
		return nil
	}
	return &onePixel{on: d, duties: make([]float32, dies), codes: make([]uint8, dies), count: meter.Current}
}

func (p *onePixel) cost(l color.Light) (float64, bool) {
	clipped := p.on.Apply(p.duties, []color.Light{l})
	drive.Round(p.codes, p.duties, drive.FullGain)
	return float64(p.count(p.codes)), clipped == 0
}
