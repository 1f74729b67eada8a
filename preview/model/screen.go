package model

import (
	"fmt"
	"math"

	"paneglow/anim/finding"
)

// draw lays the window out and draws every group.
func (m *Model) draw() {
	u := &m.ui
	w, h := math.Max(u.in.W, 320), math.Max(u.in.H, 240)
	u.fill(Rect{0, 0, w, h}, u.theme.Ground, 0)
	if m.board.on {
		m.drawBoard(w, h)
		return
	}
	if m.stage == nil {
		m.drawFirst(w, h)
		return
	}
	const gap, foot, bar = 14.0, 30.0, 40.0
	hand := u.in
	if m.covered(w, h) {
		u.in.point(Input{X: -1, Y: -1})
	}
	if m.wide() {
		m.drawWide(w, h)
		u.in.point(hand)
		m.drawOver(w, h)
		return
	}
	side := math.Min(math.Max(w*0.27, 290), 380)
	vessel := 164.0
	l := m.stage.On.Layout
	others := 0
	for i := range l.Strips {
		if i != m.mainStrip() {
			others++
		}
	}
	bandH := math.Min(float64(others)*32, 110)
	chartH := math.Max(90, math.Min(h*0.16, 140))
	ph := h - bar - foot - bandH - chartH - 3*gap - 22
	pw := ph * l.Width / l.Height
	if most := (w - side - vessel) * 0.42; pw > most {
		pw, ph = most, most*l.Height/l.Width
	}
	panel := Rect{gap, bar, pw, ph}
	left := Rect{gap, bar + ph + gap, pw, h - foot - bar - ph - gap}
	tl := Rect{panel.X + pw + 4, bar, w - side - vessel - pw - 3*gap - 4, ph}
	bands := Rect{tl.X, tl.Y + tl.H + 8, tl.W, bandH}
	chart := Rect{tl.X, bands.Y + bandH + 6, tl.W, h - foot - bands.Y - bandH - 6 - 24}
	m.drawBar(Rect{gap, 6, w - 2*gap, 28})
	m.drawPanel(panel, m.codes())
	m.drawTimeline(panel, tl, bands, chart)
	m.drawGlassSettings(left)
	m.drawVessel(Rect{tl.X + tl.W + gap, bar, vessel - gap, h - bar - foot})
	m.drawSide(Rect{w - side, bar, side - gap, h - bar - foot})
	m.drawFoot(Rect{gap, h - foot + 4, w - 2*gap, foot})
	u.in.point(hand)
	m.drawOver(w, h)
}

// drawOver is what lies over everything else.
func (m *Model) drawOver(w, h float64) {
	m.drawSaver(w, h)
	if m.outer {
		m.drawOutside(w, h)
	}
	if m.help {
		m.drawHelp(w, h)
	}
}

// drawFirst is the window before a show could be played.
func (m *Model) drawFirst(w, h float64) {
	u := &m.ui
	if m.busy && m.told == nil {
		u.text("proving the show …", w/2, h/2, large, u.theme.Pale, Center)
		return
	}
	u.bold("the show cannot be played yet", 24, 40, large, w, u.theme.Limit)
	if u.button("layout", "lay the panel out", Rect{w - 184, 18, 160, 30}, false) {
		m.toLayout()
	}
	u.scrolled("first", Rect{24, 60, w - 48, h - 80}, func(y float64) float64 {
		return m.drawChecks(Rect{24, y, w - 60, 0})
	})
}

// drawBar is the top line: what plays and how it is looked at.
func (m *Model) drawBar(r Rect) {
	u := &m.ui
	x := r.X
	label := "     pause"
	if !m.playing {
		label = "     play"
	}
	if u.button("play", label, Rect{x, r.Y, 84, r.H}, false) {
		m.togglePlay()
	}
	if m.playing {
		u.fill(Rect{x + 14, r.Y + 8, 4, r.H - 16}, u.theme.Ink, 0)
		u.fill(Rect{x + 21, r.Y + 8, 4, r.H - 16}, u.theme.Ink, 0)
	} else {
		u.add(Op{Kind: Area, Color: u.theme.Ink, Points: []Point{{x + 13, r.Y + 7}, {x + 26, r.Y + r.H/2}, {x + 13, r.Y + r.H - 7}}})
	}
	x += 96
	for i, name := range viewNames {
		w := Measure(name, normal, false) + 20
		if u.button("view."+name, name, Rect{x, r.Y, w, r.H}, m.view == View(i)) {
			m.view = View(i)
		}
		x += w + 4
	}
	x += 8
	numbers := "numbers and feeds"
	if r.W < 1100 {
		numbers = "numbers" // else undo would have no room
	}
	for _, b := range []struct {
		id, label string
		on        *bool
	}{{"outlines", numbers, &m.outlines}, {"adapted", "eye adapted", &m.adapted}} {
		w := Measure(b.label, normal, false) + 20
		if u.button(b.id, b.label, Rect{x, r.Y, w, r.H}, *b.on) {
			*b.on = !*b.on
			m.field.exposed = false
		}
		x += w + 4
	}
	right := r.X + r.W
	for _, b := range []struct {
		id, label string
		do        func()
	}{{"help", "keys ?", func() { m.help = !m.help }}, {"layout", "layout", m.toLayout}, {"theme", "theme: " + m.theme.Name, m.otherTheme}, {"picture", "picture", func() { m.saver.open = true }}, {"save", "save", m.save}, {"redo", "redo", m.redo}, {"undo", "undo", m.undo}} {
		w := Measure(b.label, normal, false) + 20
		right -= w
		if right < x {
			break
		}
		if u.button(b.id, b.label, Rect{right, r.Y, w, r.H}, b.id == "save" && m.unsaved()) {
			b.do()
		}
		right -= 4
	}
}

func (m *Model) togglePlay() {
	if m.flashing() {
		m.released[m.clipName()] = true
		m.notice = ""
	}
	m.playing = !m.playing
}

func (m *Model) otherTheme() {
	if m.theme == Dark {
		m.theme = LightTheme
	} else {
		m.theme = Dark
	}
}

func (m *Model) undo() {
	if m.edited().undo() {
		m.prove()
	}
}

func (m *Model) redo() {
	if m.edited().redo() {
		m.prove()
	}
}

// drawGlassSettings is what the glass is looked at with, under the panel.
func (m *Model) drawGlassSettings(r Rect) {
	u := &m.ui
	y := r.Y
	exposure := ""
	if m.view == GlassView && m.field.exposed {
		exposure = fmt.Sprintf(", white %.0f cd/m²", m.field.exposure)
	}
	for _, line := range wrapped("simulated"+exposure, r.W, small) {
		u.text(line, r.X, y+12, small, u.theme.Pale, Left)
		y += 17
	}
	y += 2
	lux := m.roomLux()
	v := u.slider("room", "room light", fmt.Sprintf("%.0f lx", lux), Rect{r.X, y, r.W, 36}, math.Log10(math.Max(lux, 1)), 0, 5, 0.05)
	if next := math.Round(math.Pow(10, v)); math.Abs(v-math.Log10(math.Max(lux, 1))) > 1e-6 {
		m.room, m.field.exposed = next, false
	}
	step := math.Min(40, math.Max(32, (r.Y+r.H-y)/3))
	y += step
	if y+34 > r.Y+r.H {
		return
	}
	d := u.slider("depth", "depth", fmt.Sprintf("%.0f mm", m.panelDepth()), Rect{r.X, y, r.W, 36}, m.panelDepth(), 5, 120, 1)
	if d != m.panelDepth() {
		m.depth = d
		m.dragGlass()
	}
	y += step
	if y+34 > r.Y+r.H {
		return
	}
	s := u.slider("scatter", "scatter", fmt.Sprintf("%.0f deg", m.panelScatter()), Rect{r.X, y, r.W, 36}, m.panelScatter(), 5, 120, 1)
	if s != m.panelScatter() {
		m.scatter = s
		m.dragGlass()
	}
}

// drawSide is the column at the right: states, machine, controls, findings.
func (m *Model) drawSide(r Rect) {
	u := &m.ui
	y := m.drawStates(Rect{r.X, r.Y, r.W, 0})
	y = m.drawMachine(Rect{r.X, y + 2, r.W, 0}) + 6
	rest := r.Y + r.H - y
	controls := rest * 0.55
	if m.picking != "" {
		controls = math.Max(controls, math.Min(rest-50, 280)) // the whole picker
	}
	u.line(r.X, y-2, r.X+r.W, y-2, u.theme.Rule, 1)
	u.bold("controls of clip "+m.clipName(), r.X, y+16, normal, r.W, u.theme.Ink)
	u.scrolled("controls", Rect{r.X, y + 24, r.W, controls - 28}, func(top float64) float64 {
		return m.drawControls(Rect{r.X, top, r.W - 8, 0})
	})
	y += controls
	u.line(r.X, y-2, r.X+r.W, y-2, u.theme.Rule, 1)
	u.bold(m.verdict(), r.X, y+16, normal, r.W, u.theme.Ink)
	u.scrolled("checks", Rect{r.X, y + 24, r.W, r.Y + r.H - y - 24}, func(top float64) float64 {
		return m.drawChecks(Rect{r.X, top, r.W - 8, 0})
	})
}

// verdict is the proof in a line.
func (m *Model) verdict() string {
	switch {
	case m.told != nil:
		return fmt.Sprintf("%s; the last good show goes on", plural(m.told.Count(finding.Error), "error"))
	case m.busy:
		return "checks: proving …"
	}
	f := m.stage.Found
	return fmt.Sprintf("checks: %s, %s", plural(f.Count(finding.Warning), "warning"), plural(f.Count(finding.Note), "note"))
}

// drawFoot tells what just happened, or what is under the pointer.
func (m *Model) drawFoot(r Rect) {
	u := &m.ui
	u.line(0, r.Y-4, r.X*2+r.W, r.Y-4, u.theme.Rule, 1)
	words := m.notice
	if words == "" {
		words = fmt.Sprintf("state %s, clip %s, frame %d, %s; 1-9 states, space pause and play, arrows frame by frame, ? all keys", m.State(), m.clipName(), m.frame(), amps(m.current()))
	}
	u.text(fitted(words, r.W, normal), r.X, r.Y+15, normal, u.theme.Ink, Left)
}

// drawOutside asks what to do about a file that both sides changed.
func (m *Model) drawOutside(w, h float64) {
	u := &m.ui
	b := Rect{w/2 - 260, h/2 - 80, 520, 160}
	u.fill(Rect{0, 0, w, h}, withAlpha(u.theme.Ground, 180), 0)
	u.fill(b, u.theme.Sheet, 8)
	u.frame(b, u.theme.Accent, 2)
	u.bold("show.toml was changed outside", b.X+20, b.Y+34, large, b.W, u.theme.Ink)
	u.text("and here. Nothing is lost: undo brings the other one back.", b.X+20, b.Y+62, normal, u.theme.Ink, Left)
	if u.button("outside.mine", "keep what is here", Rect{b.X + 20, b.Y + 100, 230, 36}, false) {
		if err := m.doc.mine(); err != nil {
			m.notice = err.Error()
		}
		m.outer = false
	}
	if u.button("outside.theirs", "take what is on disk", Rect{b.X + 270, b.Y + 100, 230, 36}, false) {
		if err := m.doc.theirs(); err != nil {
			m.notice = err.Error()
		}
		m.outer = false
		m.prove()
	}
}
