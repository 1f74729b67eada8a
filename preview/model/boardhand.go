package model

import (
	"math"
	"slices"

	"paneglow/anim/show"
)

// canvasHand takes what the pointer does on the panel.
func (m *Model) canvasHand(c Rect) {
	u, b := &m.ui, &m.board
	inside := u.hit("layout.panel", c)
	if inside && u.in.Wheel != 0 {
		b.zoom(math.Pow(1.2, u.in.Wheel), u.in.X, u.in.Y)
	}
	at := Point{b.mmX(u.in.X), b.mmY(u.in.Y)}
	if inside && u.in.Pressed && !b.outer && !m.help {
		b.sure = ""
		m.press(at)
	}
	if b.hold.what == "" {
		return
	}
	if u.in.Down {
		m.pull(at)
		return
	}
	m.letGo()
}

// press begins what the tool does.
func (m *Model) press(at Point) {
	u, b := &m.ui, &m.board
	x, y := u.in.X, u.in.Y
	cx, cy := b.middle()
	pan := hold{what: "pan", x: x, y: y, dx: cx, dy: cy}
	switch b.tool {
	case pointTool:
		if s, _ := b.chosen(); s != nil && m.takePoint(outlineOf(s), x, y) {
			return
		}
		if name := b.nearStrip(at); name != "" {
			if name != b.strip {
				b.strip, b.point, b.pixel, m.notice = name, 0, 0, ""
			}
			// Pressed on its end, that is what is meant.
			if s, _ := b.chosen(); s != nil {
				m.takePoint(outlineOf(s), x, y)
			}
			return
		}
	case drawTool:
		p := b.caught(at, tailOf(b.draft), u.in.Shift)
		if b.onTail(p) {
			return // pressed twice
		}
		b.draft = append(b.draft, p)
		return
	case hiddenTool, missingTool:
		if p, ok := b.nearDot(x, y, reachPoint); ok {
			m.toggleMark(p.Strip, p.Pixel, toolNames[b.tool])
			return
		}
	case feedTool:
		p, ok := b.nearDot(x, y, reachPoint)
		if !ok {
			break
		}
		b.strip, b.pixel = p.Strip, p.Pixel
		for i := range b.m.Feeds {
			f := show.Place{Strip: b.m.Feeds[i].Strip, Pixel: b.m.Feeds[i].Pixel}
			if q, shown := b.dotAt(f); shown && math.Hypot(q.X-x, q.Y-y) < reachPoint+2 {
				b.feed, b.hold = i, hold{what: "feed", x: x, y: y}
				b.strip, b.pixel = f.Strip, f.Pixel
				return
			}
		}
		m.placeFeed(p.Strip, p.Pixel)
		return
	case photoTool:
		if b.shot == nil {
			break
		}
		by, _ := b.mapping()
		if b.marking > 0 {
			m.setMark(by.pixel(at))
			return
		}
		for i, k := range b.back.Marks {
			p := b.screen(by.mm(k.Pixel))
			if math.Hypot(p.X-x, p.Y-y) < reachPoint+4 {
				b.mark, b.hold = i, hold{what: "mark", x: x, y: y, at: k.Pixel}
				return
			}
		}
	}
	b.hold = pan
}

// onTail tells that a place is the last point drawn, as near as a hand can tell.
func (b *board) onTail(p Point) bool {
	n := len(b.draft)
	return n > 0 && math.Hypot(b.draft[n-1].X-p.X, b.draft[n-1].Y-p.Y)*b.scale() < catch
}

func tailOf(o outline) outline {
	if len(o) == 0 {
		return nil
	}
	return o[len(o)-1:]
}

// takePoint takes a corner of the chosen strip, or makes one at a leg's +.
func (m *Model) takePoint(o outline, x, y float64) bool {
	b := &m.board
	for i, q := range o {
		if p := b.screen(q); math.Hypot(p.X-x, p.Y-y) < reachPoint {
			b.point = i
			b.hold = hold{what: "point", base: o, x: x, y: y, dx: q.X - b.mmX(x), dy: q.Y - b.mmY(y)}
			return true
		}
	}
	for i := 1; i < len(o); i++ {
		if p, shown := b.plusAt(o, i-1); shown && math.Hypot(p.X-x, p.Y-y) < reachPoint {
			mid := Point{(o[i-1].X + o[i].X) / 2, (o[i-1].Y + o[i].Y) / 2}
			o = slices.Insert(slices.Clone(o), i, Point{math.Round(mid.X), math.Round(mid.Y)})
			b.hold = hold{what: "point", x: x, y: y, base: o, dx: mid.X - b.mmX(x), dy: mid.Y - b.mmY(y)}
			if m.setPath(o, true) {
				b.point = i
			}
			return true
		}
	}
	return false
}

// nearStrip is the strip whose line is within reach, or "".
func (b *board) nearStrip(at Point) string {
	name, least := "", reachLine/b.scale()
	for i := range b.m.Strips {
		if len(b.m.Strips[i].Path) == 0 {
			continue
		}
		if _, d := outlineOf(&b.m.Strips[i]).near(at); d < least {
			name, least = b.m.Strips[i].Name, d
		}
	}
	return name
}

// caught is a place on whole millimetres of the panel, on the line of a neighbour
// that is close by: strips are mostly upright or level.
func (b *board) caught(p Point, neighbours []Point, free bool) Point {
	p = b.onPanel(Point{math.Round(p.X), math.Round(p.Y)})
	if free {
		return p
	}
	near := catch / b.scale()
	for _, n := range neighbours {
		if math.Abs(n.X-p.X) <= near && math.Abs(n.Y-p.Y) > near {
			p.X = n.X
		}
		if math.Abs(n.Y-p.Y) <= near && math.Abs(n.X-p.X) > near {
			p.Y = n.Y
		}
	}
	return p
}

// pull goes on with what is held.
func (m *Model) pull(at Point) {
	u, b := &m.ui, &m.board
	h := &b.hold
	// A hand that presses trembles: the first pixels do not count.
	if !h.moved && math.Hypot(u.in.X-h.x, u.in.Y-h.y) < 3 {
		return
	}
	switch h.what {
	case "pan":
		k := b.scale()
		b.k, b.cx, b.cy = k, h.dx-(u.in.X-h.x)/k, h.dy+(u.in.Y-h.y)/k
	case "point":
		o := slices.Clone(h.base)
		if b.point >= len(o) {
			return
		}
		var beside []Point
		if b.point > 0 {
			beside = append(beside, o[b.point-1])
		}
		if b.point+1 < len(o) {
			beside = append(beside, o[b.point+1])
		}
		o[b.point] = b.caught(Point{at.X + h.dx, at.Y + h.dy}, beside, u.in.Shift)
		m.setPath(o, true)
	case "feed":
		p, ok := b.nearDot(u.in.X, u.in.Y, 40)
		if !ok || b.feed >= len(b.m.Feeds) {
			return
		}
		text, err := show.SetFeed(b.doc.path, b.doc.now, b.feed, p)
		if m.rewrite(text, err, true) {
			b.strip, b.pixel = p.Strip, p.Pixel
		}
	case "mark":
		// The photo lies still until the mark is let go: else it would run away
		// from under the pointer.
		by, _ := b.mapping()
		h.at, h.moved = by.pixel(at), true
	}
}

// letGo ends what was held; a changed machine is proved.
func (m *Model) letGo() {
	b := &m.board
	h := b.hold
	b.hold = hold{}
	switch {
	case h.what == "mark" && h.moved:
		m.moveMark(b.mark, h.at)
	case h.moved:
		m.prove()
	}
}
