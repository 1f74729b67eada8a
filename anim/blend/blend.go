// Package blend puts one layer of light over another with the blend modes of
// W3C Compositing and Blending 1.
//
// Everything here works on linear light, so that an opacity of 0.5 sends half
// the photons, and "plus-lighter" is what two lamps on one sheet of glass do.
// The standard defines the modes on 0..1; normal, plus-lighter, multiply,
// darken, lighten and difference take light as it comes, the others clamp
// their inputs to 0..1 first.
package blend

import (
	"fmt"
	"math"
	"strings"

	"paneglow/anim/color"
)

// Mode is a blend mode.
type Mode uint8

const (
	Normal Mode = iota
	Multiply
	Screen
	Overlay
	Darken
	Lighten
	ColorDodge
	ColorBurn
	HardLight
	SoftLight
	Difference
	Exclusion
	Hue
	Saturation
	Color
	Luminosity
	PlusLighter
	modeCount
)

var names = [modeCount]string{
	"normal", "multiply", "screen", "overlay", "darken", "lighten", "color-dodge", "color-burn",
	"hard-light", "soft-light", "difference", "exclusion", "hue", "saturation", "color", "luminosity", "plus-lighter",
}

// String is the mode's CSS name.
func (m Mode) String() string { return names[m] }

// Parse reads a mode's CSS name; "" is normal.
func Parse(name string) (Mode, error) {
	if name == "" {
		return Normal, nil
	}
	for i, n := range names {
		if n == strings.ToLower(name) {
			return Mode(i), nil
		}
	}
	return 0, fmt.Errorf("no blend mode %q: use one of %s", name, strings.Join(names[:], ", "))
}

// Over puts src over the opaque backdrop dst in place, with an alpha of 0..1:
// dst = (1-alpha) dst + alpha B(dst, src). PlusLighter adds alpha src instead.
// It allocates nothing.
func Over(dst *color.Light, src color.Light, alpha float32, m Mode) {
	if m == PlusLighter {
		for i := range dst {
			dst[i] += float32(alpha * src[i])
		}
		return
	}
	b := src
	if m != Normal {
		b = Mix(*dst, src, m)
	}
	keep := 1 - alpha
	for i := range dst {
		dst[i] = float32(keep*dst[i]) + float32(alpha*b[i])
	}
}

// Mix is the mode's blend function B(backdrop, source).
func Mix(cb, cs color.Light, m Mode) color.Light {
	switch m {
	case Normal:
		return cs
	case PlusLighter:
		return color.Light{cb[0] + cs[0], cb[1] + cs[1], cb[2] + cs[2]}
	case Hue:
		return setLum(setSat(unit(cs), sat(unit(cb))), lum(unit(cb)))
	case Saturation:
		return setLum(setSat(unit(cb), sat(unit(cs))), lum(unit(cb)))
	case Color:
		return setLum(unit(cs), lum(unit(cb)))
	case Luminosity:
		return setLum(unit(cb), lum(unit(cs)))
	}
	var r color.Light
	for i := range r {
		r[i] = separable(cb[i], cs[i], m)
	}
	return r
}

func clamp(x float32) float32 { return min(max(x, 0), 1) }

func unit(c color.Light) color.Light { return color.Light{clamp(c[0]), clamp(c[1]), clamp(c[2])} }

func separable(b, s float32, m Mode) float32 {
	switch m {
	case Multiply:
		return b * s
	case Darken:
		return min(b, s)
	case Lighten:
		return max(b, s)
	case Difference:
		if b > s {
			return b - s
		}
		return s - b
	}
	b, s = clamp(b), clamp(s)
	screen := func(b, s float32) float32 { return b + s - float32(b*s) }
	hard := func(b, s float32) float32 {
		if s <= 0.5 {
			return float32(b * float32(2*s))
		}
		return screen(b, float32(2*s)-1)
	}
	switch m {
	case Screen:
		return screen(b, s)
	case Overlay:
		return hard(s, b)
	case HardLight:
		return hard(b, s)
	case ColorDodge:
		switch {
		case b == 0:
			return 0
		case s == 1:
			return 1
		}
		return min(1, b/(1-s))
	case ColorBurn:
		switch {
		case b == 1:
			return 1
		case s == 0:
			return 0
		}
		return 1 - min(1, (1-b)/s)
	case SoftLight:
		if s <= 0.5 {
			return b - float32(float32(float32(1-float32(2*s))*b)*(1-b))
		}
		d := float32(math.Sqrt(float64(b)))
		if b <= 0.25 {
			d = float32(float32(float32(float32(float32(16*b)-12)*b)+4) * b)
		}
		return b + float32(float32(float32(2*s)-1)*(d-b))
	default: // Exclusion
		return b + s - float32(2*float32(b*s))
	}
}

// The non-separable modes weigh the channels as the standard does, whatever
// the encoding.
func lum(c color.Light) float32 {
	return float32(0.3*c[0]) + float32(0.59*c[1]) + float32(0.11*c[2])
}

func sat(c color.Light) float32 {
	return max(c[0], c[1], c[2]) - min(c[0], c[1], c[2])
}

func setLum(c color.Light, l float32) color.Light {
	d := l - lum(c)
	for i := range c {
		c[i] += d
	}
	l = lum(c)
	lo, hi := min(c[0], c[1], c[2]), max(c[0], c[1], c[2])
	for i := range c {
		if lo < 0 {
			c[i] = l + float32(float32(c[i]-l)*l)/(l-lo)
		}
	}
	for i := range c {
		if hi > 1 {
			c[i] = l + float32(float32(c[i]-l)*(1-l))/(hi-l)
		}
	}
	return c
}

func setSat(c color.Light, s float32) color.Light {
	lo, hi := min(c[0], c[1], c[2]), max(c[0], c[1], c[2])
	if hi <= lo {
		return color.Light{}
	}
	for i := range c {
		c[i] = float32((c[i]-lo)*s) / (hi - lo)
	}
	return c
}
