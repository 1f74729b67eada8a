package model

import (
	"fmt"
	"image/color"
	"math"

	light "paneglow/anim/color"
	"paneglow/anim/layout"
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
		// Neighbours do not touch; the smallest can still be told from its ground.
		size := math.Max(1.8, 0.42*leastPitch(l)*r.W/l.Width)
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

// leastPitch is the smallest distance of neighbouring LEDs in millimetres.
func leastPitch(l *layout.Layout) float64 {
	least := math.Inf(1)
	for i := range l.Strips {
		if d := l.Strips[i].LEDPitch; d > 0 {
			least = math.Min(least, d)
		}
	}
	if math.IsInf(least, 1) {
		return 5
	}
	return least
}

// drawNumbers writes which pixels are where, and the feeds, beside the strips: the
// LEDs stay free.
func (m *Model) drawNumbers(r Rect, x, y func(float64) float64) {
	u, s := &m.ui, m.stage
	l := s.On.Layout
	pale, amber, blue := rgb(0xdfe3e8), rgb(0xf2b134), rgb(0x9cc4ea)
	dim := rgb(0x8a939e)
	for i := range l.Strips {
		st := &l.Strips[i]
		if st.Count == 0 {
			continue
		}
		up := upright(l, i)
		sx, sy := inwards(l, i)
		out := sy // lying strips have their numbers outside, where there is room
		if edge := y(l.Pixels[st.First].Y); sy > 0 && edge-r.Y >= 18 || sy < 0 && r.Y+r.H-edge >= 18 {
			out = -sy
		}
		last := math.Inf(-1) // where the last number was written, along the strip
		for k := 0; k < st.Count; k++ {
			if k%10 != 0 && k != st.Count-1 {
				continue
			}
			p := &l.Pixels[st.First+k]
			px, py := x(p.X), y(p.Y)
			along, room := py, 13.0
			if up {
				u.line(px+sx*5, py, px+sx*9, py, dim, 1)
			} else {
				along, room = px, 20
				u.line(px, py+out*4, px, py+out*7, dim, 1)
			}
			if math.Abs(along-last) < room {
				continue // a tick without a number: the next one would touch it
			}
			last = along
			if up {
				a := Left
				if sx < 0 {
					a = Right
				}
				u.text(fmt.Sprint(k), px+sx*12, py+4, 11, pale, a)
			} else {
				u.text(fmt.Sprint(k), px, py+out*14+4, 11, pale, Center)
			}
		}
		mid := &l.Pixels[st.First+st.Count/2]
		px, py := x(mid.X), y(mid.Y)
		if up {
			a := Left
			if sx < 0 {
				a = Right
			}
			u.text(st.Name, px+sx*34, py+4, 12, amber, a)
		} else {
			u.text(st.Name, px, py+sy*24+4, 12, amber, Center)
		}
	}
	for i := range s.Machine.Feeds {
		f := &s.Machine.Feeds[i]
		n := l.Strip(f.Strip)
		if n < 0 || f.Pixel >= l.Strips[n].Count {
			continue
		}
		p := &l.Pixels[l.Strips[n].First+f.Pixel]
		px, py := x(p.X), y(p.Y)
		u.frame(Rect{px - 5, py - 5, 10, 10}, rgb(0x6fa8dc), 2)
		sx, sy := inwards(l, n)
		if upright(l, n) {
			a := Left
			if sx < 0 {
				a = Right
			}
			u.text("feed", px+sx*34, py+4, 11, blue, a)
		} else {
			u.text("feed", px, py+sy*32+4, 11, blue, Center)
		}
	}
}

// inwards is the side of a strip that looks into the panel, on the screen: 1 right
// or down, -1 left or up.
func inwards(l *layout.Layout, strip int) (sx, sy float64) {
	st := &l.Strips[strip]
	mid := &l.Pixels[st.First+st.Count/2]
	sx, sy = 1, 1
	if mid.X > l.Width/2 {
		sx = -1
	}
	if mid.Y < l.Height/2 {
		sy = -1
	}
	return sx, sy
}
