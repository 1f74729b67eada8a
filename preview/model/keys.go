package model

import "fmt"

// help lists every key.
var keyList = [][2]string{
	{"1 to 9", "enter a state"},
	{"space", "pause and play"},
	{"left, right", "one frame back and on (with shift: ten)"},
	{"home, end", "first and last frame"},
	{"b", "next frame where the cap bites"},
	{"g", "glass, bare LEDs, drive"},
	{"o", "pixel numbers and feeds"},
	{"a", "as an adapted eye sees it"},
	{"n", "day or night light"},
	{"l", "next load on or off"},
	{"h", "the computer falls silent, or speaks"},
	{"plus, minus", "zoom the timeline; wheel over it, too"},
	{"0", "whole clip"},
	{"shift and drag", "loop range on the timeline; x takes it away"},
	{"m", "next strip beside the panel"},
	{"y", "lay the panel out on a photo, and back"},
	{"tab", "next control; enter opens, arrows turn it"},
	{"ctrl z, ctrl y", "undo, redo"},
	{"ctrl s", "save"},
	{"i", "save a picture of the panel (with shift: of the clip)"},
	{"escape", "close what is open; stop a picture being saved"},
	{"r", "the machine's depth, scatter and room light again"},
	{"t", "light or dark"},
	{"p", "play a clip that flashes too much all the same"},
	{"?", "these keys"},
	{"q", "quit"},
}

func (m *Model) drawHelp(w, h float64) { m.drawKeys(keyList, w, h) }

func (m *Model) drawKeys(keyList [][2]string, w, h float64) {
	u := &m.ui
	tall := float64(len(keyList))*22 + 60
	b := Rect{w/2 - 280, max(10, h/2-tall/2), 560, tall}
	u.fill(Rect{0, 0, w, h}, withAlpha(u.theme.Ground, 190), 0)
	u.fill(b, u.theme.Sheet, 8)
	u.frame(b, u.theme.Rule, 1)
	u.bold("keys", b.X+20, b.Y+32, large, b.W, u.theme.Ink)
	for i, k := range keyList {
		y := b.Y + 60 + float64(i)*22
		u.text(k[0], b.X+20, y, normal, u.theme.Accent, Left)
		u.text(k[1], b.X+170, y, normal, u.theme.Ink, Left)
	}
}

// keys takes the keys that no widget took.
func (m *Model) keys() {
	u := &m.ui
	if u.typing() || m.outer || m.board.on && m.board.outer {
		return
	}
	if u.in.Ctrl {
		switch {
		case u.key("z") && !u.in.Shift:
			m.undo()
		case u.key("y"), u.key("z") && u.in.Shift:
			m.redo()
		case u.key("s"):
			m.save()
		}
		return
	}
	if m.board.on {
		m.boardKeys()
		return
	}
	for _, k := range u.in.Keys {
		m.keyDown(k)
	}
}

func (m *Model) keyDown(k Key) {
	u := &m.ui
	switch k {
	case "q":
		m.leave()
	case "slash":
		m.help = !m.help
	case "escape":
		if !m.help && m.picking == "" && !m.saver.open {
			m.stopPicture()
		}
		m.help, m.picking, m.saver.open = false, "", false
	case "t":
		m.otherTheme()
	case "y":
		m.toLayout()
	}
	if m.stage == nil || m.run.table == nil {
		return
	}
	if len(k) == 1 && k[0] >= '1' && k[0] <= '9' {
		if i := int(k[0] - '1'); i < len(m.run.table.States) {
			m.enter(i)
		}
	}
	lap := m.lap()
	last := 0
	if lap != nil {
		last = len(lap.Frames) - 1
	}
	step := 1
	if u.in.Shift {
		step = 10
	}
	busy := u.shown && u.focus != "" && u.focus != "timeline" // arrows turn a slider
	switch k {
	case "space":
		m.togglePlay()
	case "p":
		if m.flashing() {
			m.togglePlay()
		}
	case "left":
		if !busy {
			m.scrub(max(0, m.frame()-step))
		}
	case "right":
		if !busy {
			m.scrub(min(last, m.frame()+step))
		}
	case "home":
		m.scrub(0)
	case "end":
		m.scrub(last)
	case "b":
		m.nextBite(lap)
	case "g":
		m.view = (m.view + 1) % 3
	case "i":
		m.photograph(u.in.Shift)
	case "o":
		m.outlines = !m.outlines
	case "a":
		m.adapted = !m.adapted
		m.field.exposed = false
	case "n":
		m.night = !m.night
		m.room = float64(m.stage.Machine.Panel.Room.Night)
		if m.night {
			m.room = float64(m.stage.Machine.Panel.Room.Day)
		}
		m.field.exposed = false
	case "l":
		m.nextLoad()
	case "h":
		m.run.silent = !m.run.silent
	case "plus":
		m.zoomBy(0.7)
	case "minus":
		m.zoomBy(1 / 0.7)
	case "0":
		m.zoomFrom, m.zoomTo = 0, 0
	case "x":
		m.loopFrom, m.loopTo = 0, 0
	case "m":
		m.nextStrip()
	case "r":
		m.room, m.depth, m.scatter = -1, 0, 0
		m.dragGlass()
	}
}

// leave quits, but not with edits that were not saved: it asks once.
func (m *Model) leave() {
	const ask = "there are changes that were not saved: ctrl s saves them, q again quits without them"
	if m.unsaved() && m.notice != ask {
		m.notice = ask
		return
	}
	m.quit = true
}

func (m *Model) nextBite(lap *Lap) {
	if lap == nil || lap.Wanted == nil {
		m.notice = "the cap does not bite in this clip"
		return
	}
	n := len(lap.Frames)
	for k := 1; k <= n; k++ {
		if f := (m.frame() + k) % n; lap.Wanted[f] > lap.Current[f]+1000 {
			m.scrub(f)
			m.notice = fmt.Sprintf("frame %d wants %s and gets %s of its budget %s", f, amps(lap.Wanted[f]), amps(lap.Current[f]), amps(lap.Budget))
			return
		}
	}
	m.notice = "the cap does not bite in this clip"
}

func (m *Model) nextLoad() {
	n := len(m.run.table.Loads)
	if n == 0 {
		m.notice = "this machine has no loads"
		return
	}
	m.loadAt = (m.loadAt + 1) % n
	m.run.toggle(m.loadAt)
}

func (m *Model) zoomBy(k float64) {
	lap := m.lap()
	if lap == nil {
		return
	}
	n := float64(len(lap.Frames))
	at := float64(m.frame())
	span := min(max((m.zoomTo-m.zoomFrom)*k, 8), n)
	m.zoomFrom = min(max(at-span/2, 0), n-span)
	m.zoomTo = m.zoomFrom + span
}

func (m *Model) nextStrip() {
	l := m.stage.On.Layout
	at := m.mainStrip()
	for k := 1; k <= len(l.Strips); k++ {
		if i := (at + k) % len(l.Strips); i >= 0 && upright(l, i) {
			m.main = l.Strips[i].Name
			return
		}
	}
}
