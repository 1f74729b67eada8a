package model

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"paneglow/anim/show"
	"paneglow/anim/unit"
)

// backdrop is which photo lies behind the panel, and how. It is kept beside the
// machine file, not in it: it says nothing about the machine, most panels have
// none, and moving a mark must neither prove the show again nor ask to be saved.
type backdrop struct {
	Photo string // a path, relative to the file's folder
	Marks []mark // none, or two
}

// mark is a point of the photo whose place on the panel is known.
type mark struct {
	Pixel Point // of the photo, to the right and down from its upper left corner
	At    Point // mm on the panel
}

// backdropPath is the file beside a machine file: machine.toml has
// machine.backdrop.toml.
func backdropPath(machine string) string {
	return strings.TrimSuffix(machine, filepath.Ext(machine)) + ".backdrop.toml"
}

// fileMark is a mark as the file has it.
type fileMark struct {
	Pixel []float64 `toml:"pixel"`
	At    []string  `toml:"at"`
}

// parseBackdrop reads the file. It refuses what it does not know.
func parseBackdrop(b []byte) (backdrop, error) {
	var f struct {
		Photo string     `toml:"photo"`
		Mark  []fileMark `toml:"mark"`
	}
	d := toml.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		var strict *toml.StrictMissingError
		if errors.As(err, &strict) && len(strict.Errors) > 0 {
			row, _ := strict.Errors[0].Position()
			return backdrop{}, fmt.Errorf("line %d: unknown key %q; known are photo, mark, pixel, at", row, strings.Join(strict.Errors[0].Key(), "."))
		}
		var de *toml.DecodeError
		if errors.As(err, &de) {
			row, column := de.Position()
			return backdrop{}, fmt.Errorf("line %d, column %d: %w", row, column, err)
		}
		return backdrop{}, err
	}
	out := backdrop{Photo: f.Photo}
	if len(f.Mark) != 0 && len(f.Mark) != 2 {
		return out, fmt.Errorf("%d marks, there are two or none", len(f.Mark))
	}
	for i, k := range f.Mark {
		if len(k.Pixel) != 2 || len(k.At) != 2 {
			return out, fmt.Errorf(`mark %d: write pixel = [120.5, 880.0] and at = ["0 mm", "0 mm"]`, i+1)
		}
		m := mark{Pixel: Point{k.Pixel[0], k.Pixel[1]}}
		for j, to := range []*float64{&m.At.X, &m.At.Y} {
			v, err := unit.ParseLength(k.At[j])
			if err != nil {
				return out, fmt.Errorf("mark %d: %w", i+1, err)
			}
			*to = float64(v)
		}
		if math.IsNaN(m.Pixel.X+m.Pixel.Y) || math.Abs(m.Pixel.X) > 1e6 || math.Abs(m.Pixel.Y) > 1e6 {
			return out, fmt.Errorf("mark %d: pixel [%g, %g] is on no photo", i+1, m.Pixel.X, m.Pixel.Y)
		}
		out.Marks = append(out.Marks, m)
	}
	if len(out.Marks) == 2 {
		if _, err := mapBy(out.Marks[0], out.Marks[1]); err != nil {
			return out, err
		}
	}
	return out, nil
}

// text is the file.
func (b backdrop) text() []byte {
	var s strings.Builder
	s.WriteString("# The photo behind the panel in the window's layout. pixel: to the right and\n# down from the photo's upper left corner; at: where that is on the panel.\n")
	fmt.Fprintf(&s, "photo = %s\n", show.Quote(b.Photo))
	for _, m := range b.Marks {
		fmt.Fprintf(&s, "\n[[mark]]\npixel = [%.1f, %.1f]\nat = [%s, %s]\n", m.Pixel.X, m.Pixel.Y, show.Quote(show.Millimetres(unit.Length(m.At.X))), show.Quote(show.Millimetres(unit.Length(m.At.Y))))
	}
	return []byte(s.String())
}

// readBackdrop reads the file beside a machine; there may be none.
func readBackdrop(machine string) (backdrop, error) {
	path := backdropPath(machine)
	b, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return backdrop{}, nil
	}
	if err == nil && len(b) > show.MaxFile {
		err = fmt.Errorf("it has more than %d bytes", show.MaxFile)
	}
	if err != nil {
		return backdrop{}, fmt.Errorf("%s cannot be read: %w", filepath.Base(path), err)
	}
	out, err := parseBackdrop(b)
	if err != nil {
		return backdrop{}, fmt.Errorf("%s, %w; mend it, or remove it and mark the photo again", filepath.Base(path), err)
	}
	return out, nil
}

// mapping takes photo pixels to millimetres by a turn, a scale and a shift:
// x = a·px - b·py' + x0, y = b·px + a·py' + y0 with py' = -py, as pixels count
// downwards. A photo taken at a slant needs more than that: it should be taken
// from straight before the panel and from afar.
type mapping struct{ a, b, x0, y0 float64 }

// mapBy is the mapping that puts two marks where they belong.
func mapBy(p, q mark) (mapping, error) {
	dx, dy := q.Pixel.X-p.Pixel.X, -(q.Pixel.Y - p.Pixel.Y)
	ux, uy := q.At.X-p.At.X, q.At.Y-p.At.Y
	switch {
	case math.Hypot(dx, dy) < 2:
		return mapping{}, errors.New("both marks are on the same point of the photo: mark two that are far apart")
	case math.Hypot(ux, uy) < 1:
		return mapping{}, errors.New("both marks have the same place on the panel: type where each of them is")
	}
	l := dx*dx + dy*dy
	m := mapping{a: (ux*dx + uy*dy) / l, b: (uy*dx - ux*dy) / l}
	at := m.mm(p.Pixel)
	m.x0, m.y0 = p.At.X-at.X, p.At.Y-at.Y
	return m, nil
}

// mapWhole shows a whole photo over a panel, before it was marked.
func mapWhole(w, h int, width, height float64) mapping {
	k := math.Max(width/float64(w), height/float64(h))
	return mapping{a: k, x0: (width - k*float64(w)) / 2, y0: (height + k*float64(h)) / 2}
}

// mm is where a pixel of the photo is on the panel.
func (m mapping) mm(px Point) Point {
	return Point{m.a*px.X + m.b*px.Y + m.x0, m.b*px.X - m.a*px.Y + m.y0}
}

// pixel is what of the photo is at a place of the panel.
func (m mapping) pixel(mm Point) Point {
	x, y := mm.X-m.x0, mm.Y-m.y0
	l := m.a*m.a + m.b*m.b
	return Point{(m.a*x + m.b*y) / l, (m.b*x - m.a*y) / l}
}

// scale is millimetres a pixel; turn is how far the photo is turned, degrees
// counterclockwise.
func (m mapping) scale() float64 { return math.Hypot(m.a, m.b) }
func (m mapping) turn() float64  { return math.Atan2(m.b, m.a) * 180 / math.Pi }
