package model

import (
	"fmt"
	"math"

	"paneglow/anim/show"
	"paneglow/render/table"
)

// drawStates draws the machine's states as a small map: the one on show, what
// follows it by itself, and how each is entered. A click or its number enters it.
func (m *Model) drawStates(r Rect) float64 {
	u, s := &m.ui, m.stage
	u.bold("what the machine does", r.X, r.Y+14, normal, r.W, u.theme.Ink)
	if s == nil || s.Table == nil {
		return r.Y + 24
	}
	t := s.Table
	columns := 3
	w, h := (r.W-float64(columns-1)*14)/float64(columns), 44.0
	place := func(i int) Rect {
		return Rect{r.X + float64(i%columns)*(w+14), r.Y + 26 + float64(i/columns)*(h+10), w, h}
	}
	now := m.run.last.State
	next, timed := follows(t, now)
	left := math.Max(0, float64(t.States[now].AtMost)/1000-m.inState())
	for i := range t.States {
		b := place(i)
		id := "state." + t.States[i].Name
		inside := u.hit(id, b)
		ground, ink := u.theme.Raised, u.theme.Ink
		if i == now {
			ground, ink = u.theme.Accent, u.theme.OnIt
		}
		u.fill(b, ground, 7)
		if i == now {
			u.frame(Rect{b.X - 3, b.Y - 3, b.W + 6, b.H + 6}, u.theme.Accent, 2)
		}
		u.outline(id, b)
		label := t.States[i].Name
		if i < 9 {
			label = fmt.Sprintf("%d  %s", i+1, label)
		}
		// Arrows would cross each other and the boxes: what follows is told in words,
		// and what comes next has an edge.
		then, ok := follows(t, i)
		words := ""
		switch {
		case timed && i == next && i != now:
			words = fmt.Sprintf("next, %.0f s", math.Ceil(left))
			u.frame(Rect{b.X - 1, b.Y - 1, b.W + 2, b.H + 2}, u.theme.Accent, 2)
		case ok:
			words = "then " + t.States[then].Name
		}
		if words == "" {
			u.text(fitted(label, b.W-8, normal), b.X+b.W/2, b.Y+b.H/2+5, normal, ink, Center)
		} else {
			u.text(fitted(label, b.W-8, normal), b.X+b.W/2, b.Y+19, normal, ink, Center)
			u.text(fitted(words, b.W-6, small), b.X+b.W/2, b.Y+36, small, ink, Center)
		}
		if inside && u.in.Released && u.active == id || u.pressedKey(id) {
			m.enter(i)
		}
	}
	rows := (len(t.States) + columns - 1) / columns
	y := r.Y + 26 + float64(rows)*(h+10)
	st := &t.States[now]
	words := "now " + st.Name + ": " + handOver(st)
	if timed {
		words += fmt.Sprintf(", next %s in %.1f s", t.States[next].Name, left)
	} else {
		words += ", stays until the machine says otherwise"
	}
	for _, line := range wrapped(words, r.W, small) {
		u.text(line, r.X, y+12, small, u.theme.Ink, Left)
		y += 18
	}
	return y + 4
}

// follows is the state that one moves to by itself after its longest stay.
func follows(t *table.Table, state int) (then int, ok bool) {
	s := &t.States[state]
	return s.Then, s.AtMost > 0 && s.Then != table.None && s.Then < len(t.States)
}

func handOver(st *table.State) string {
	switch st.HandOver {
	case show.Crossfade:
		return fmt.Sprintf("entered by a crossfade of %.1f s", float64(st.Fade)/1000)
	case show.Finish:
		return "entered when the last clip has ended"
	}
	return "entered by a cut"
}

// drawMachine draws what is switched by hand: loads, a value, the level of the
// night, a silent host.
func (m *Model) drawMachine(r Rect) float64 {
	u, s := &m.ui, m.stage
	if s == nil || s.Table == nil || m.run.table == nil {
		return r.Y
	}
	y := r.Y
	u.text("loads, switched by hand", r.X, y+12, small, u.theme.Pale, Left)
	y += 18
	x := r.X
	for i := range s.Table.Loads {
		name := s.Table.Loads[i].Name
		on := m.run.loads&(1<<i) != 0
		label := name + " off"
		if on {
			label = name + " runs"
		}
		w := Measure(label, normal, false) + 18
		if x+w > r.X+r.W {
			x, y = r.X, y+32
		}
		if u.button("load."+name, label, Rect{x, y, w, 28}, on) {
			m.run.toggle(i)
		}
		x += w + 8
	}
	y += 36
	if m.follows() {
		v := u.slider("value", "value that the clip follows", fmt.Sprint(m.run.value), Rect{r.X, y, r.W, 36}, float64(m.run.value), 0, 255, 1)
		if int(v) != m.run.value {
			m.setValue(int(v))
		}
		y += 40
	}
	const wide = 132.0 // of the button beside it
	v := u.slider("level", "night level", fmt.Sprintf("%d %%", m.run.level/10), Rect{r.X, y, r.W - wide - 16, 36}, float64(m.run.level), 0, 1000, 10)
	if int(v) != m.run.level {
		m.setLevel(int(v))
	}
	label := "computer alive"
	if m.run.silent {
		label = "computer silent"
	}
	if u.button("host", label, Rect{r.X + r.W - wide, y + 8, wide, 28}, m.run.silent) {
		m.run.silent = !m.run.silent
	}
	return y + 44
}
