package model

import (
	"fmt"
	"image/color"
	"math"

	"paneglow/anim/show"
)

// Colours over a photo are the same in both themes: a photo has none. Every line
// has a dark edge, so that it shows on white steel and on black glass.
var (
	overInk    = rgb(0xf4f6f8)
	overDark   = color.NRGBA{8, 10, 12, 0xd0}
	overChosen = rgb(0xffc14d)
	overFeed   = rgb(0x8cc4ff)
	overBad    = rgb(0xff8172)
)

const (
	reachPoint = 10.0 // screen pixels within which a press takes something
	reachLine  = 9.0
	catch      = 6.0 // within which a corner catches its neighbour's line
)

func (b *board) scale() float64 {
	if b.k > 0 {
		return b.k
	}
	return b.whole()
}

// whole is the scale at which all of the panel is seen.
func (b *board) whole() float64 {
	w, h := float64(b.m.Panel.Size[0]), float64(b.m.Panel.Size[1])
	if !(w > 0) || !(h > 0) {
		return 1 // told by the file's check
	}
	return math.Max(math.Min((b.canvas.W-90)/w, (b.canvas.H-70)/h), 1e-3)
}

func (b *board) middle() (x, y float64) {
	if b.k > 0 {
		return b.cx, b.cy
	}
	return float64(b.m.Panel.Size[0]) / 2, float64(b.m.Panel.Size[1]) / 2
}

func (b *board) mmX(x float64) float64 {
	cx, _ := b.middle()
	return cx + (x-b.canvas.X-b.canvas.W/2)/b.scale()
}

func (b *board) mmY(y float64) float64 {
	_, cy := b.middle()
	return cy - (y-b.canvas.Y-b.canvas.H/2)/b.scale()
}

func (b *board) screen(p Point) Point {
	cx, cy := b.middle()
	k := b.scale()
	return Point{b.canvas.X + b.canvas.W/2 + (p.X-cx)*k, b.canvas.Y + b.canvas.H/2 - (p.Y-cy)*k}
}

// zoom keeps a place of the screen where it is.
func (b *board) zoom(by, x, y float64) {
	k := math.Min(math.Max(b.scale()*by, b.whole()*0.4), 20)
	mx, my := b.mmX(x), b.mmY(y)
	b.k = k
	b.cx = mx - (x-b.canvas.X-b.canvas.W/2)/k
	b.cy = my + (y-b.canvas.Y-b.canvas.H/2)/k
}

// drawCanvas draws the panel with what is on it, and takes the pointer.
func (m *Model) drawCanvas(c Rect) {
	u, b := &m.ui, &m.board
	b.canvas = c
	if b.m.Panel.Size[0] <= 0 || b.m.Panel.Size[1] <= 0 {
		u.fill(c, u.theme.Sheet, 0)
		u.text("the panel has no size: mend the machine file first", c.X+c.W/2, c.Y+c.H/2, normal, u.theme.Limit, Center)
		return
	}
	m.canvasHand(c)
	u.fill(c, u.theme.Sheet, 0)
	old := u.clip
	u.clip = &c
	m.drawBackdrop(c)
	lower, upper := b.screen(Point{0, 0}), b.screen(Point{float64(b.m.Panel.Size[0]), float64(b.m.Panel.Size[1])})
	panel := Rect{lower.X, upper.Y, upper.X - lower.X, lower.Y - upper.Y}
	u.frame(Rect{panel.X - 1, panel.Y - 1, panel.W + 2, panel.H + 2}, overDark, 3)
	u.frame(panel, overInk, 1)
	if b.marking == 0 { // the photo lies anywhere until it is marked
		for i := range b.m.Strips {
			if b.m.Strips[i].Name != b.strip {
				m.drawStrip(&b.m.Strips[i], false)
			}
		}
		if s, _ := b.chosen(); s != nil {
			m.drawStrip(s, true)
		}
		m.drawCopper()
	} else {
		m.plate(b.markWord(), c.X+c.W/2, c.Y+26, overChosen, Center)
	}
	m.drawDraft()
	m.drawMarks()
	m.drawRuler(c)
	u.clip = old
	u.frame(c, u.theme.Rule, 1)
	u.outline("layout.panel", c)
}

func (m *Model) drawBackdrop(c Rect) {
	u, b := &m.ui, &m.board
	if b.shot != nil {
		m.layPhoto(c)
		if b.laid != nil {
			p := b.screen(Point{b.laid.box.X, b.laid.box.Y + b.laid.box.H})
			k := b.scale()
			u.add(Op{Kind: Picture, X: p.X, Y: p.Y, W: b.laid.box.W * k, H: b.laid.box.H * k, Image: b.laid.image})
		}
		u.fill(c, withAlpha(rgb(0x101214), 70), 0)
		return
	}
	// Without a photo, a sheet with lines every 100 mm.
	w, h := float64(b.m.Panel.Size[0]), float64(b.m.Panel.Size[1])
	lo, hi := b.screen(Point{0, h}), b.screen(Point{w, 0})
	u.fill(Rect{lo.X, lo.Y, hi.X - lo.X, hi.Y - lo.Y}, rgb(0x23282f), 0)
	for x := 100.0; x < w; x += 100 {
		p := b.screen(Point{x, 0})
		u.line(p.X, lo.Y, p.X, hi.Y, rgb(0x353c46), 1)
	}
	for y := 100.0; y < h; y += 100 {
		p := b.screen(Point{0, y})
		u.line(lo.X, p.Y, hi.X, p.Y, rgb(0x353c46), 1)
	}
}

// plate writes a word on a dark ground of its own.
func (m *Model) plate(words string, x, y float64, c color.NRGBA, a Align) {
	u := &m.ui
	w := Measure(words, 12, false)
	left := x - w*float64(a)/2
	u.fill(Rect{left - 4, y - 12, w + 8, 17}, overDark, 3)
	u.text(words, x, y+1, 12, c, a)
}

// drawStrip draws a strip's path, pixels, direction and numbers.
func (m *Model) drawStrip(s *show.Strip, chosen bool) {
	u, b := &m.ui, &m.board
	if len(s.Path) == 0 {
		return
	}
	o := outlineOf(s)
	var line []Point
	for _, p := range o {
		line = append(line, b.screen(p))
	}
	c, width := overInk, 2.0
	if chosen {
		c, width = overChosen, 3
	}
	u.add(Op{Kind: Path, Points: line, Color: overDark, Width: width + 4})
	u.add(Op{Kind: Path, Points: line, Color: withAlpha(c, 170), Width: width})
	dots := b.dots[s.Name]
	gap := math.Inf(1)
	if len(dots) > 1 {
		gap = o.length() * b.scale() / float64(len(dots)-1)
	}
	every := 10
	for float64(every)*gap < 26 && every < 100000 {
		every *= 10
	}
	for i := range dots {
		m.drawDot(&dots[i], c, gap)
	}
	for i := range dots {
		d := &dots[i]
		end := d.index == 0 || d.index == len(dots)-1
		if d.index%every != 0 && !end || end && !chosen {
			continue // the others' ends are told by name and arrow: corners are crowded
		}
		if last := len(dots) - 1; d.index != last && float64(last-d.index)*gap < 18 {
			continue // the last one's number would stand on it
		}
		p, side := b.screen(d.at), b.inward(d)
		x, y, a := p.X+side.X*13, p.Y+side.Y*15+4, Center
		switch {
		case side.X > 0.5:
			a = Left
		case side.X < -0.5:
			a = Right
		}
		m.plate(fmt.Sprint(d.index), x, y, c, a)
	}
	// The data end: an arrow; where it enters: a bar, and the name.
	end, way := o.at(math.Inf(1))
	m.dataEnd(b.screen(end), way, c)
	start, first := o.at(0)
	p := b.screen(start)
	u.line(p.X-first.Y*9, p.Y-first.X*9, p.X+first.Y*9, p.Y+first.X*9, c, 3)
	m.plate(s.Name, p.X-first.X*22, p.Y+first.Y*24+4, c, Center)
	if chosen && b.tool == pointTool {
		m.drawPoints(o)
	}
}

// inward is the side of a pixel towards the panel's middle, on the screen.
func (b *board) inward(d *dot) Point {
	n := Point{-d.way.Y, d.way.X}
	w, h := float64(b.m.Panel.Size[0]), float64(b.m.Panel.Size[1])
	if n.X*(w/2-d.at.X)+n.Y*(h/2-d.at.Y) < 0 {
		n = Point{-n.X, -n.Y}
	}
	return Point{n.X, -n.Y}
}

// place is where a dot is drawn: hidden pixels stand beside the path, outwards.
func (b *board) place(d *dot) Point {
	p := b.screen(d.at)
	if d.hidden {
		side := b.inward(d)
		k := 9 + 11*float64(d.aside)
		p.X, p.Y = p.X-side.X*k, p.Y-side.Y*k
	}
	return p
}

func (m *Model) drawDot(d *dot, c color.NRGBA, gap float64) {
	u, b := &m.ui, &m.board
	p := b.place(d)
	if p.X < b.canvas.X-20 || p.Y < b.canvas.Y-20 || p.X > b.canvas.X+b.canvas.W+20 || p.Y > b.canvas.Y+b.canvas.H+20 {
		return
	}
	r := math.Min(math.Max(gap*0.32, 1.6), 5)
	switch {
	case d.hidden:
		q := b.screen(d.at)
		u.line(q.X, q.Y, p.X, p.Y, withAlpha(overInk, 150), 1)
		u.fill(Rect{p.X - 5, p.Y - 5, 10, 10}, overDark, 0)
		u.frame(Rect{p.X - 5, p.Y - 5, 10, 10}, c, 1.5)
	case d.missing:
		u.add(Op{Kind: Disc, X: p.X, Y: p.Y, Radius: 6.5, Color: overDark})
		u.line(p.X-4.5, p.Y-4.5, p.X+4.5, p.Y+4.5, overBad, 2)
		u.line(p.X-4.5, p.Y+4.5, p.X+4.5, p.Y-4.5, overBad, 2)
	default:
		u.add(Op{Kind: Disc, X: p.X, Y: p.Y, Radius: r + 1, Color: overDark})
		u.add(Op{Kind: Disc, X: p.X, Y: p.Y, Radius: r, Color: c})
	}
	tool := b.tool == hiddenTool || b.tool == missingTool || b.tool == feedTool
	if s, _ := b.chosen(); tool && s != nil && d.index == b.pixel && c == overChosen {
		u.frame(Rect{p.X - 9, p.Y - 9, 18, 18}, overChosen, 2)
	}
}

// dataEnd is an arrow's head at a place, along a way given in millimetres.
func (m *Model) dataEnd(p, way Point, c color.NRGBA) {
	x, y := way.X, -way.Y
	tip := func(far, wide float64) []Point {
		return []Point{{p.X + x*far, p.Y + y*far}, {p.X - y*wide + x*3, p.Y + x*wide + y*3}, {p.X + y*wide + x*3, p.Y - x*wide + y*3}}
	}
	m.ui.add(Op{Kind: Area, Points: tip(23, 11), Color: overDark})
	m.ui.add(Op{Kind: Area, Points: tip(20, 8), Color: c})
}

// drawPoints draws what can be dragged: corners as squares, a + in every leg.
func (m *Model) drawPoints(o outline) {
	u, b := &m.ui, &m.board
	for i := 1; i < len(o); i++ {
		if p, shown := b.plusAt(o, i-1); shown {
			u.add(Op{Kind: Disc, X: p.X, Y: p.Y, Radius: 8, Color: overDark})
			u.line(p.X-4, p.Y, p.X+4, p.Y, overChosen, 2)
			u.line(p.X, p.Y-4, p.X, p.Y+4, overChosen, 2)
		}
	}
	for i, q := range o {
		p := b.screen(q)
		r := Rect{p.X - 7, p.Y - 7, 14, 14}
		u.places[fmt.Sprintf("layout.point.%d", i)] = [4]int{int(r.X), int(r.Y), 14, 14}
		if i == b.point {
			u.fill(r, overChosen, 0)
			u.frame(Rect{r.X - 2, r.Y - 2, 18, 18}, overDark, 2)
			if b.hold.what == "point" {
				m.plate(fmt.Sprintf("%s, %s mm", trimmed(q.X), trimmed(q.Y)), p.X, p.Y-22, overChosen, Center)
			}
			continue
		}
		u.fill(r, overDark, 0)
		u.frame(r, overChosen, 2)
	}
}

// plusAt is where a leg's + stands: beside its middle, so that it covers no
// pixel; legs too short for one have none.
func (b *board) plusAt(o outline, leg int) (Point, bool) {
	p, q := b.screen(o[leg]), b.screen(o[leg+1])
	l := math.Hypot(q.X-p.X, q.Y-p.Y)
	if l < 50 {
		return Point{}, false
	}
	mid := dot{at: Point{(o[leg].X + o[leg+1].X) / 2, (o[leg].Y + o[leg+1].Y) / 2}, way: Point{(o[leg+1].X - o[leg].X) / (l / b.scale()), (o[leg+1].Y - o[leg].Y) / (l / b.scale())}}
	side := b.inward(&mid)
	return Point{(p.X+q.X)/2 - side.X*16, (p.Y+q.Y)/2 - side.Y*16}, true
}
