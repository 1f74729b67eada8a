package model

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"paneglow/anim/finding"
)

// drawBoard is the window while the panel is laid out.
func (m *Model) drawBoard(w, h float64) {
	u, b := &m.ui, &m.board
	m.parseBoard()
	const gap, foot, bar = 14.0, 30.0, 40.0
	side := math.Min(math.Max(w*0.3, 310), 400)
	m.drawBoardBar(Rect{gap, 6, w - 2*gap, 28})
	m.drawCanvas(Rect{gap, bar, w - side - 2*gap, h - bar - foot - 6})
	u.scrolled("layout", Rect{w - side, bar, side - gap, h - bar - foot - 6}, func(top float64) float64 {
		return m.drawBoardSide(Rect{w - side, top, side - gap - 8, 0})
	})
	m.drawBoardFoot(Rect{gap, h - foot + 4, w - 2*gap, foot})
	if b.outer {
		m.drawBoardOutside(w, h)
	}
	if m.help {
		m.drawKeys(boardKeyList, w, h)
	}
}

func (m *Model) drawBoardBar(r Rect) {
	u, b := &m.ui, &m.board
	x := r.X
	if u.button("layout.leave", "back to the show", Rect{x, r.Y, 140, r.H}, false) {
		m.leaveLayout()
	}
	x += 152
	if u.button("layout.whole", "whole panel", Rect{x, r.Y, 106, r.H}, b.k == 0) {
		b.k = 0
	}
	x += 118
	right := r.X + r.W
	for _, o := range []struct {
		id, label string
		do        func()
	}{{"help", "keys ?", func() { m.help = !m.help }}, {"theme", "theme: " + m.theme.Name, m.otherTheme}, {"save", "save", m.save}, {"redo", "redo", m.redo}, {"undo", "undo", m.undo}} {
		wide := Measure(o.label, normal, false) + 20
		right -= wide
		if u.button(o.id, o.label, Rect{right, r.Y, wide, r.H}, o.id == "save" && m.unsaved()) {
			o.do()
		}
		right -= 4
	}
	words, c := "layout of "+filepath.Base(b.doc.path), u.theme.Ink
	if n := m.boardFound().Count(finding.Error); n > 0 {
		words, c = words+": "+plural(n, "error"), u.theme.Limit
	}
	u.bold(words, x, r.Y+19, normal, right-x-8, c)
}

// paragraph writes wrapped lines and returns where they end.
func (m *Model) paragraph(words string, r Rect, bad bool) float64 {
	u, y, c := &m.ui, r.Y, m.theme.Pale
	if bad {
		c = u.theme.Limit
	}
	for _, line := range wrapped(words, r.W, small) {
		u.text(line, r.X, y+13, small, c, Left)
		y += 17
	}
	return y + 4
}

// row draws buttons that flow into lines; do gets the pressed one.
func (m *Model) row(r Rect, ids, labels []string, on func(i int) bool, do func(i int)) float64 {
	x, y := r.X, r.Y
	for i, label := range labels {
		w := math.Min(Measure(label, normal, false)+18, r.W)
		if x+w > r.X+r.W+0.5 {
			x, y = r.X, y+32
		}
		if m.ui.button(ids[i], label, Rect{x, y, w, 27}, on(i)) {
			do(i)
		}
		x += w + 6
	}
	return y + 34
}

// drawBoardSide is the column at the right.
func (m *Model) drawBoardSide(r Rect) float64 {
	u, b := &m.ui, &m.board
	var ids, labels []string
	for i, name := range toolNames {
		ids, labels = append(ids, "layout.tool."+strings.ReplaceAll(name, " ", "-")), append(labels, fmt.Sprintf("%d %s", i+1, name))
	}
	y := m.row(r, ids, labels, func(i int) bool { return b.tool == tool(i) }, func(i int) { m.takeTool(tool(i)) })
	y = m.paragraph(toolHelp[b.tool], Rect{r.X, y - 2, r.W, 0}, false) + 4
	section := func(words string) {
		u.line(r.X, y, r.X+r.W, y, u.theme.Rule, 1)
		u.bold(words, r.X, y+20, normal, r.W, u.theme.Ink)
		y += 30
	}
	if b.tool == drawTool {
		section("the new strip")
		y = m.drawNewStrip(Rect{r.X, y, r.W, 0}) + 4
	}
	photo := func() {
		section("photo")
		y = m.drawPhotoSide(Rect{r.X, y, r.W, 0}) + 4
	}
	if b.tool == photoTool {
		photo()
	}
	section("strips")
	ids, labels = nil, nil
	for i := range b.m.Strips {
		ids, labels = append(ids, "layout.strip."+b.m.Strips[i].Name), append(labels, b.m.Strips[i].Name)
	}
	y = m.row(Rect{r.X, y, r.W, 0}, ids, labels, func(i int) bool { return labels[i] == b.strip }, func(i int) {
		b.strip, b.point, b.pixel, b.sure = labels[i], 0, 0, ""
	})
	y = m.drawChosen(Rect{r.X, y, r.W, 0}) + 4
	if b.tool != photoTool {
		photo()
	}
	section(m.boardVerdict())
	return m.drawBoardChecks(Rect{r.X, y, r.W, 0})
}

// drawPhotoSide is the photo: which, and where it lies.
func (m *Model) drawPhotoSide(r Rect) float64 {
	u, b := &m.ui, &m.board
	y := r.Y
	u.text("file", r.X, y+18, small, u.theme.Pale, Left)
	if t, done := u.field("layout.photo", b.back.Photo, Rect{r.X + 52, y, r.W - 52, 27}); done && t != b.back.Photo {
		m.choosePhoto(t)
	}
	y += 34
	if len(b.offers) > 0 && b.offers[0] != b.back.Photo && b.reading == "" {
		y = m.row(Rect{r.X, y, r.W, 0}, []string{"layout.offer"}, []string{"take " + b.offers[0]}, func(int) bool { return b.shot == nil }, func(int) { m.choosePhoto(b.offers[0]) })
	}
	switch {
	case b.reading != "":
		y = m.paragraph("reading "+b.reading+" …", Rect{r.X, y - 2, r.W, 0}, false)
	case b.trouble != "":
		y = m.paragraph(b.trouble, Rect{r.X, y - 2, r.W, 0}, true)
	}
	if b.shot == nil {
		if b.reading == "" && b.trouble == "" {
			y = m.paragraph("no photo yet: take one from straight before the panel, save it beside the show as JPEG or PNG", Rect{r.X, y - 2, r.W, 0}, false)
		}
		return y
	}
	by, known := b.mapping()
	switch {
	case b.marking > 0:
		y = m.paragraph(b.markWord(), Rect{r.X, y - 2, r.W, 0}, true)
	case known:
		y = m.paragraph(fmt.Sprintf("%d x %d pixels of %.3f mm, turned by %.1f deg", b.shot.w, b.shot.h, by.scale(), by.turn()), Rect{r.X, y - 2, r.W, 0}, false)
	default:
		y = m.paragraph("not to scale yet: mark two points of it", Rect{r.X, y - 2, r.W, 0}, true)
	}
	y = m.row(Rect{r.X, y, r.W, 0}, []string{"layout.marks"}, []string{"mark two points"}, func(int) bool { return !known && b.marking == 0 }, func(int) { m.beginMarks() })
	if !known || b.marking > 0 {
		return y
	}
	for i := range b.back.Marks {
		p := b.back.Marks[i].At
		u.text(fmt.Sprintf("mark %d at", i+1), r.X, y+18, small, u.theme.Pale, Left)
		now := trimmed(p.X) + ", " + trimmed(p.Y)
		if t, done := u.field(fmt.Sprintf("layout.mark-at.%d", i), now, Rect{r.X + 74, y, r.W - 74 - 30, 27}); done && t != now {
			m.typeMark(i, t)
		}
		u.text("mm", r.X+r.W, y+18, small, u.theme.Pale, Right)
		y += 33
	}
	p, q := b.back.Marks[0].At, b.back.Marks[1].At
	u.text("apart", r.X, y+18, small, u.theme.Pale, Left)
	now := trimmed(math.Hypot(q.X-p.X, q.Y-p.Y))
	if t, done := u.field("layout.apart", now, Rect{r.X + 74, y, r.W - 74 - 30, 27}); done && t != now {
		m.typeDistance(t)
	}
	u.text("mm", r.X+r.W, y+18, small, u.theme.Pale, Right)
	return y + 34
}

// markWord asks for the mark that is awaited.
func (b *board) markWord() string {
	p := b.cornerMarks()[b.marking-1]
	return fmt.Sprintf("press on the photo what is at %s, %s mm on the panel%s", trimmed(p.X), trimmed(p.Y), b.cornerWord(p))
}

// cornerWord names a corner of the panel.
func (b *board) cornerWord(p Point) string {
	w, h := float64(b.m.Panel.Size[0]), float64(b.m.Panel.Size[1])
	for _, c := range []struct {
		p    Point
		name string
	}{{Point{0, 0}, "lower left"}, {Point{w, 0}, "lower right"}, {Point{0, h}, "upper left"}, {Point{w, h}, "upper right"}} {
		if c.p == p {
			return ", its " + c.name + " corner"
		}
	}
	return ""
}

// boardFound is what is wrong: with the file at once, else what the proof said.
func (m *Model) boardFound() finding.List {
	b := &m.board
	if b.found.Err() != nil {
		return b.found
	}
	if m.told != nil {
		return m.told
	}
	if m.stage != nil {
		return m.stage.Found
	}
	return nil
}

func (m *Model) boardVerdict() string {
	found := m.boardFound()
	switch n := found.Count(finding.Error); {
	case n > 0:
		return "checks: " + plural(n, "error")
	case m.busy:
		return "checks: proving …"
	}
	return fmt.Sprintf("checks: proved, %s", plural(found.Count(finding.Warning), "warning"))
}

// drawBoardChecks lists errors first; notes of the clips are the show's business.
func (m *Model) drawBoardChecks(r Rect) float64 {
	y := r.Y
	for _, level := range []finding.Severity{finding.Error, finding.Warning} {
		for _, f := range m.boardFound() {
			if f.Severity != level {
				continue
			}
			y = m.paragraph(fmt.Sprintf("%s: %s", level, f.Message), Rect{r.X, y, r.W, 0}, level == finding.Error)
			if f.Fix != "" {
				y = m.paragraph("→ "+f.Fix, Rect{r.X, y - 4, r.W, 0}, false)
			}
		}
	}
	return y
}

func (m *Model) drawBoardFoot(r Rect) {
	u, b := &m.ui, &m.board
	u.line(0, r.Y-4, r.X*2+r.W, r.Y-4, u.theme.Rule, 1)
	words := m.notice
	if words == "" {
		words = "1-6 tools, comma and period along the strip, page up and down to the next, wheel zooms, escape leaves, ? all keys"
		if b.canvas.Has(u.in.X, u.in.Y) {
			words = fmt.Sprintf("x %.0f mm, y %.0f mm; ", b.mmX(u.in.X), b.mmY(u.in.Y)) + words
		}
	}
	u.text(fitted(words, r.W, normal), r.X, r.Y+15, normal, u.theme.Ink, Left)
}

// drawBoardOutside asks what to do about a machine file that both sides changed.
func (m *Model) drawBoardOutside(w, h float64) {
	u, b := &m.ui, &m.board
	r := Rect{w/2 - 260, h/2 - 80, 520, 160}
	u.fill(Rect{0, 0, w, h}, withAlpha(u.theme.Ground, 180), 0)
	u.fill(r, u.theme.Sheet, 8)
	u.frame(r, u.theme.Accent, 2)
	u.bold(filepath.Base(b.doc.path)+" was changed outside", r.X+20, r.Y+34, large, r.W-40, u.theme.Ink)
	u.text("and here. Nothing is lost: undo brings the other one back.", r.X+20, r.Y+62, normal, u.theme.Ink, Left)
	for i, o := range []struct {
		id, label string
		do        func() error
	}{{"layout.mine", "keep what is here", b.doc.mine}, {"layout.theirs", "take what is on disk", b.doc.theirs}} {
		if u.button(o.id, o.label, Rect{r.X + 20 + 250*float64(i), r.Y + 100, 230, 36}, false) {
			if err := o.do(); err != nil {
				m.notice = err.Error()
			}
			b.outer = false
			m.parseBoard()
			m.prove()
		}
	}
}
