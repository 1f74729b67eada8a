package model

import (
	"fmt"
	"image/color"
	"math"

	light "paneglow/anim/color"
	"paneglow/render/picture"
)

// View is how the panel is looked at.
type View int

// The views of the panel.
const (
	GlassView View = iota
	BareView
	DriveView
)

var viewNames = [...]string{"glass", "bare LEDs", "drive"}

// drawPanel draws the panel to scale in a rectangle.
func (m *Model) drawPanel(r Rect, codes []uint8) {
	u, s := &m.ui, m.stage
	if s == nil || s.On == nil || codes == nil {
		u.fill(r, u.theme.Sheet, 0)
		return
	}
	l := s.On.Layout
	x := func(mm float64) float64 { return r.X + mm/l.Width*r.W }
	y := func(mm float64) float64 { return r.Y + r.H - mm/l.Height*r.H }
	u.fill(r, rgb(0x050506), 0)
	switch m.view {
	case GlassView:
		u.add(Op{Kind: Glass, X: r.X, Y: r.Y, W: r.W, H: r.H})
		u.places["glass"] = [4]int{int(math.Round(r.X)), int(math.Round(r.Y)), int(math.Round(r.W)), int(math.Round(r.H))}
	default:
		paint, err := picture.NewPaint(s.Machine, l)
		if err != nil {
			break
		}
		size := math.Max(1.5, 2.4*r.W/l.Width)
		for i := range l.LEDs {
			led := &l.LEDs[i]
			u.add(Op{Kind: Disc, X: x(led.X), Y: y(led.Y), Radius: size, Color: m.pixelColor(paint, int(led.Pixel), codes)})
		}
	}
	if m.outlines {
		m.drawNumbers(r, x, y)
	}
	u.frame(r, u.theme.Rule, 1)
}

// pixelColor is a pixel's light, or its duty as it is driven.
func (m *Model) pixelColor(p *picture.Paint, pixel int, codes []uint8) color.NRGBA {
	if m.view == DriveView {
		px := &m.stage.On.Layout.Pixels[pixel]
		return color.NRGBA{codes[px.Offset], codes[px.Offset+1], codes[px.Offset+2], 0xff}
	}
	r, g, b := p.Light(pixel, codes)
	e := func(v float32) uint8 { return uint8(255*light.Encode(float64(min(max(v, 0), 1))) + 0.5) }
	return color.NRGBA{e(r), e(g), e(b), 0xff}
}

// drawNumbers writes which pixels are where, and the feeds.
func (m *Model) drawNumbers(r Rect, x, y func(float64) float64) {
	u, s := &m.ui, m.stage
	l := s.On.Layout
	for i := range l.Strips {
		st := &l.Strips[i]
		for k := 0; k < st.Count; k++ {
			p := &l.Pixels[st.First+k]
			if k%10 != 0 && k != st.Count-1 {
				continue
			}
			px, py := x(p.X), y(p.Y)
			u.add(Op{Kind: Disc, X: px, Y: py, Radius: 2.5, Color: u.theme.Ink})
			a, dx := Left, 6.0
			if px > r.X+r.W*0.6 {
				a, dx = Right, -6
			}
			u.text(fmt.Sprint(k), px+dx, py+4, 11, rgb(0xdfe3e8), a)
		}
		first := &l.Pixels[st.First]
		u.text(st.Name, x(first.X), y(first.Y)+18, 12, rgb(0xf2b134), Center)
	}
	for i := range s.Machine.Feeds {
		f := &s.Machine.Feeds[i]
		n := l.Strip(f.Strip)
		if n < 0 || f.Pixel >= l.Strips[n].Count {
			continue
		}
		p := &l.Pixels[l.Strips[n].First+f.Pixel]
		px, py := x(p.X), y(p.Y)
		u.frame(Rect{px - 6, py - 6, 12, 12}, rgb(0x6fa8dc), 2)
		u.text("feed", px, py-9, 11, rgb(0x9cc4ea), Center)
	}
}
