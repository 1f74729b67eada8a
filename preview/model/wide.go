package model

import (
	"fmt"
	"math"
)

// A panel that is wider than tall turns the window by 90 degrees: the panel lies at
// the top, its timeline grows out of its lower edge, time runs down, and every
// pixel stays at the same place from left to right.

// wide tells that the panel lies.
func (m *Model) wide() bool {
	l := m.stage.On.Layout
	return l.Width > l.Height
}

// lying is the strip under the panel: the chosen one, else the first that lies.
func (m *Model) lying() int {
	l := m.stage.On.Layout
	if i := l.Strip(m.main); i >= 0 && !upright(l, i) {
		return i
	}
	for i := range l.Strips {
		if !upright(l, i) {
			return i
		}
	}
	return -1
}

func (m *Model) drawWide(w, h float64) {
	const gap, foot, bar = 14.0, 30.0, 40.0
	side := math.Min(math.Max(w*0.27, 290), 380)
	vessel := 164.0
	l := m.stage.On.Layout
	chartW, bandW := 130.0, 0.0
	for i := range l.Strips {
		if i != m.lying() {
			bandW += 26
		}
	}
	bandW = math.Min(bandW, 104)
	labels := 44.0
	pw := w - side - vessel - chartW - bandW - labels - 3*gap
	ph := pw * l.Height / l.Width
	if most := (h - bar - foot) * 0.4; ph > most {
		ph, pw = most, most*l.Width/l.Height
	}
	x := gap + labels
	panel := Rect{x, bar, pw, ph}
	top := bar + ph + 4
	tl := Rect{x, top, pw, h - foot - top - gap}
	m.drawBar(Rect{gap, 6, w - 2*gap, 28})
	m.drawPanel(panel, m.codes())
	m.drawGlassSettings(Rect{x + pw + gap, bar, bandW + chartW - gap, ph})
	m.drawTimelineDown(panel, tl, Rect{x + pw + 6, top, bandW, tl.H}, Rect{x + pw + bandW + 10, top, chartW - 10, tl.H})
	m.drawVessel(Rect{w - side - vessel, bar, vessel - gap, h - bar - foot})
	m.drawSide(Rect{w - side, bar, side - gap, h - bar - foot})
	m.drawFoot(Rect{gap, h - foot + 4, w - 2*gap, foot})
}

// drawTimelineDown is drawTimeline, turned.
func (m *Model) drawTimelineDown(panel, r, bands, chart Rect) {
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
	a := &axis{x: r.Y, w: r.H, from: m.zoomFrom, upto: m.zoomTo}
	l := s.On.Layout
	draw := func(strip int, b Rect) {
		if img := m.imageOf(lap, strip, true); img != nil {
			clip := b
			scale := b.H / (a.upto - a.from)
			u.add(Op{Kind: Picture, X: b.X, Y: b.Y - a.from*scale, W: b.W, H: n * scale, Image: img})
			u.list.Ops[len(u.list.Ops)-1].Clip = &clip
		}
	}
	main := m.lying()
	if main >= 0 {
		st := &l.Strips[main]
		lo, hi := math.Inf(1), math.Inf(-1)
		for k := range st.Count {
			lo, hi = math.Min(lo, l.Pixels[st.First+k].X), math.Max(hi, l.Pixels[st.First+k].X)
		}
		x0 := panel.X + (lo-st.PixelPitch/2)/l.Width*panel.W
		x1 := panel.X + (hi+st.PixelPitch/2)/l.Width*panel.W
		draw(main, Rect{x0, r.Y, x1 - x0, r.H})
	}
	x := bands.X
	for i := range l.Strips {
		if i == main || x+20 > bands.X+bands.W {
			continue
		}
		draw(i, Rect{x, bands.Y, 22, bands.H})
		x += 26
	}
	m.drawCurrentDown(lap, chart, a)
	m.drawTimeDown(r, a)
	m.drawPlayheadDown(lap, r, chart, a)
}

// drawCurrentDown draws the current to the right, the budget as an upright line.
func (m *Model) drawCurrentDown(lap *Lap, r Rect, a *axis) {
	u := &m.ui
	u.fill(r, u.theme.Sheet, 0)
	most := float64(lap.Budget)
	for _, v := range [][]int64{lap.Current, lap.Wanted} {
		for _, c := range v {
			most = math.Max(most, float64(c))
		}
	}
	most *= 1.12
	x := func(ua float64) float64 { return r.X + ua/most*r.W }
	first, last := int(math.Max(0, a.from)), int(math.Min(float64(len(lap.Current)), math.Ceil(a.upto)))
	step := max(1, (last-first)/int(math.Max(1, r.H)))
	pts := []Point{{r.X, a.at(float64(first))}}
	for f := first; f < last; f += step {
		y0, y1 := math.Max(a.at(float64(f)), r.Y), math.Min(a.at(float64(f+step)), r.Y+r.H)
		pts = append(pts, Point{x(float64(lap.Current[f])), y0}, Point{x(float64(lap.Current[f])), y1})
		if lap.Wanted != nil && lap.Wanted[f] > lap.Current[f]+1000 {
			u.fill(Rect{r.X, y0, 5, math.Max(1, y1-y0)}, u.theme.Limit, 0)
		}
	}
	line := append([]Point(nil), pts[1:]...)
	pts = append(pts, Point{r.X, pts[len(pts)-1].Y})
	u.add(Op{Kind: Area, Points: pts, Color: withAlpha(u.theme.Accent, 110)})
	if len(line) > 1 {
		u.add(Op{Kind: Path, Points: line, Color: u.theme.Accent, Width: 1.5})
	}
	bx := x(float64(lap.Budget))
	for y := r.Y; y < r.Y+r.H; y += 12 {
		u.line(bx, y, bx, math.Min(y+7, r.Y+r.H), u.theme.Limit, 2)
	}
	u.text("current", r.X+4, r.Y+14, small, u.theme.Ink, Left)
	u.text(fitted("budget "+amps(lap.Budget), r.W, small), bx-4, r.Y+r.H-8, small, u.theme.Limit, Right)
	if bites := m.bites(lap); bites > 0 {
		u.text(fitted(fmt.Sprintf("cap bites in %d frames", bites), r.W-8, small), r.X+8, r.Y+r.H-26, small, u.theme.Limit, Left)
	}
}

// drawTimeDown writes the time at the left.
func (m *Model) drawTimeDown(r Rect, a *axis) {
	u, per, unit := &m.ui, float64(m.stage.Show.FPS), " s"
	if m.follows() {
		per, unit = 1, ""
	}
	span := (a.upto - a.from) / per
	step := math.Pow(10, math.Floor(math.Log10(span/4)))
	for _, k := range []float64{1, 2, 5, 10} {
		if span/(step*k) <= 9 {
			step *= k
			break
		}
	}
	for t := math.Ceil(a.from/per/step) * step; t*per <= a.upto; t += step {
		y := a.at(t * per)
		u.line(r.X-5, y, r.X, y, u.theme.Pale, 1)
		if y < r.Y+r.H-6 {
			u.text(fmt.Sprintf("%.4g%s", t, unit), r.X-8, y+5, small, u.theme.Pale, Right)
		}
	}
}

// drawPlayheadDown is drawPlayhead, turned.
func (m *Model) drawPlayheadDown(lap *Lap, r, chart Rect, a *axis) {
	u := &m.ui
	all := Rect{r.X, r.Y, chart.X + chart.W - r.X, r.H}
	m.work("timeline", all, lap, a, u.in.Y)
	if m.loopTo != m.loopFrom {
		y0, y1 := a.at(float64(min(m.loopFrom, m.loopTo))), a.at(float64(max(m.loopFrom, m.loopTo)))
		u.frame(Rect{r.X, y0, all.W, y1 - y0}, u.theme.Good, 2)
		u.text("loop", r.X+4, y0+14, small, u.theme.Good, Left)
	}
	if f := m.frame(); float64(f) >= a.from && float64(f) <= a.upto {
		y := a.at(float64(f) + 0.5)
		u.line(r.X, y, r.X+all.W, y, u.theme.Ink, 2)
		u.add(Op{Kind: Area, Color: u.theme.Ink, Points: []Point{{r.X, y - 7}, {r.X, y + 7}, {r.X + 10, y}}})
	}
	u.outline("timeline", all)
}
