package color

import (
	"fmt"
	"math"
	"strings"
)

// Hue is how a mix goes round the hue circle (CSS Color 4 section 12.4).
type Hue uint8

const (
	Shorter Hue = iota
	Longer
	Increasing
	Decreasing
)

var hueNames = [...]string{"shorter", "longer", "increasing", "decreasing"}

// String is the method's CSS name.
func (h Hue) String() string { return hueNames[h] }

// ParseHue reads a hue method's CSS name.
func ParseHue(name string) (Hue, error) {
	for i, n := range hueNames {
		if n == strings.ToLower(strings.TrimSpace(name)) {
			return Hue(i), nil
		}
	}
	return 0, fmt.Errorf("no hue method %q: use one of %s", name, strings.Join(hueNames[:], ", "))
}

// fix moves one of two hues by a full turn so that a straight line between
// them goes the wanted way.
func (h Hue) fix(a, b float64) (float64, float64) {
	d := b - a
	switch h {
	case Shorter:
		if d > 180 {
			a += 360
		} else if d < -180 {
			b += 360
		}
	case Longer:
		if d > 0 && d < 180 {
			a += 360
		} else if d > -180 && d <= 0 {
			b += 360
		}
	case Increasing:
		if d < 0 {
			b += 360
		}
	case Decreasing:
		if d > 0 {
			a += 360
		}
	}
	return a, b
}

// Mix goes from a (t = 0) to b (t = 1) in a space, as color-mix() does: missing
// components are taken from the other color, alpha is premultiplied, hues go
// the stated way round. t may leave 0..1. The result stays in the space and is
// not fitted to any gamut.
func Mix(a, b Color, t float64, space Space, hue Hue) Color {
	from, to := carry(a, space), carry(b, space)
	out := Color{Space: space}
	for i := range from.C {
		switch {
		case from.None[i] && to.None[i]:
			out.None[i] = true
		case from.None[i]:
			from.C[i] = to.C[i]
		case to.None[i]:
			to.C[i] = from.C[i]
		}
	}
	lerp := func(x, y float64) float64 { return float64(x*(1-t)) + float64(y*t) }
	out.Alpha = math.Min(math.Max(lerp(from.Alpha, to.Alpha), 0), 1)
	h := space.hueAt()
	for i := range out.C {
		if out.None[i] {
			continue
		}
		if i == h {
			p, q := hue.fix(mod360(from.C[i]), mod360(to.C[i]))
			out.C[i] = mod360(lerp(p, q))
			continue
		}
		if from.Alpha == 1 && to.Alpha == 1 {
			out.C[i] = lerp(from.C[i], to.C[i])
			continue
		}
		if out.Alpha > 0 {
			out.C[i] = lerp(float64(from.C[i]*from.Alpha), float64(to.C[i]*to.Alpha)) / out.Alpha
		}
	}
	return out
}

// carry converts for mixing: components that were missing and have a
// counterpart in the new space stay missing (CSS Color 4 section 12.2). Of the
// counterparts, hue and lightness matter to people; the others follow when the
// space does not change.
func carry(c Color, s Space) Color {
	out := c.In(s)
	if c.Space == s {
		return out
	}
	if f, t := c.Space.hueAt(), s.hueAt(); f >= 0 && t >= 0 && c.None[f] {
		out.None[t] = true
	}
	if f, t := c.Space.lightnessAt(), s.lightnessAt(); f >= 0 && t >= 0 && c.None[f] {
		out.None[t] = true
	}
	return out
}

func (s Space) lightnessAt() int {
	switch s {
	case Lab, LCH, OKLab, OKLCH:
		return 0
	case HSL:
		return 2
	}
	return -1
}

// Stop is a color stop of a gradient. Without a position the first stands at
// 0, the last at 1, others evenly between their neighbours.
type Stop struct {
	Color Color
	At    float64 // 0..1
	HasAt bool
}

// Gradient is a line of colors, as in CSS Images 4.
type Gradient struct {
	stops []Stop
	space Space
	hue   Hue
}

// NewGradient places the stops: positions are clamped to 0..1 and never go
// back; equal positions make a hard edge. It needs at least two stops.
func NewGradient(stops []Stop, space Space, hue Hue) (*Gradient, error) {
	if len(stops) < 2 {
		return nil, fmt.Errorf("a gradient needs at least 2 stops, got %d", len(stops))
	}
	g := &Gradient{stops: append([]Stop(nil), stops...), space: space, hue: hue}
	s := g.stops
	last := len(s) - 1
	if !s[0].HasAt {
		s[0].At, s[0].HasAt = 0, true
	}
	if !s[last].HasAt {
		s[last].At, s[last].HasAt = 1, true
	}
	floor := 0.0
	for i := range s {
		if s[i].HasAt {
			if math.IsNaN(s[i].At) {
				return nil, fmt.Errorf("stop %d has no number for a position", i+1)
			}
			s[i].At = math.Max(math.Min(math.Max(s[i].At, 0), 1), floor)
			floor = s[i].At
		}
	}
	for i := 1; i < last; i++ {
		if s[i].HasAt {
			continue
		}
		j := i
		for !s[j].HasAt {
			j++
		}
		step := (s[j].At - s[i-1].At) / float64(j-i+1)
		for k := i; k < j; k++ {
			s[k].At, s[k].HasAt = s[i-1].At+float64(step*float64(k-i+1)), true
		}
	}
	return g, nil
}

// At is the gradient's light at t; outside 0..1 the ends continue (pad).
func (g *Gradient) At(t float64) Light {
	s := g.stops
	if t < s[0].At || t != t {
		return s[0].Color.Light()
	}
	for i := len(s) - 1; i >= 0; i-- { // the last of equal positions wins
		if t >= s[i].At {
			if i == len(s)-1 {
				return s[i].Color.Light()
			}
			u := (t - s[i].At) / (s[i+1].At - s[i].At)
			return Mix(s[i].Color, s[i+1].Color, u, g.space, g.hue).Light()
		}
	}
	return s[0].Color.Light()
}
