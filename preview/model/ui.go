package model

import (
	"image/color"
	"math"
)

// Text sizes in logical pixels.
const (
	small  = 13.0
	normal = 15.0
	large  = 19.0
)

// ui is the thin layer of widgets: immediate, so that what is drawn and what is
// pressed cannot differ. Every widget has a name; the keyboard walks over them in
// the order in which they were drawn.
type ui struct {
	in    Input
	theme *Theme
	list  *List
	clip  *Rect

	active  string // held by the pointer
	focus   string // has the keyboard
	order   []string
	shown   bool // focus is outlined: the keyboard was used last
	entry   string
	entryOf string // the widget whose text is being entered
	hint    string // help of what is under the pointer
	scroll  map[string]float64
	within  string // the scrolled part that is being drawn
	hover   string
	places  map[string][4]int // where each widget was drawn, for who drives the window
}

// begin starts a frame.
func (u *ui) begin(in Input, t *Theme) {
	u.in, u.theme, u.list, u.clip, u.hint, u.hover = in, t, &List{}, nil, "", ""
	if u.scroll == nil {
		u.scroll = map[string]float64{}
	}
	u.order, u.places = u.order[:0], map[string][4]int{}
	if in.Pressed {
		u.shown = false
	}
}

// end finishes a frame: what nobody holds any more is let go.
func (u *ui) end() {
	if !u.in.Down {
		u.active = ""
	}
	if u.entryOf == "" {
		for _, k := range u.in.Keys {
			if k == "tab" && len(u.order) > 0 {
				u.walk()
			}
		}
	}
}

func (u *ui) walk() {
	at := -1
	for i, id := range u.order {
		if id == u.focus {
			at = i
		}
	}
	step := 1
	if u.in.Shift {
		step = -1
		if at < 0 {
			at = 0
		}
	}
	u.focus = u.order[((at+step)%len(u.order)+len(u.order))%len(u.order)]
	u.shown = true
}

func (u *ui) add(o Op) {
	o.Clip = u.clip
	u.list.Ops = append(u.list.Ops, o)
}

func (u *ui) fill(r Rect, c color.NRGBA, radius float64) {
	u.add(Op{Kind: Fill, X: r.X, Y: r.Y, W: r.W, H: r.H, Color: c, Radius: radius})
}

func (u *ui) frame(r Rect, c color.NRGBA, width float64) {
	u.add(Op{Kind: Frame, X: r.X, Y: r.Y, W: r.W, H: r.H, Color: c, Width: width})
}

func (u *ui) line(x0, y0, x1, y1 float64, c color.NRGBA, width float64) {
	u.add(Op{Kind: Line, X: x0, Y: y0, W: x1, H: y1, Color: c, Width: width})
}

func (u *ui) text(s string, x, y, size float64, c color.NRGBA, a Align) {
	u.add(Op{Kind: Text, X: x, Y: y, Text: s, Size: size, Color: c, Align: a})
}

// bold writes a heading, cut to a width.
func (u *ui) bold(s string, x, y, size, width float64, c color.NRGBA) {
	s = fitted(s, width*0.93, size) // bold letters are wider
	u.add(Op{Kind: Text, X: x, Y: y, Text: s, Size: size, Color: c, Bold: true})
}

// fitted cuts a text to a width, with an ellipsis.
func fitted(s string, width, size float64) string {
	if Measure(s, size, false) <= width {
		return s
	}
	r := []rune(s)
	for len(r) > 1 {
		r = r[:len(r)-1]
		if t := string(r) + "…"; Measure(t, size, false) <= width {
			return t
		}
	}
	return string(r)
}

// wrapped breaks a text into lines of a width.
func wrapped(s string, width, size float64) []string {
	var lines []string
	line := ""
	word := ""
	flush := func() {
		if word == "" {
			return
		}
		next := word
		if line != "" {
			next = line + " " + word
		}
		if line != "" && Measure(next, size, false) > width {
			lines = append(lines, line)
			next = word
		}
		line, word = next, ""
	}
	for _, r := range s {
		if r == ' ' || r == '\n' {
			flush()
			continue
		}
		word += string(r)
	}
	flush()
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// hit registers a widget and says whether the pointer is on it.
func (u *ui) hit(id string, r Rect) bool {
	u.order = append(u.order, id)
	u.places[id] = [4]int{int(r.X), int(r.Y), int(r.W), int(r.H)}
	if u.clip != nil && u.shown && u.focus == id && u.within != "" {
		// The keyboard went somewhere that is scrolled away.
		switch {
		case r.Y < u.clip.Y:
			u.scroll[u.within] += u.clip.Y - r.Y + 8
		case r.Y+r.H > u.clip.Y+u.clip.H:
			u.scroll[u.within] -= r.Y + r.H - u.clip.Y - u.clip.H + 8
		}
	}
	inside := r.Has(u.in.X, u.in.Y) && (u.clip == nil || u.clip.Has(u.in.X, u.in.Y))
	if inside {
		u.hover = id
	}
	if inside && u.in.Pressed {
		u.active, u.focus = id, id
	}
	return inside
}

// outline shows which widget the keyboard moves.
func (u *ui) outline(id string, r Rect) {
	if u.shown && u.focus == id {
		u.frame(Rect{r.X - 2, r.Y - 2, r.W + 4, r.H + 4}, u.theme.Ink, 2)
	}
}

// pressedKey tells that the focused widget was entered by the keyboard.
func (u *ui) pressedKey(id string) bool {
	if u.focus != id || u.entryOf != "" || !u.shown {
		return false
	}
	for _, k := range u.in.Keys {
		if k == "enter" {
			return true
		}
	}
	return false
}

// button is true when it was pressed. on draws it as chosen.
func (u *ui) button(id, label string, r Rect, on bool) bool {
	inside := u.hit(id, r)
	ground, ink := u.theme.Raised, u.theme.Ink
	if on {
		ground, ink = u.theme.Accent, u.theme.OnIt
	}
	u.fill(r, ground, 5)
	if inside && !on {
		u.frame(r, u.theme.Pale, 1)
	}
	u.outline(id, r)
	u.text(fitted(label, r.W-8, normal), r.X+r.W/2, r.Y+r.H/2+5, normal, ink, Center)
	return u.in.Released && inside && u.active == id || u.pressedKey(id)
}

// slider moves a value from lo to hi; label and shown stand over it. step is
// what an arrow key does.
func (u *ui) slider(id, label, shown string, r Rect, v, lo, hi, step float64) float64 {
	u.text(fitted(label, r.W-Measure(shown, small, false)-6, small), r.X, r.Y+12, small, u.theme.Pale, Left)
	u.text(shown, r.X+r.W, r.Y+12, small, u.theme.Ink, Right)
	bar := Rect{r.X, r.Y + 18, r.W, 18}
	u.hit(id, bar)
	if u.active == id && u.in.Down {
		v = lo + (hi-lo)*math.Min(math.Max((u.in.X-r.X-8)/(r.W-16), 0), 1)
		if step > 0 {
			v = math.Round(v/step) * step
		}
	}
	if u.focus == id && u.shown && u.entryOf == "" {
		for _, k := range u.in.Keys {
			switch k {
			case "left":
				v -= step
			case "right":
				v += step
			}
		}
	}
	v = math.Min(math.Max(v, lo), hi)
	x := r.X + 8
	if hi > lo {
		x += (v - lo) / (hi - lo) * (r.W - 16)
	}
	u.fill(Rect{r.X, bar.Y + 7, r.W, 4}, u.theme.Raised, 2)
	u.fill(Rect{r.X, bar.Y + 7, x - r.X, 4}, u.theme.Accent, 2)
	u.add(Op{Kind: Disc, X: x, Y: bar.Y + 9, Radius: 8, Color: u.theme.Ink})
	u.outline(id, bar)
	return v
}

// field is a number or name that can be typed: enter or a click opens it, enter
// takes it, escape leaves it. done is true when a text was taken.
func (u *ui) field(id, value string, r Rect) (text string, done bool) {
	inside := u.hit(id, r)
	open := u.entryOf == id
	if !open && (u.in.Released && inside && u.active == id || u.pressedKey(id)) {
		u.entryOf, u.entry, open = id, value, true
		u.in.Keys = nil
	}
	if open {
		for _, c := range u.in.Typed {
			if len(u.entry) < 80 {
				u.entry += string(c)
			}
		}
		for _, k := range u.in.Keys {
			switch k {
			case "backspace":
				if r := []rune(u.entry); len(r) > 0 {
					u.entry = string(r[:len(r)-1])
				}
			case "escape":
				u.entryOf = ""
			case "enter":
				u.entryOf, text, done = "", u.entry, true
			}
		}
		if u.in.Pressed && !inside {
			u.entryOf, text, done = "", u.entry, true
		}
		value = u.entry + "|"
		u.in.Keys = nil
	}
	ground := u.theme.Ground
	u.fill(r, ground, 4)
	edge := u.theme.Rule
	if open {
		edge = u.theme.Accent
	}
	u.frame(r, edge, 1)
	u.outline(id, r)
	u.text(fitted(value, r.W-12, normal), r.X+6, r.Y+r.H/2+5, normal, u.theme.Ink, Left)
	return text, done
}

// typing tells that keys belong to a text.
func (u *ui) typing() bool { return u.entryOf != "" }

// key tells that a key went down and belongs to nobody else.
func (u *ui) key(k Key) bool {
	if u.typing() {
		return false
	}
	for _, v := range u.in.Keys {
		if v == k {
			return true
		}
	}
	return false
}

// scrolled is a window onto something taller. f draws from y on and returns where
// it ended.
func (u *ui) scrolled(id string, r Rect, f func(y float64) float64) {
	old := u.clip
	inner := r
	u.clip = &inner
	at := u.scroll[id]
	if r.Has(u.in.X, u.in.Y) {
		at += u.in.Wheel * 40
	}
	u.scroll[id], u.within = at, id
	end := f(r.Y + at)
	tall := end - (r.Y + at)
	at, u.within = u.scroll[id], ""
	at = math.Min(math.Max(at, math.Min(0, r.H-tall)), 0)
	u.scroll[id] = at
	u.clip = old
	if tall > r.H {
		h := r.H * r.H / tall
		u.fill(Rect{r.X + r.W - 4, r.Y - at/tall*r.H, 4, h}, u.theme.Rule, 2)
	}
}
