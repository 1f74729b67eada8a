package commission

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"

	"paneglow/anim/layout"
	"paneglow/anim/show"
)

// Codes of the lights: bright enough to be seen on a lit bench, far from dazzling.
const (
	wash = 24 // of a whole strip, each die
	spot = 96 // of a single pixel
)

// layoutOf is the panel in data order, as the file has it.
type layoutOf struct {
	*layout.Layout
	lines [][]int // strips of each line
}

func newLayout(m *show.Machine) (*layoutOf, error) {
	l, err := layout.New(m)
	if err != nil {
		return nil, err
	}
	out := &layoutOf{Layout: l}
	for _, line := range l.Lines {
		out.lines = append(out.lines, line.Strips)
	}
	return out, nil
}

// picture is codes in the making.
type picture struct {
	r     *Run
	codes []uint8
}

func (r *Run) dark() *picture { return &picture{r, make([]uint8, r.lay.Channels())} }

// at lights a pixel, counted through the panel, in a color (0 red, 1 green, 2 blue,
// 3 white by all of the first three), by the dies that give it really.
func (p *picture) at(pixel, color int, code uint8) *picture {
	px := &p.r.lay.Pixels[pixel]
	s := &p.r.lay.Strips[px.Strip]
	if px.Missing {
		return p
	}
	dies, known := p.r.dies[p.r.m.Strips[p.r.stripOf(px.Strip)].Part]
	for c := range 3 {
		if color != 3 && color != c {
			continue
		}
		d := c
		if known {
			d = dies[c]
		}
		if d < s.Dies {
			p.codes[px.Offset+d] = code
		}
	}
	return p
}

// raw lights one die of the file's order.
func (p *picture) raw(pixel, die int, code uint8) *picture {
	if px := &p.r.lay.Pixels[pixel]; !px.Missing {
		p.codes[px.Offset+die] = code
	}
	return p
}

func (p *picture) show(ctx context.Context) error { return p.r.Panel.Show(ctx, p.codes) }

// whole lights the pixels from..to, to left out, of a strip in white.
func (p *picture) whole(strip, from, to int, code uint8) *picture {
	s := &p.r.lay.Strips[strip]
	for i := from; i < to; i++ {
		p.at(s.First+i, 3, code)
	}
	return p
}

// present are the pixels of a strip that it really has: those that the file marks as
// missing were cut out, take no data and show nothing.
func (r *Run) present(strip int) (index []int) {
	s := &r.lay.Strips[strip]
	for i := range s.Count {
		if !r.lay.Pixels[s.First+i].Missing {
			index = append(index, i)
		}
	}
	return index
}

// but names the pixels from..to, to left out, that are missing, to whom looks at the
// strip; "" for none.
func (r *Run) but(strip, from, to int) string {
	var words []string
	s := &r.lay.Strips[strip]
	for i := from; i < to; i++ {
		if r.lay.Pixels[s.First+i].Missing {
			words = append(words, strconv.Itoa(i))
		}
	}
	switch len(words) {
	case 0:
		return ""
	case 1:
		return fmt.Sprintf(" Pixel %s is missing, as the file has it.", words[0])
	}
	return fmt.Sprintf(" Pixels %s are missing, as the file has it.", strings.Join(words, ", "))
}

// stripOf is the place in the machine's file of a strip in data order.
func (r *Run) stripOf(strip int) int {
	for i := range r.m.Strips {
		if r.m.Strips[i].Name == r.lay.Strips[strip].Name {
			return i
		}
	}
	return strip
}

// ends are words for both ends of a strip's path.
func ends(s *show.Strip) (start, end string) {
	a, b := s.Path[0], s.Path[len(s.Path)-1]
	dx, dy := float64(b[0]-a[0]), float64(b[1]-a[1])
	switch {
	case dx == 0 && dy == 0:
		return "at the one end where it was soldered to the line", "at the other"
	case math.Abs(dx) >= math.Abs(dy) && dx > 0:
		return "at its left end", "at its right end"
	case math.Abs(dx) >= math.Abs(dy):
		return "at its right end", "at its left end"
	case dy > 0:
		return "at its lower end", "at its upper end"
	}
	return "at its upper end", "at its lower end"
}

// closed tells whether a path is a ring, whose ends are one place.
func closed(s *show.Strip) bool { return s.Path[0] == s.Path[len(s.Path)-1] }

// shorter takes "at its" off.
func shorter(end string) string { return strings.TrimPrefix(end, "at its ") }

// along is where a pixel stands on its strip, in millimetres from the first one.
func (r *Run) along(strip, index int) float64 {
	s := &r.lay.Strips[strip]
	return r.lay.Pixels[s.First+index].Along * s.Length
}

// spotText names a pixel for people.
func (r *Run) spotText(strip, index int) string {
	p := &r.lay.Pixels[r.lay.Strips[strip].First+index]
	return fmt.Sprintf("pixel %d, %.0f mm along the strip, at x %.0f mm, y %.0f mm", index, r.along(strip, index), p.X, p.Y)
}

// bisect finds the greatest n of least..most for which ok(n) holds, when it holds
// for least and, once it does not, for no greater one. It asks log2 times.
func bisect(least, most int, ok func(n int) (bool, error)) (int, error) {
	for least < most {
		middle := (least + most + 1) / 2
		yes, err := ok(middle)
		if err != nil {
			return 0, err
		}
		if yes {
			least = middle
		} else {
			most = middle - 1
		}
	}
	return least, nil
}
