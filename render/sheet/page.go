package sheet

import (
	"fmt"
	"html"
	"math"
	"strings"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
)

const (
	width, height = 210.0, 297.0
	margin        = 10.0
	right         = width - margin
	bottom        = height - 12 // the foot line is below
)

// Pens: colour, and dashes for those that would look alike in grey.
type pen struct {
	color string
	wide  float64
	dash  string
}

var (
	ink    = pen{"#111", 0.25, ""}
	faint  = pen{"#999", 0.18, ""}
	plus   = pen{"#b3261e", 0.55, ""}
	minus  = pen{"#111", 0.55, ""}
	data   = pen{"#0b6b3a", 0.45, "1.6 0.9"}
	strips = pen{"#335c99", 1.1, ""}
	joint  = pen{"#111", 0.3, "0.7 0.5"}
)

// page is one SVG page being drawn, in millimetres from its upper left corner. It
// remembers where its texts are, for a test that none runs into another.
type page struct {
	b     strings.Builder
	texts []written
}

type written struct {
	box
	s string
}

func (p *page) tag(format string, args ...any) { fmt.Fprintf(&p.b, format+"\n", args...) }

// n prints a coordinate: hundredths of a millimetre are finer than ink.
func n(v float64) string {
	s := fmt.Sprintf("%.2f", v)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

func (q pen) style() string {
	s := fmt.Sprintf(`fill="none" stroke="%s" stroke-width="%s"`, q.color, n(q.wide))
	if q.dash != "" {
		s += fmt.Sprintf(` stroke-dasharray="%s"`, q.dash)
	}
	return s
}

func (p *page) line(q pen, xy ...float64) {
	var pts []string
	for i := 0; i < len(xy); i += 2 {
		pts = append(pts, n(xy[i])+","+n(xy[i+1]))
	}
	p.tag(`<polyline points="%s" %s/>`, strings.Join(pts, " "), q.style())
}

func (p *page) rect(q pen, x, y, w, h float64, fill string) {
	p.tag(`<rect x="%s" y="%s" width="%s" height="%s" fill="%s" stroke="%s" stroke-width="%s"/>`, n(x), n(y), n(w), n(h), fill, q.color, n(q.wide))
}

func (p *page) dot(x, y, r float64, fill, stroke string) {
	p.tag(`<circle cx="%s" cy="%s" r="%s" fill="%s" stroke="%s" stroke-width="0.25"/>`, n(x), n(y), n(r), fill, stroke)
}

// arrow is a filled head at x, y that points along dx, dy.
func (p *page) arrow(q pen, x, y, dx, dy, size float64) {
	l := math.Hypot(dx, dy)
	if l == 0 {
		return
	}
	dx, dy = dx/l*size, dy/l*size
	p.tag(`<polygon points="%s,%s %s,%s %s,%s" fill="%s"/>`, n(x), n(y), n(x-dx-dy*0.45), n(y-dy+dx*0.45), n(x-dx+dy*0.45), n(y-dy-dx*0.45), q.color)
}

// align is where a text's x is.
type align string

const (
	start  align = "start"
	middle align = "middle"
	end    align = "end"
)

// text writes one line with its baseline at y; size is in millimetres from one line
// to the next in Go's sense of a font size.
func (p *page) text(x, y, size float64, a align, s string) { p.write(x, y, size, a, s, "", "#111") }

func (p *page) bold(x, y, size float64, a align, s string) {
	p.write(x, y, size, a, s, ` font-weight="bold"`, "#111")
}

func (p *page) gray(x, y, size float64, a align, s string) { p.write(x, y, size, a, s, "", "#555") }

func (p *page) write(x, y, size float64, a align, s, more, color string) {
	w, left := wide(s, size), x
	switch a {
	case middle:
		left -= w / 2
	case end:
		left -= w
	}
	p.texts = append(p.texts, written{box{left, y - 0.75*size, left + w, y + 0.2*size}, s})
	p.tag(`<text x="%s" y="%s" font-size="%s" text-anchor="%s" fill="%s"%s>%s</text>`, n(x), n(y), n(size), a, color, more, html.EscapeString(s))
}

// bytes closes the page.
func (p *page) bytes(foot string) []byte {
	p.gray(margin, height-6.5, 2.4, start, foot)
	return []byte(`<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="210mm" height="297mm" viewBox="0 0 210 297" font-family="Arial, Helvetica, 'Liberation Sans', 'DejaVu Sans', sans-serif">
<rect width="210" height="297" fill="#fff"/>
` + p.b.String() + "</svg>\n")
}

var face = sync.OnceValues(func() (font.Face, error) {
	f, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return nil, err
	}
	return opentype.NewFace(f, &opentype.FaceOptions{Size: 100, DPI: 72})
})

// spare is what a font may be wider than Go Regular: DejaVu Sans, the widest of the
// usual ones, is so by a sixth, in bold by a quarter where headings are set.
const spare = 1.2

// wide is the most width of a text in millimetres.
func wide(s string, size float64) float64 {
	f, err := face()
	if err != nil {
		return float64(len(s)) * size * 0.7 // the font is part of the program: never
	}
	return float64(font.MeasureString(f, s)) / 64 / 100 * size * spare
}

// wrap breaks a text into lines of at most a width; a single longer word is cut.
func wrap(s string, size, most float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		for wide(word, size) > most && len([]rune(word)) > 1 {
			r := []rune(word)
			k := len(r) - 1
			for k > 1 && wide(string(r[:k]), size) > most {
				k--
			}
			if line != "" {
				lines = append(lines, line)
				line = ""
			}
			lines = append(lines, string(r[:k]))
			word = string(r[k:])
		}
		switch {
		case line == "":
			line = word
		case wide(line+" "+word, size) <= most:
			line += " " + word
		default:
			lines = append(lines, line)
			line = word
		}
	}
	if line != "" || len(lines) == 0 {
		lines = append(lines, line)
	}
	return lines
}

// name cuts the middle out of a name that is too wide: the end tells which it is.
func name(s string, size, most float64) string {
	r := []rune(s)
	cut := s
	for k := len(r) - 1; k > 3 && wide(cut, size) > most; k-- {
		cut = string(r[:k/2]) + "…" + string(r[len(r)-(k-k/2):])
	}
	return cut
}

// short cuts a text that is too wide and marks the cut.
func short(s string, size, most float64) string {
	if wide(s, size) <= most {
		return s
	}
	r := []rune(s)
	for len(r) > 1 && wide(string(r)+"…", size) > most {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}
