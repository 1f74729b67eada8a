package model

import (
	"fmt"
	"image/color"
	"math"
	"strings"

	light "paneglow/anim/color"
	"paneglow/anim/layout"
	"paneglow/render/picture"
)

// axis maps frames of a lap to the timeline's width.
type axis struct {
	x, w       float64
	from, upto float64 // frames
}

func (a *axis) at(frame float64) float64 { return a.x + (frame-a.from)/(a.upto-a.from)*a.w }
func (a *axis) frame(x float64) float64  { return a.from + (x-a.x)/a.w*(a.upto-a.from) }

// upright tells that a strip runs up the panel rather than across it.
func upright(l *layout.Layout, strip int) bool {
	s := &l.Strips[strip]
	a, b := &l.Pixels[s.First], &l.Pixels[s.First+s.Count-1]
	return math.Abs(b.Y-a.Y) > math.Abs(b.X-a.X)
}

// strip pictures are drawn once a lap: time to the right, one row a pixel.
type lapImage struct {
	lap    *Lap
	strip  int
	turned bool // time runs down
	img    *Image
}

// imageOf is a strip's light over a lap, at most 1600 columns; turned, time runs
// down and pixels stand as on a strip that lies.
func (m *Model) imageOf(lap *Lap, strip int, turned bool) *Image {
	for i := range m.images {
		if m.images[i].lap == lap && m.images[i].strip == strip && m.images[i].turned == turned {
			return m.images[i].img
		}
	}
	s := m.stage
	paint, err := picture.NewPaint(s.Machine, s.On.Layout)
	if err != nil {
		return nil
	}
	st := &s.On.Layout.Strips[strip]
	w := min(len(lap.Frames), 1600)
	img := &Image{W: w, H: st.Count, Pix: make([]uint8, 4*w*st.Count), Version: 1}
	if turned {
		img.W, img.H = img.H, img.W
	}
	a, z := &s.On.Layout.Pixels[st.First], &s.On.Layout.Pixels[st.First+st.Count-1]
	e := func(v float32) uint8 { return uint8(255*light.Encode(float64(min(max(v, 0), 1))) + 0.5) }
	for c := range w {
		codes := lap.Frames[c*len(lap.Frames)/w]
		for k := range st.Count {
			r, g, b := paint.Light(st.First+k, codes)
			row := st.Count - 1 - k // first pixel below, as on an upright strip
			if z.Y < a.Y || !upright(s.On.Layout, strip) {
				row = k
			}
			o := 4 * (row*w + c)
			if turned {
				if row = k; z.X < a.X && !upright(s.On.Layout, strip) {
					row = st.Count - 1 - k
				}
				o = 4 * (c*st.Count + row)
			}
			img.Pix[o], img.Pix[o+1], img.Pix[o+2], img.Pix[o+3] = e(r), e(g), e(b), 255
		}
	}
	if len(m.images) > len(s.On.Layout.Strips)+8 {
		m.images = m.images[1:]
	}
	m.images = append(m.images, lapImage{lap: lap, strip: strip, turned: turned, img: img})
	return img
}

// drawTimeline draws the lap: the chosen upright strip at the panel's own
// heights, the other strips as bands, the current below.
func (m *Model) drawTimeline(panel, r Rect, bands, chart Rect) {
	u, s := &m.ui, m.stage
	u.fill(r, u.theme.Sheet, 0)
	lap := m.lap()
	if lap == nil || len(lap.Frames) == 0 {
		u.text("nothing to play yet", r.X+16, r.Y+30, normal, u.theme.Pale, Left)
		return
	}
	n := float64(len(lap.Frames))
	if m.zoomTo <= m.zoomFrom || m.zoomTo > n {
		m.zoomFrom, m.zoomTo = 0, n
	}
	a := &axis{x: r.X, w: r.W, from: m.zoomFrom, upto: m.zoomTo}
	m.axis = *a
	l := s.On.Layout
	main := m.mainStrip()
	if main >= 0 {
		st := &l.Strips[main]
		lo, hi := math.Inf(1), math.Inf(-1)
		for k := range st.Count {
			lo, hi = math.Min(lo, l.Pixels[st.First+k].Y), math.Max(hi, l.Pixels[st.First+k].Y)
		}
		y0 := panel.Y + panel.H - (hi+st.PixelPitch/2)/l.Height*panel.H
		y1 := panel.Y + panel.H - (lo-st.PixelPitch/2)/l.Height*panel.H
		m.stretch(lap, main, Rect{r.X, y0, r.W, y1 - y0}, a)
		u.text("strip "+st.Name, r.X+8, math.Max(y0-6, r.Y+14), small, u.theme.Pale, Left)
	}
	m.drawBands(lap, main, bands, a)
	m.drawCurrent(lap, chart, a)
	m.drawTicks(lap, r, chart, a)
	m.drawPlayhead(lap, r, chart, a)
}

// stretch draws the zoomed part of a strip's picture.
func (m *Model) stretch(lap *Lap, strip int, r Rect, a *axis) {
	img := m.imageOf(lap, strip, false)
	if img == nil {
		return
	}
	n := float64(len(lap.Frames))
	scale := r.W / (a.upto - a.from)
	clip := r
	m.ui.add(Op{Kind: Picture, X: r.X - a.from*scale, Y: r.Y, W: n * scale, H: r.H, Image: img})
	m.ui.list.Ops[len(m.ui.list.Ops)-1].Clip = &clip
}

func (m *Model) drawBands(lap *Lap, main int, r Rect, a *axis) {
	u, l := &m.ui, m.stage.On.Layout
	var others []int
	for i := range l.Strips {
		if i != main {
			others = append(others, i)
		}
	}
	if len(others) == 0 {
		return
	}
	h := math.Min(r.H/float64(len(others)), 34)
	for k, i := range others {
		b := Rect{r.X, r.Y + float64(k)*h, r.W, h - 3}
		m.stretch(lap, i, b, a)
		label := l.Strips[i].Name
		// A click makes an upright one the strip beside the panel.
		w := Measure(label, small, false) + 14
		if upright(l, i) {
			if u.button("strip."+label, label, Rect{r.X + 6, b.Y + b.H/2 - 11, w + 12, 22}, false) {
				m.main = label
			}
			continue
		}
		u.fill(Rect{r.X + 6, b.Y + b.H/2 - 10, w, 20}, withAlpha(u.theme.Sheet, 215), 4)
		u.text(label, r.X+13, b.Y+b.H/2+5, small, u.theme.Ink, Left)
	}
}

// drawCurrent draws what the clip draws, what it wanted, and the budget.
func (m *Model) drawCurrent(lap *Lap, r Rect, a *axis) {
	u := &m.ui
	u.fill(r, u.theme.Sheet, 0)
	most := float64(lap.Budget)
	for _, c := range lap.Current {
		most = math.Max(most, float64(c))
	}
	for _, c := range lap.Wanted {
		most = math.Max(most, float64(c))
	}
	most *= 1.12
	y := func(ua float64) float64 { return r.Y + r.H - ua/most*r.H }
	if lap.Wanted != nil {
		m.curve(lap.Wanted, r, a, y, withAlpha(u.theme.Limit, 90), true)
		// Where the cap bites is marked along the foot, too: a bar, not just a colour.
		for f, c := range lap.Wanted {
			if c > lap.Current[f]+1000 && float64(f) >= a.from && float64(f) < a.upto {
				x := a.at(float64(f))
				u.fill(Rect{x, r.Y + r.H - 5, math.Max(1, a.w/(a.upto-a.from)), 5}, u.theme.Limit, 0)
			}
		}
	}
	m.curve(lap.Current, r, a, y, withAlpha(u.theme.Accent, 110), true)
	m.curve(lap.Current, r, a, y, u.theme.Accent, false)
	by := y(float64(lap.Budget))
	for x := r.X; x < r.X+r.W; x += 12 {
		u.line(x, by, math.Min(x+7, r.X+r.W), by, u.theme.Limit, 2)
	}
	label := fmt.Sprintf("budget %s", amps(lap.Budget))
	w := Measure(label, small, false)
	u.fill(Rect{r.X + r.W - w - 12, by + 3, w + 8, 18}, withAlpha(u.theme.Sheet, 220), 3)
	u.text(label, r.X+r.W-8, by+16, small, u.theme.Limit, Right)
	words := "current"
	if lap.Wanted != nil {
		words = "current: solid drawn, pale red wanted; most " + amps(int64(most/1.12))
	}
	w2 := Measure(words, small, false)
	u.fill(Rect{r.X + 4, r.Y + 3, w2 + 10, 18}, withAlpha(u.theme.Sheet, 225), 3)
	u.text(words, r.X+9, r.Y+17, small, u.theme.Ink, Left)
	if bites := m.bites(lap); bites > 0 {
		words = fmt.Sprintf("cap bites in %d of %d frames", bites, len(lap.Frames))
		u.fill(Rect{r.X + 4, r.Y + r.H - 25, Measure(words, small, false) + 10, 18}, withAlpha(u.theme.Sheet, 225), 3)
		u.text(words, r.X+9, r.Y+r.H-11, small, u.theme.Limit, Left)
	}
}

// bites counts the frames that wanted more than they got.
func (m *Model) bites(lap *Lap) int {
	n := 0
	for f, c := range lap.Wanted {
		if c > lap.Current[f]+1000 {
			n++
		}
	}
	return n
}

// curve is a stepped line through a lap's values, or the area under it.
func (m *Model) curve(v []int64, r Rect, a *axis, y func(float64) float64, c color.NRGBA, area bool) {
	first, last := int(math.Max(0, a.from)), int(math.Min(float64(len(v)), math.Ceil(a.upto)))
	if first >= last {
		return
	}
	step := max(1, (last-first)/int(math.Max(1, r.W)))
	var pts []Point
	for f := first; f < last; f += step {
		most := int64(0)
		for _, x := range v[f:min(f+step, last)] {
			most = max(most, x)
		}
		x0, x1 := math.Max(a.at(float64(f)), r.X), math.Min(a.at(float64(f+step)), r.X+r.W)
		pts = append(pts, Point{x0, y(float64(most))}, Point{x1, y(float64(most))})
	}
	if area {
		pts = append(pts, Point{pts[len(pts)-1].X, r.Y + r.H}, Point{pts[0].X, r.Y + r.H})
		m.ui.add(Op{Kind: Area, Points: pts, Color: c})
		return
	}
	m.ui.add(Op{Kind: Path, Points: pts, Color: c, Width: 1.5})
}

// drawTicks writes the time, or the value, under the chart.
func (m *Model) drawTicks(lap *Lap, r, chart Rect, a *axis) {
	u, fps := &m.ui, float64(m.stage.Show.FPS)
	unit, per := "s", fps
	if m.follows() {
		unit, per = "", 1
	}
	span := (a.upto - a.from) / per
	step := math.Pow(10, math.Floor(math.Log10(span/4)))
	for _, k := range []float64{1, 2, 5, 10} {
		if span/(step*k) <= 7 {
			step *= k
			break
		}
	}
	for t := math.Ceil(a.from/per/step) * step; t*per <= a.upto; t += step {
		x := a.at(t * per)
		u.line(x, chart.Y+chart.H, x, chart.Y+chart.H+4, u.theme.Pale, 1)
		word := strings.TrimSpace(fmt.Sprintf("%.4g %s", t, unit))
		if x < r.X+r.W-20 {
			u.text(word, x, chart.Y+chart.H+18, small, u.theme.Pale, Center)
		}
	}
}

// drawPlayhead draws where the clip is, takes scrubbing, zoom and the loop.
func (m *Model) drawPlayhead(lap *Lap, r, chart Rect, a *axis) {
	u := &m.ui
	all := Rect{r.X, r.Y, r.W, chart.Y + chart.H - r.Y}
	m.work("timeline", all, lap, a, u.in.X)
	if m.loopTo != m.loopFrom {
		x0, x1 := a.at(float64(min(m.loopFrom, m.loopTo))), a.at(float64(max(m.loopFrom, m.loopTo)))
		u.frame(Rect{x0, r.Y, x1 - x0, all.H}, u.theme.Good, 2)
		u.text("loop", x0+4, r.Y+16, small, u.theme.Good, Left)
	}
	if f := m.frame(); float64(f) >= a.from && float64(f) <= a.upto {
		x := a.at(float64(f) + 0.5)
		u.line(x, r.Y, x, all.Y+all.H, u.theme.Ink, 2)
		u.add(Op{Kind: Area, Color: u.theme.Ink, Points: []Point{{x - 7, r.Y}, {x + 7, r.Y}, {x, r.Y + 10}}})
	}
	u.outline("timeline", all)
}

// work takes what is done to the timeline: scrubbing, the wheel, a loop range. at
// is where the pointer is along time.
func (m *Model) work(id string, all Rect, lap *Lap, a *axis, at float64) {
	u := &m.ui
	n := float64(len(lap.Frames))
	if u.hit(id, all) {
		if u.in.Wheel != 0 {
			f := a.frame(at)
			k := math.Pow(0.8, u.in.Wheel)
			m.zoomFrom = math.Max(0, f-(f-a.from)*k)
			m.zoomTo = math.Min(n, f+(a.upto-f)*k)
			if m.zoomTo-m.zoomFrom < 8 {
				m.zoomFrom, m.zoomTo = math.Max(0, f-4), math.Min(n, f+4)
			}
		}
	}
	if u.active == id && u.in.Down {
		f := int(math.Min(math.Max(a.frame(at), 0), n-1))
		if u.in.Shift {
			if u.in.Pressed {
				m.loopFrom = f
			}
			m.loopTo = f
		} else {
			m.scrub(f)
		}
	}
}

// amps prints a current with three digits.
func amps(ua int64) string { return fmt.Sprintf("%.2f A", float64(ua)/1e6) }
