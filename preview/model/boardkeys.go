package model

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"paneglow/anim/show"
	"paneglow/anim/unit"
)

// boardKeyList is the layout's keys.
var boardKeyList = [][2]string{
	{"1 to 6", "points, new strip, hidden, missing, feeds, photo"},
	{"page up, page down", "strip before, strip behind"},
	{"comma, period", "along the strip: points, or pixels"},
	{"arrows", "move a point 1 mm, a mark 1 pixel; shift: ten"},
	{"i, delete", "add a point behind, delete it; delete: a feed, too"},
	{"space, enter", "mark the pixel, solder a feed, finish the new strip"},
	{"d", "the data runs the other way"},
	{"drag", "corners, feeds, marks; elsewhere, the sheet"},
	{"shift and drag", "a corner catches no line"},
	{"wheel, plus, minus", "zoom; 0 shows the whole panel"},
	{"tab", "next control; enter opens"},
	{"ctrl z, ctrl y", "undo, redo"},
	{"ctrl s", "save"},
	{"t", "light or dark"},
	{"y, escape", "back to the show"},
	{"?", "these keys"},
	{"q", "quit"},
}

// boardKeys takes the keys that no widget took.
func (m *Model) boardKeys() {
	u, b := &m.ui, &m.board
	if u.typing() || b.outer {
		return
	}
	if u.in.Ctrl {
		return // undo, redo and save: keys
	}
	busy := u.shown && u.focus != "" && u.focus != "layout.panel" // enter and space belong to a button
	for _, k := range u.in.Keys {
		if len(k) == 1 && k[0] >= '1' && int(k[0]-'1') < len(toolNames) {
			m.takeTool(tool(k[0] - '1'))
			continue
		}
		switch k {
		case "q":
			m.leave()
		case "y":
			m.toLayout()
		case "slash":
			m.help = !m.help
		case "t":
			m.otherTheme()
		case "escape":
			m.boardEscape()
		case "left", "right", "up", "down":
			m.nudge(k)
		case "comma":
			m.stepAlong(-1)
		case "period":
			m.stepAlong(1)
		case "pageup":
			m.stepStrip(-1)
		case "pagedown":
			m.stepStrip(1)
		case "i":
			if b.tool == pointTool {
				m.addPoint()
			}
		case "delete", "backspace":
			m.boardDelete()
		case "d":
			m.turnRound()
		case "space", "enter":
			if !busy {
				m.boardEnter()
			}
		case "plus":
			b.zoom(1.3, b.canvas.X+b.canvas.W/2, b.canvas.Y+b.canvas.H/2)
		case "minus":
			b.zoom(1/1.3, b.canvas.X+b.canvas.W/2, b.canvas.Y+b.canvas.H/2)
		case "0":
			b.k = 0
		}
	}
}

func (m *Model) takeTool(t tool) {
	b := &m.board
	b.tool, b.hold, b.draft, b.marking, b.sure, m.notice = t, hold{}, nil, 0, "", ""
	switch t {
	case drawTool:
		b.name = b.freeName()
		if b.m.Part(b.part) == nil && len(b.m.Parts) > 0 {
			b.part = b.m.Parts[0].Name
		}
		if !slices.ContainsFunc(b.m.Lines, func(l show.Line) bool { return l.Name == b.line }) && len(b.m.Lines) > 0 {
			b.line = b.m.Lines[len(b.m.Lines)-1].Name
		}
	case photoTool:
		if b.shot != nil && len(b.back.Marks) == 0 {
			b.marking = 1
		}
	}
}

func (b *board) freeName() string {
	for i := len(b.m.Strips) + 1; ; i++ {
		if name := fmt.Sprint("strip", i); b.m.Strip(name) == nil {
			return name
		}
	}
}

// boardEscape leaves what was begun, then the layout.
func (m *Model) boardEscape() {
	b := &m.board
	switch {
	case m.help:
		m.help = false
	case b.sure != "":
		b.sure = ""
	case len(b.draft) > 0:
		b.draft = nil
	case b.marking > 0 && len(b.back.Marks) == 2:
		b.marking = 0
	case b.tool != pointTool:
		m.takeTool(pointTool)
	default:
		m.leaveLayout()
	}
}

// nudge moves what the tool works on: a point by a millimetre, a mark by a pixel
// of the photo; with shift, ten.
func (m *Model) nudge(k Key) {
	u, b := &m.ui, &m.board
	step := 1.0
	if u.in.Shift {
		step = 10
	}
	d := map[Key]Point{"left": {-step, 0}, "right": {step, 0}, "up": {0, step}, "down": {0, -step}}[k]
	switch b.tool {
	case pointTool:
		m.movePoint(d.X, d.Y)
	case photoTool:
		if len(b.back.Marks) == 2 && b.marking == 0 {
			px := b.back.Marks[b.mark].Pixel
			m.moveMark(b.mark, Point{px.X + d.X, px.Y - d.Y})
		}
	case hiddenTool, missingTool, feedTool:
		by := int(step)
		if k == "left" || k == "down" {
			by = -by
		}
		m.stepAlong(by)
	}
}

// stepAlong goes to the next point, pixel or mark.
func (m *Model) stepAlong(by int) {
	b := &m.board
	s, _ := b.chosen()
	switch {
	case b.tool == photoTool:
		b.mark = 1 - b.mark
	case s == nil:
	case b.tool == pointTool && len(s.Path) > 0:
		b.point = ((b.point+by)%len(s.Path) + len(s.Path)) % len(s.Path)
	case s.Pixels > 0:
		b.pixel = ((b.pixel+by)%s.Pixels + s.Pixels) % s.Pixels
	}
}

func (m *Model) stepStrip(by int) {
	b := &m.board
	n := len(b.m.Strips)
	if n == 0 {
		return
	}
	at := max(slices.IndexFunc(b.m.Strips, func(s show.Strip) bool { return s.Name == b.strip }), 0)
	b.strip, b.point, b.pixel, b.sure = b.m.Strips[((at+by)%n+n)%n].Name, 0, 0, ""
}

func (m *Model) boardDelete() {
	b := &m.board
	switch {
	case b.tool == drawTool && len(b.draft) > 0:
		b.draft = b.draft[:len(b.draft)-1]
	case b.tool == pointTool:
		m.deletePoint()
	case b.tool == feedTool:
		m.removeFeed()
	}
}

func (m *Model) boardEnter() {
	b := &m.board
	switch b.tool {
	case drawTool:
		m.finishDraft()
	case hiddenTool, missingTool:
		m.toggleMark(b.strip, b.pixel, toolNames[b.tool])
	case feedTool:
		m.placeFeed(b.strip, b.pixel)
	}
}

// trimmed writes a number of millimetres without needless digits.
func trimmed(mm float64) string {
	return strings.TrimSuffix(show.Millimetres(unit.Length(mm)), " mm")
}

// parseMM reads a length; a bare number is millimetres, as the label says.
func parseMM(text string) (float64, error) {
	text = strings.TrimSpace(text)
	if v, err := strconv.ParseFloat(text, 64); err == nil {
		text = strconv.FormatFloat(v, 'f', -1, 64) + " mm"
	}
	v, err := unit.ParseLength(text)
	return float64(v), err
}

// parsePlace reads two lengths with a comma between them.
func parsePlace(text string) (Point, error) {
	a, b, ok := strings.Cut(text, ",")
	if !ok {
		return Point{}, fmt.Errorf("%q is not two lengths: write x, y in mm, such as 560, 0", text)
	}
	x, err := parseMM(a)
	if err != nil {
		return Point{}, err
	}
	y, err := parseMM(b)
	return Point{x, y}, err
}
