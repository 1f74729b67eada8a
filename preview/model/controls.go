package model

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"paneglow/anim/color"
	"paneglow/anim/script"
	"paneglow/anim/show"
)

// drawControls draws what the patterns of the clip on show declare.
func (m *Model) drawControls(r Rect) float64 {
	u, s := &m.ui, m.stage
	y := r.Y
	clip := m.clipIndex()
	if s == nil || s.Show == nil || clip < 0 {
		return y
	}
	found := false
	for li := range s.Layers {
		l := &s.Layers[li]
		if s.Show.Clips[l.Clip].Name != s.Table.Clips[clip].Name {
			continue
		}
		found = true
		u.text(fmt.Sprintf("pattern %s", l.Pattern), r.X, y+14, small, u.theme.Pale, Left)
		if l.Doc != "" {
			y += 18
			for _, line := range wrapped(firstSentence(l.Doc), r.W, small) {
				u.text(line, r.X, y+12, small, u.theme.Pale, Left)
				y += 16
			}
		} else {
			y += 18
		}
		y += 4
		for ci := range l.Controls {
			y = m.drawControl(l, &l.Controls[ci], Rect{r.X, y, r.W, 0})
		}
		y += 8
	}
	if !found {
		u.text("this clip has no controls", r.X, y+14, small, u.theme.Pale, Left)
		y += 22
	}
	return y
}

func firstSentence(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if i := strings.Index(s, ". "); i >= 0 {
		return s[:i+1]
	}
	return s
}

// drawControl draws one control and writes what is done to it into the show.
func (m *Model) drawControl(l *Layer, c *script.Control, r Rect) float64 {
	u := &m.ui
	layer := &m.stage.Show.Clips[l.Clip].Layers[l.Layer]
	now := valueOf(layer, c)
	id := fmt.Sprintf("control.%d.%d.%s", l.Clip, l.Layer, c.Name)
	y := r.Y
	set := func(text string) { m.setControl(l, c, text, u.active == id && !u.in.Pressed) }
	label := c.Name
	if c.Help != "" {
		label += ": " + c.Help
	}
	switch c.Kind {
	case "toggle":
		u.text(fitted(label, r.W-76, small), r.X, y+19, small, u.theme.Ink, Left)
		word := "off"
		if now == "true" {
			word = "on"
		}
		if u.button(id, word, Rect{r.X + r.W - 64, y + 2, 64, 26}, now == "true") {
			set(fmt.Sprint(now != "true"))
		}
		return y + 34
	case "choice":
		u.text(fitted(label, r.W, small), r.X, y+12, small, u.theme.Ink, Left)
		x := r.X
		y += 18
		for _, o := range c.Options {
			w := Measure(o, normal, false) + 16
			if x+w > r.X+r.W {
				x, y = r.X, y+32
			}
			if u.button(id+"."+o, o, Rect{x, y, w, 26}, o == now) {
				set(o)
			}
			x += w + 6
		}
		return y + 36
	case "color":
		u.text(fitted(label, r.W-120, small), r.X, y+19, small, u.theme.Ink, Left)
		b := Rect{r.X + r.W - 110, y + 2, 110, 26}
		inside := u.hit(id, b)
		if col, err := color.Parse(now); err == nil {
			q := col.RGB8()
			u.fill(b, rgb(uint32(q[0])<<16|uint32(q[1])<<8|uint32(q[2])), 4)
		}
		u.frame(b, u.theme.Rule, 1)
		u.outline(id, b)
		word := "change"
		if m.picking == id {
			word = "close"
		}
		u.fill(Rect{b.X + b.W - 58, b.Y + 3, 55, b.H - 6}, withAlpha(u.theme.Sheet, 225), 3)
		u.text(word, b.X+b.W-30, b.Y+18, small, u.theme.Ink, Center)
		if inside && u.in.Released && u.active == id || u.pressedKey(id) {
			if m.picking == id {
				m.picking = ""
			} else {
				m.picking = id
				if u.clip != nil && u.within != "" {
					u.scroll[u.within] += u.clip.Y - y // its picker below it is seen
				}
			}
		}
		y += 34
		if m.picking == id {
			y = m.drawPicker(id, now, Rect{r.X, y, r.W, 0}, func(text string, dragging bool) { m.setControl(l, c, text, dragging) })
		}
		return y
	}
	return m.drawNumber(id, label, now, c, r, set)
}

func (m *Model) drawNumber(id, label, now string, c *script.Control, r Rect, set func(string)) float64 {
	u, y := &m.ui, r.Y
	text := strings.TrimSpace(strings.TrimSuffix(now, c.Unit))
	v, err := strconv.ParseFloat(strings.ReplaceAll(text, "_", ""), 64)
	if err != nil || math.IsInf(c.Min, 0) || math.IsInf(c.Max, 0) {
		// Written in another unit, or without ends: typed.
		u.text(fitted(label, r.W-110, small), r.X, y+19, small, u.theme.Ink, Left)
		if t, done := u.field(id+".text", now, Rect{r.X + r.W - 100, y + 2, 100, 26}); done && t != now {
			set(t)
		}
		return y + 36
	}
	step := niceStep((c.Max - c.Min) / 100)
	next := u.slider(id, label, "", Rect{r.X, y, r.W - 92, 36}, v, c.Min, c.Max, step)
	if t, done := u.field(id+".text", now, Rect{r.X + r.W - 82, y + 10, 82, 26}); done && t != now {
		set(t)
	}
	if next != v {
		s := strconv.FormatFloat(math.Round(next/step)*step, 'f', decimals(step), 64)
		if strings.Contains(s, ".") {
			s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
		}
		if c.Unit != "" {
			s += " " + c.Unit
		}
		set(s)
	}
	return y + 46
}

// niceStep is 1, 2 or 5 times a power of ten, at most v.
func niceStep(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, k := range []float64{5, 2, 1} {
		if k*p <= v*1.0001 {
			return k * p
		}
	}
	return p
}

func decimals(step float64) int { return max(0, int(math.Ceil(-math.Log10(step)))) }

// setControl writes a control into the show and asks for a proof.
func (m *Model) setControl(l *Layer, c *script.Control, text string, dragging bool) {
	// Places are those of the text in the window now, not of the last proof.
	s, found := show.ParseShow(m.o.Show, m.doc.now)
	if found.Err() != nil || l.Clip >= len(s.Clips) || l.Layer >= len(s.Clips[l.Clip].Layers) {
		m.notice = "mend the file's error first: then controls can be changed"
		return
	}
	out, err := setControl(m.doc.now, &s.Clips[l.Clip].Layers[l.Layer], c, text)
	if err != nil {
		m.notice = err.Error()
		return
	}
	if dragging {
		m.doc.amend(out)
	} else {
		m.doc.change(out)
	}
	// What is drawn until the proof comes is what was asked for.
	layer := &m.stage.Show.Clips[l.Clip].Layers[l.Layer]
	if layer.With == nil {
		layer.With = map[string]show.Control{}
	}
	v := layer.With[c.Name]
	v.Text, v.Kind = text, kindOf(c, text)
	layer.With[c.Name] = v
	m.prove()
}
