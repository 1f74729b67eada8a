package model

import (
	"fmt"
	"image/color"
	"math"
	"slices"

	"paneglow/anim/show"
)

// drawCopper draws feeds and joints.
func (m *Model) drawCopper() {
	u, b := &m.ui, &m.board
	for i := range b.m.Joints {
		p, ok := b.dotAt(b.m.Joints[i].From)
		q, also := b.dotAt(b.m.Joints[i].To)
		if ok && also {
			u.line(p.X, p.Y, q.X, q.Y, overDark, 5)
			u.line(p.X, p.Y, q.X, q.Y, overFeed, 2)
		}
	}
	for i := range b.m.Feeds {
		f := &b.m.Feeds[i]
		p, ok := b.dotAt(show.Place{Strip: f.Strip, Pixel: f.Pixel})
		if !ok {
			continue
		}
		u.places[fmt.Sprintf("layout.feed.%d", i)] = [4]int{int(p.X) - 7, int(p.Y) - 7, 14, 14}
		width := 2.0
		if b.tool == feedTool && i == b.feed {
			width = 4
		}
		u.frame(Rect{p.X - 10, p.Y - 10, 20, 20}, overDark, width+2)
		u.frame(Rect{p.X - 9, p.Y - 9, 18, 18}, overFeed, width)
		a, x := Right, p.X-14
		if p.X < b.canvas.X+60 {
			a, x = Left, p.X+14
		}
		m.plate("feed", x, p.Y+4, overFeed, a)
	}
}

// dotAt is where a pixel is on the screen.
func (b *board) dotAt(at show.Place) (Point, bool) {
	dots := b.dots[at.Strip]
	if at.Pixel < 0 || at.Pixel >= len(dots) {
		return Point{}, false
	}
	return b.place(&dots[at.Pixel]), true
}

// nearDot is the pixel nearest to a place of the screen, within reach.
func (b *board) nearDot(x, y, reach float64) (at show.Place, found bool) {
	for i := range b.m.Strips {
		s := &b.m.Strips[i]
		dots := b.dots[s.Name]
		for k := range dots {
			p := b.place(&dots[k])
			if d := math.Hypot(p.X-x, p.Y-y); d < reach {
				reach, at, found = d, show.Place{Strip: s.Name, Pixel: k}, true
			}
		}
	}
	return at, found
}

// drawDraft draws the strip that is being drawn, to the pointer.
func (m *Model) drawDraft() {
	u, b := &m.ui, &m.board
	if b.tool != drawTool || len(b.draft) == 0 {
		return
	}
	line := []Point{}
	for _, p := range b.draft {
		line = append(line, b.screen(p))
	}
	next := b.draft
	if b.canvas.Has(u.in.X, u.in.Y) {
		if q := b.caught(Point{b.mmX(u.in.X), b.mmY(u.in.Y)}, tailOf(b.draft), u.in.Shift); !b.onTail(q) {
			next = append(slices.Clip(b.draft), q)
			line = append(line, b.screen(q))
		}
	}
	u.add(Op{Kind: Path, Points: line, Color: overDark, Width: 7})
	u.add(Op{Kind: Path, Points: line, Color: overChosen, Width: 3})
	for _, p := range line[:len(b.draft)] {
		u.fill(Rect{p.X - 6, p.Y - 6, 12, 12}, overChosen, 0)
	}
	words := fmt.Sprintf("%.0f mm", next.length())
	if part := b.m.Part(b.part); part != nil && part.Pitch > 0 && part.LEDsPerPixel > 0 {
		words += ", " + plural(pixelsIn(next.length(), part), "pixel")
	}
	p := line[len(line)-1]
	m.plate(words, p.X+14, p.Y-12, overChosen, Left)
}

// drawMarks draws the two points that place the photo.
func (m *Model) drawMarks() {
	u, b := &m.ui, &m.board
	if b.tool != photoTool || b.shot == nil {
		return
	}
	by, _ := b.mapping()
	cross := func(i int, px Point) {
		p := b.screen(by.mm(px))
		for _, w := range []struct {
			c     color.NRGBA
			width float64
		}{{overDark, 5}, {overChosen, 2}} {
			u.line(p.X-14, p.Y, p.X+14, p.Y, w.c, w.width)
			u.line(p.X, p.Y-14, p.X, p.Y+14, w.c, w.width)
		}
		u.places[fmt.Sprintf("layout.mark.%d", i)] = [4]int{int(p.X) - 7, int(p.Y) - 7, 14, 14}
		words := fmt.Sprint("mark ", i+1)
		if i == b.mark && b.marking == 0 {
			words += ", chosen"
		}
		a, x := Left, p.X+16
		if p.X > b.canvas.X+b.canvas.W*0.55 {
			a, x = Right, p.X-16
		}
		m.plate(words, x, p.Y+20, overChosen, a)
	}
	switch {
	case b.marking == 2:
		cross(0, b.first.Pixel)
	case b.marking == 0:
		for i, k := range b.back.Marks {
			px := k.Pixel
			if b.hold.what == "mark" && i == b.mark {
				px = b.hold.at
			}
			cross(i, px)
		}
	}
}

// drawRuler draws a known length, so that one sees whether the photo is to scale.
func (m *Model) drawRuler(c Rect) {
	u, b := &m.ui, &m.board
	mm := 100.0
	for mm*b.scale() < 40 {
		mm *= 10
	}
	for mm*b.scale() > 300 {
		mm /= 10
	}
	x, y, w := c.X+16, c.Y+c.H-14, mm*b.scale()
	u.fill(Rect{x - 8, y - 24, w + 16, 32}, overDark, 4)
	u.line(x, y, x+w, y, overInk, 2)
	u.line(x, y-5, x, y+3, overInk, 2)
	u.line(x+w, y-5, x+w, y+3, overInk, 2)
	u.text(trimmed(mm)+" mm", x+w/2, y-7, 12, overInk, Center)
}
