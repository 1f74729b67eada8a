package sheet

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"paneglow/anim/show"
	"paneglow/render/power/wiring"
)

// Facts is what a wiring sheet is made of.
type Facts struct {
	Title   string // of the show
	Panel   *wiring.Panel
	Seen    []wiring.Seen // of all states and changes
	Dark    wiring.Survey // of the panel with all pixels dark and no load running
	Protect []wiring.Protection
	// Idle is what the dark panel draws, and Most what the lights ever draw, in
	// amperes at the supplies.
	Idle, Most float64
}

// book is the sheet being laid out, page after page.
type book struct {
	*Facts
	m     *show.Machine
	pages []*page
	p     *page
	y     float64 // where the next block begins
}

// Wiring draws a panel's wiring, one SVG document a page; there are at least two.
func Wiring(f *Facts) [][]byte {
	b := lay(f)
	var out [][]byte
	for i, p := range b.pages {
		foot := fmt.Sprintf("%s; page %d of %d. Part names, currents and ohms are those of the machine file; local codes and licensed practice decide.", filepath.Base(b.m.File), i+1, len(b.pages))
		out = append(out, p.bytes(short(foot, 2.4, right-margin)))
	}
	return out
}

// lay draws all pages but their foot lines.
func lay(f *Facts) *book {
	b := &book{Facts: f, m: f.Panel.Machine}
	b.turn("")
	b.plan()
	b.rows()
	b.turn("what to measure, and what to do")
	b.measured()
	b.work()
	b.symptoms()
	b.cautions()
	return b
}

// turn begins a page.
func (b *book) turn(what string) {
	b.p = &page{}
	b.pages = append(b.pages, b.p)
	title := "Wiring: " + b.Title
	b.bold0(title, margin, 16, 5, 128)
	line := fmt.Sprintf("%d pixels, %s, %s; lights draw up to %.2f A, dark %.2f A", len(b.Panel.Layout.Pixels), count(len(b.Panel.Layout.Strips), "strip"), b.supplies(), b.Most, b.Idle)
	if what != "" {
		line = what
	}
	b.p.gray(margin, 21, 2.7, start, short(line, 2.7, 130))
	// Blanks to be filled in by hand.
	for i, s := range []string{"built by", "checked by", "date"} {
		y := 12.5 + 4.4*float64(i)
		b.p.gray(145, y, 2.4, start, s)
		b.p.line(faint, 161, y+0.5, right, y+0.5)
	}
	b.p.line(ink, margin, 24, right, 24)
	b.y = 29
}

func count(k int, word string) string {
	if k == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", k, word)
}

// bold0 writes a heading, smaller where it is long.
func (b *book) bold0(s string, x, y, size, most float64) {
	for size > 3 && wide(s, size) > most {
		size -= 0.25
	}
	b.p.bold(x, y, size, start, short(s, size, most))
}

func (b *book) supplies() string {
	var s []string
	for _, x := range b.m.Supplies() {
		s = append(s, fmt.Sprintf("%s %s", x.Volts, x.Amps))
	}
	return strings.Join(s, " and ")
}

// need begins a new page where a block of this height would leave the present one.
func (b *book) need(h float64) {
	if b.y+h > bottom {
		b.turn("continued")
	}
}

// plan draws the panel to scale at the left: strips with their direction, where the
// feeds are, where data comes in and strips are joined.
func (b *book) plan() {
	l, p := b.Panel.Layout, b.p
	const x0, boxW, boxH = margin + 5, 62.0, 128.0
	scale := math.Min(boxW/l.Width, boxH/l.Height)
	y0 := b.y + 8
	x := func(mm float64) float64 { return x0 + mm*scale }
	y := func(mm float64) float64 { return y0 + (l.Height-mm)*scale }
	p.bold(margin, b.y+1, 3, start, "The panel, seen from the front")
	p.gray(margin, b.y+5, 2.3, start, fmt.Sprintf("1 : %.3g; LEDs look at you; numbers are pixels", 1/scale))
	p.rect(faint, x0, y0, l.Width*scale, l.Height*scale, "#fbfbfb")
	marks := &crowd{x0: margin, y0: y0 - 2, x1: x0 + boxW + 5, y1: y0 + boxH + 3}
	for _, e := range [][4]float64{{0, 0, 1, 0}, {0, 1, 1, 1}, {0, 0, 0, 1}, {1, 0, 1, 1}} {
		w, h := l.Width*scale, l.Height*scale
		marks.line(x0+e[0]*w, y0+e[1]*h, x0+e[2]*w, y0+e[3]*h)
	}
	for i := range l.Strips {
		s := b.m.Strip(l.Strips[i].Name)
		var xy []float64
		for _, q := range s.Path {
			xy = append(xy, x(float64(q[0])), y(float64(q[1])))
		}
		if len(xy) == 2 {
			p.dot(xy[0], xy[1], 1, strips.color, strips.color)
		} else {
			p.line(strips, xy...)
			k := len(xy)
			p.arrow(strips, xy[k-2], xy[k-1], xy[k-2]-xy[k-4], xy[k-1]-xy[k-3], 3)
			p.dot(xy[0], xy[1], 0.9, "#fff", strips.color)
			for j := 2; j < k; j += 2 {
				marks.line(xy[j-2], xy[j-1], xy[j], xy[j+1])
			}
		}
	}
	for i, f := range b.Panel.Circuit.Plan().Feeds {
		px := &l.Pixels[l.Strips[f.At.Strip].First+f.At.Pixel]
		at := point{x(px.X), y(px.Y)}
		p.dot(at.x, at.y, 0.8, plus.color, plus.color)
		tag := fmt.Sprintf("F%d", i+1)
		if to, ok := marks.room(at, wide(tag, 3)+1.6, 3.4, 40); ok {
			b.lead(at, point{to.x + wide(tag, 3)/2, to.y - 1.2})
			p.rect(plus, to.x, to.y-2.9, wide(tag, 3)+1.4, 3.8, "#fff")
			p.text(to.x+0.7, to.y, 3, start, tag)
		}
	}
	for i := range l.Lines {
		first := l.Lines[i].Strips[0]
		px := &l.Pixels[l.Strips[first].First]
		at := point{x(px.X), y(px.Y)}
		tag := "data " + l.Lines[i].Name
		if to, ok := marks.room(at, wide(tag, 2.4)+1.4, 3, 40); ok {
			b.lead(at, point{to.x + wide(tag, 2.4)/2, to.y - 1})
			p.rect(pen{data.color, 0.3, ""}, to.x, to.y-2.4, wide(tag, 2.4)+1.2, 3.3, "#fff")
			p.text(to.x+0.6, to.y, 2.4, start, tag)
		}
	}
	joints := b.Panel.Circuit.Plan().Joints
	ends := make([][2]point, len(joints))
	for i, j := range joints {
		for k, at := range []wiring.Place{j.From, j.To} {
			px := &l.Pixels[l.Strips[at.Strip].First+at.Pixel]
			ends[i][k] = point{x(px.X), y(px.Y)}
		}
		p.line(joint, ends[i][0].x, ends[i][0].y, ends[i][1].x, ends[i][1].y)
		marks.line(ends[i][0].x, ends[i][0].y, ends[i][1].x, ends[i][1].y)
	}
	for i := range l.Strips {
		b.stripName(i, marks, x, y)
	}
	for i, e := range ends {
		tag := fmt.Sprintf("J%d", i+1)
		if to, ok := marks.room(point{(e[0].x + e[1].x) / 2, (e[0].y + e[1].y) / 2}, wide(tag, 2.5), 2.5, 8); ok {
			p.text(to.x, to.y, 2.5, start, tag)
		}
	}
	b.key(y0 + l.Height*scale + 8)
}

// lead draws a thin line from a thing to its label where that is not beside it.
func (b *book) lead(at, label point) {
	if math.Hypot(at.x-label.x, at.y-label.y) > 7 {
		b.p.line(faint, at.x, at.y, label.x, label.y)
	}
}

// stripName writes a strip's name and pixels beside its middle, small where there is
// little room; the tables name all strips.
func (b *book) stripName(i int, marks *crowd, x, y func(float64) float64) {
	s := b.m.Strip(b.Panel.Layout.Strips[i].Name)
	first, last := s.Path[0], s.Path[len(s.Path)-1]
	if len(s.Path) > 2 {
		first, last = s.Path[len(s.Path)/2-1], s.Path[len(s.Path)/2]
	}
	mid := point{(x(float64(first[0])) + x(float64(last[0]))) / 2, (y(float64(first[1])) + y(float64(last[1]))) / 2}
	text := fmt.Sprintf("%s 0-%d", s.Name, s.Pixels-1)
	for _, size := range []float64{2.5, 2} {
		cut := name(text, size, 40)
		if at, ok := marks.room(mid, wide(cut, size), size, 4.5); ok {
			b.p.text(at.x, at.y, size, start, cut)
			return
		}
	}
}

// key says what the lines of the drawing are.
func (b *book) key(y float64) {
	p := b.p
	for _, k := range []struct {
		q    pen
		what string
	}{{strips, "strip; the arrow is the way of the data"}, {plus, "plus"}, {minus, "minus, ground"}, {data, "data"}, {joint, "joint"}} {
		p.line(k.q, margin+2, y-0.9, margin+11, y-0.9)
		p.text(margin+13, y, 2.4, start, k.what)
		y += 4
	}
	for _, s := range []string{"F1 a feed, J1 a joint: see the rows at the right", "C 1000 uF, 25 V or more, at each feed (common practice)", "lengths are one way; all minus wires meet at the supply's minus"} {
		for _, line := range wrap(s, 2.4, 68) {
			p.text(margin+2, y, 2.4, start, line)
			y += 3.4
		}
	}
}
