package model

import (
	"fmt"
	"math"
	"strings"
)

// drawNewStrip is the name, part and line of a strip that is being drawn.
func (m *Model) drawNewStrip(r Rect) float64 {
	u, b := &m.ui, &m.board
	y := r.Y
	u.text("name", r.X, y+18, small, u.theme.Pale, Left)
	if t, done := u.field("layout.name", b.name, Rect{r.X + 60, y, r.W - 60, 27}); done {
		b.name = strings.TrimSpace(t)
	}
	y += 34
	choose := func(word string, names []string, now *string) {
		u.text(word, r.X, y+18, small, u.theme.Pale, Left)
		var ids []string
		for _, n := range names {
			ids = append(ids, "layout."+word+"."+n)
		}
		y = m.row(Rect{r.X + 60, y, r.W - 60, 0}, ids, names, func(i int) bool { return names[i] == *now }, func(i int) { *now = names[i] })
	}
	var parts, lines []string
	for i := range b.m.Parts {
		parts = append(parts, b.m.Parts[i].Name)
	}
	for i := range b.m.Lines {
		lines = append(lines, b.m.Lines[i].Name)
	}
	choose("part", parts, &b.part)
	choose("line", lines, &b.line)
	return m.row(Rect{r.X, y, r.W, 0}, []string{"layout.finish", "layout.drop"}, []string{"finish the strip", "begin again"}, func(i int) bool { return i == 0 && len(b.draft) > 1 }, func(i int) {
		if i == 0 {
			m.finishDraft()
		} else {
			b.draft = nil
		}
	})
}

// drawChosen is the chosen strip in figures.
func (m *Model) drawChosen(r Rect) float64 {
	u, b := &m.ui, &m.board
	s, part := b.chosen()
	y := r.Y
	if s == nil {
		return m.paragraph("no strip is chosen", r, false)
	}
	on := "on no data line"
	for i := range b.m.Lines {
		for k, n := range b.m.Lines[i].Strips {
			if n == s.Name {
				on = fmt.Sprintf("number %d on line %s", k+1, b.m.Lines[i].Name)
			}
		}
	}
	y = m.paragraph(fmt.Sprintf("part %s, %s", s.Part, on), Rect{r.X, y - 4, r.W, 0}, false)
	f := fitOf(s, part)
	y = m.paragraph(f.words(s.Pixels), Rect{r.X, y, r.W, 0}, f.known && !f.holds())
	u.text("pixels", r.X, y+18, small, u.theme.Pale, Left)
	if t, done := u.field("layout.pixels", fmt.Sprint(s.Pixels), Rect{r.X + 52, y, 66, 27}); done && t != fmt.Sprint(s.Pixels) {
		var n int
		if _, err := fmt.Sscanf(t+" ", "%d ", &n); err != nil || strings.TrimSpace(t) != fmt.Sprint(n) {
			m.notice = fmt.Sprintf("%q is not a number of pixels: write a whole one, such as 77", t)
		} else {
			m.setPixels(n)
		}
	}
	if s, _ = b.chosen(); s == nil {
		return y
	}
	if b.point < len(s.Path) {
		p := outlineOf(s)[b.point]
		u.text(fmt.Sprintf("point %d", b.point+1), r.X+130, y+18, small, u.theme.Pale, Left)
		now := trimmed(p.X) + ", " + trimmed(p.Y)
		if t, done := u.field("layout.place", now, Rect{r.X + 186, y, r.W - 186, 27}); done && t != now {
			m.typePoint(t)
		}
	}
	y += 34
	remove := "remove strip"
	if b.sure == s.Name {
		feeds, joints := b.soldered(s.Name)
		remove = fmt.Sprintf("really remove it with %s, %s", plural(feeds, "feed"), plural(joints, "joint"))
	}
	type action struct {
		id, label string
		on        bool
		do        func()
	}
	var all []action
	if f.known && f.pixels != s.Pixels {
		all = append(all, action{"layout.from-length", fmt.Sprintf("%s from the length", plural(f.pixels, "pixel")), !f.holds(), func() { m.setPixels(f.pixels) }})
	}
	if f.known && math.Abs(f.have-f.want) > 0.05 {
		all = append(all, action{"layout.stretch", fmt.Sprintf("end to %.1f mm", f.want), false, m.stretchEnd})
	}
	all = append(all,
		action{"layout.add-point", "add point", false, m.addPoint},
		action{"layout.delete-point", "delete point", false, m.deletePoint},
		action{"layout.turn", "turn data round", false, m.turnRound},
		action{"layout.remove", remove, b.sure == s.Name, m.removeStrip})
	var ids, labels []string
	for _, a := range all {
		ids, labels = append(ids, a.id), append(labels, a.label)
	}
	pressed := b.sure
	y = m.row(Rect{r.X, y, r.W, 0}, ids, labels, func(i int) bool { return all[i].on }, func(i int) {
		if all[i].id != "layout.remove" {
			b.sure = ""
		}
		all[i].do()
	})
	if s, _ = b.chosen(); s == nil || pressed != b.sure {
		return y
	}
	for _, list := range marksOf(s) {
		if len(list.pixels) > 0 {
			y = m.paragraph(list.key+": "+strings.Trim(fmt.Sprint(list.pixels), "[]"), Rect{r.X, y - 4, r.W, 0}, false)
		}
	}
	return y
}

// typePoint moves the chosen point to where was typed.
func (m *Model) typePoint(text string) {
	b := &m.board
	p, err := parsePlace(text)
	s, _ := b.chosen()
	switch {
	case err != nil:
		m.notice = err.Error()
	case p != b.onPanel(p):
		m.notice = fmt.Sprintf("%s, %s mm is outside the panel of %s x %s", trimmed(p.X), trimmed(p.Y), b.m.Panel.Size[0], b.m.Panel.Size[1])
	case s != nil && b.point < len(s.Path):
		o := outlineOf(s)
		o[b.point] = p
		m.setPath(o, false)
	}
}
