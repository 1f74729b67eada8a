package model

import (
	"fmt"
	"math"

	"paneglow/anim/show"
	"paneglow/anim/unit"
)

// outline is a strip's path as it is drawn and pressed: points in millimetres of
// the panel, in data order. It is for the screen only; where pixels are for the
// controller is anim/layout's business.
type outline []Point

func outlineOf(s *show.Strip) outline {
	o := make(outline, len(s.Path))
	for i, p := range s.Path {
		o[i] = Point{float64(p[0]), float64(p[1])}
	}
	return o
}

// path is the outline as the file has it. Places that are those of old keep its
// exact figures; the others are rounded to a hundredth of a millimetre.
func (o outline) path(old [][2]unit.Length) [][2]unit.Length {
	out := make([][2]unit.Length, len(o))
	for i, p := range o {
		out[i] = [2]unit.Length{hundredth(p.X), hundredth(p.Y)}
		for _, q := range old {
			if float64(q[0]) == p.X {
				out[i][0] = q[0]
			}
			if float64(q[1]) == p.Y {
				out[i][1] = q[1]
			}
		}
	}
	return out
}

func hundredth(mm float64) unit.Length { return unit.Length(math.Round(mm*100) / 100) }

func (o outline) length() float64 {
	sum := 0.0
	for i := 1; i < len(o); i++ {
		sum += math.Hypot(o[i].X-o[i-1].X, o[i].Y-o[i-1].Y)
	}
	return sum
}

// at is the place at a length from the first point, held to the ends, and the
// unit vector of the way there.
func (o outline) at(s float64) (p, way Point) {
	if len(o) == 0 {
		return Point{}, Point{1, 0}
	}
	way = Point{1, 0}
	for i := 1; i < len(o); i++ {
		d := Point{o[i].X - o[i-1].X, o[i].Y - o[i-1].Y}
		l := math.Hypot(d.X, d.Y)
		if l == 0 {
			continue
		}
		way = Point{d.X / l, d.Y / l}
		if s <= l {
			k := math.Max(s, 0)
			return Point{o[i-1].X + k*way.X, o[i-1].Y + k*way.Y}, way
		}
		s -= l
	}
	return o[len(o)-1], way
}

// near is the leg nearest to a place, the leg from point i to the next, and how
// far away it is.
func (o outline) near(p Point) (leg int, distance float64) {
	distance = math.Inf(1)
	if len(o) == 1 {
		return 0, math.Hypot(p.X-o[0].X, p.Y-o[0].Y)
	}
	for i := 1; i < len(o); i++ {
		a, b := o[i-1], o[i]
		dx, dy := b.X-a.X, b.Y-a.Y
		t := 0.0
		if l := dx*dx + dy*dy; l > 0 {
			t = math.Min(math.Max(((p.X-a.X)*dx+(p.Y-a.Y)*dy)/l, 0), 1)
		}
		if d := math.Hypot(p.X-a.X-t*dx, p.Y-a.Y-t*dy); d < distance {
			leg, distance = i-1, d
		}
	}
	return leg, distance
}

// dot is a pixel on an outline.
type dot struct {
	index           int
	at, way         Point
	hidden, missing bool
	// aside is how many hidden pixels stand between this hidden one and its
	// neighbour: they share a place on the panel and are drawn beside it.
	aside int
}

// dotsOf places a strip's pixels: visible ones evenly from the first point to
// the last, hidden ones at the neighbour before them.
func dotsOf(s *show.Strip, part *show.Part) []dot {
	if part == nil || len(s.Path) == 0 || s.Pixels < 1 || s.Pixels > show.MaxPixels || part.LEDsPerPixel < 1 {
		return nil
	}
	dots := make([]dot, s.Pixels)
	for i := range dots {
		dots[i].index = i
	}
	for _, n := range s.Hidden {
		if n >= 0 && n < s.Pixels {
			dots[n].hidden = true
		}
	}
	for _, n := range s.Missing {
		if n >= 0 && n < s.Pixels {
			dots[n].missing = true
		}
	}
	o, leds, per := outlineOf(s), s.VisibleLEDs(part), part.LEDsPerPixel
	step := 0.0
	if leds > 1 {
		step = o.length() / float64(leds-1)
	}
	place, run := 0, 0
	for i := range dots {
		d := &dots[i]
		if d.hidden {
			run++
			d.aside = run
			d.at, d.way = o.at(step * float64(max(place-1, 0)*per))
			continue
		}
		run = 0
		d.at, d.way = o.at(step * (float64(place*per) + float64(per-1)/2))
		place++
	}
	return dots
}

// fit is a path's length against what its pixels take.
type fit struct {
	have, want, pitch float64 // mm; pitch of LEDs
	pixels            int     // that the length takes, hidden ones included
	known             bool    // there is a part and a path to compare
}

func fitOf(s *show.Strip, part *show.Part) fit {
	if part == nil || part.Pitch <= 0 || part.LEDsPerPixel < 1 || len(s.Path) == 0 || s.Pixels < 1 {
		return fit{}
	}
	step, leds := float64(part.Pitch.Step()), s.VisibleLEDs(part)
	have := outlineOf(s).length()
	hidden := s.Pixels - leds/part.LEDsPerPixel
	return fit{
		have: have, want: float64(max(leds-1, 0)) * step, pitch: step, known: true,
		pixels: pixelsIn(have, part) + hidden,
	}
}

// pixelsIn is how many pixels a length takes, to the nearest.
func pixelsIn(mm float64, part *show.Part) int {
	return max(1, int(math.Floor((mm/float64(part.Pitch.Step())+1)/float64(part.LEDsPerPixel)+0.5)))
}

// holds tells that the check of the file lets it pass: half a pitch may be off.
func (f fit) holds() bool { return f.known && math.Abs(f.have-f.want) <= f.pitch/2 }

// words is the fit in a line.
func (f fit) words(pixels int) string {
	if !f.known {
		return "no part or no path: nothing to compare"
	}
	d := f.have - f.want
	rest := "fits"
	switch {
	case !f.holds() && d > 0:
		rest = fmt.Sprintf("%.1f mm too long (half a pitch, %.1f mm, may be off)", d, f.pitch/2)
	case !f.holds():
		rest = fmt.Sprintf("%.1f mm too short (half a pitch, %.1f mm, may be off)", -d, f.pitch/2)
	case math.Abs(d) >= 0.05:
		rest = fmt.Sprintf("fits, %+.1f mm", d)
	}
	return fmt.Sprintf("path %.1f mm; %s at this pitch take %.1f mm: %s", f.have, plural(pixels, "pixel"), f.want, rest)
}

// stretched moves the last point along its leg, so that the whole has a length.
// It is refused where the leg would have to turn round.
func (o outline) stretched(to float64) (outline, bool) {
	n := len(o)
	if n < 2 {
		return nil, false
	}
	before := o[:n-1].length()
	_, way := o.at(math.Inf(1))
	if to <= before || o.length() == before {
		return nil, false
	}
	out := append(outline(nil), o...)
	out[n-1] = Point{o[n-2].X + (to-before)*way.X, o[n-2].Y + (to-before)*way.Y}
	return out, true
}
