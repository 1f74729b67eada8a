// Package color reads CSS Color 4 colors, mixes them in a chosen space and
// turns them into Light, the linear light that the rest of Paneglow works in.
//
// In: text as in a stylesheet ("oklch(85% 0.06 230)", "#fc8", "tomato"). Out:
// Color, which keeps the space it was written in, and Light (linear sRGB, D65,
// unclamped: colors outside sRGB keep their negative components and are fitted
// to the LEDs later). Alpha multiplies the light: half-transparent white is
// half as bright.
//
// Refused with an error: currentcolor and system colors (no page here), calc()
// and var(), color-mix() in text (use Mix or a gradient). Lab and LCh are
// relative to D50, as CSS has them; the D65 forms are separate functions.
//
// Everything is float64 over package portable, so the same text gives the same
// bits on every processor. Matrices are derived from the standards'
// chromaticities (IEC 61966-2-1, BT.709, BT.2020, SMPTE EG 432-1, ISO 22028-2,
// Adobe RGB as in CSS Color 4) and the Bradford cone matrix; OKLab uses the
// matrices of CSS Color 4, which make D65 white exactly achromatic.
package color

import (
	"fmt"
	"strings"

	"paneglow/anim/portable"
)

// Space names a color space of CSS Color 4.
type Space uint8

const (
	SRGB Space = iota
	SRGBLinear
	HSL
	HWB
	Lab // D50
	LCH // D50
	OKLab
	OKLCH
	XYZ // D65
	XYZD50
	DisplayP3
	A98RGB
	ProPhotoRGB
	Rec2020
	spaceCount
)

var spaceNames = [spaceCount]string{
	"srgb", "srgb-linear", "hsl", "hwb", "lab", "lch", "oklab", "oklch",
	"xyz", "xyz-d50", "display-p3", "a98-rgb", "prophoto-rgb", "rec2020",
}

// String is the space's CSS name.
func (s Space) String() string { return spaceNames[s] }

// ParseSpace reads a CSS name; "xyz-d65" is "xyz".
func ParseSpace(name string) (Space, error) {
	n := strings.ToLower(strings.TrimSpace(name))
	if n == "xyz-d65" {
		return XYZ, nil
	}
	for i, s := range spaceNames {
		if s == n {
			return Space(i), nil
		}
	}
	return 0, fmt.Errorf("no color space %q: use one of %s", name, strings.Join(spaceNames[:], ", "))
}

// hueAt is the index of the hue component, or -1.
func (s Space) hueAt() int {
	switch s {
	case HSL, HWB:
		return 0
	case LCH, OKLCH:
		return 2
	}
	return -1
}

// Color is a color as written: components in its space's own scale (rgb and
// percentages 0..1, hue in degrees, Lab L 0..100, OKLab L 0..1), which may
// leave the usual range. None marks missing components.
type Color struct {
	Space Space
	C     [3]float64
	None  [3]bool
	Alpha float64 // 0..1
}

// vec is three components, mat a 3 x 3 matrix by rows.
type (
	vec = [3]float64
	mat = portable.Matrix
)

// whiteXYZ is a white point with Y = 1 from its chromaticity.
func whiteXYZ(x, y float64) vec { return vec{x / y, 1, (1 - x - y) / y} }

var (
	// d65 and d50 as CSS Color 4 has them: from four-digit chromaticities.
	d65 = whiteXYZ(0.3127, 0.3290)
	d50 = whiteXYZ(0.3457, 0.3585)
)

// rgbToXYZ derives the matrix of an RGB space: primaries as columns, scaled so
// that equal parts give the white.
func rgbToXYZ(rx, ry, gx, gy, bx, by float64, white vec) mat {
	p := mat{
		{rx / ry, gx / gy, bx / by},
		{1, 1, 1},
		{(1 - rx - ry) / ry, (1 - gx - gy) / gy, (1 - bx - by) / by},
	}
	s := p.MustInverse().Mul(white)
	for i := range p {
		for j := range p {
			p[i][j] *= s[j]
		}
	}
	return p
}

var bradford = mat{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}

// adapt is the Bradford chromatic adaptation from one white to another.
func adapt(from, to vec) mat {
	f, t := bradford.Mul(from), bradford.Mul(to)
	var scale mat
	for i := range scale {
		scale[i][i] = t[i] / f[i]
	}
	return bradford.MustInverse().Times(scale).Times(bradford)
}

var (
	srgbToXYZ     = rgbToXYZ(0.64, 0.33, 0.30, 0.60, 0.15, 0.06, d65)
	p3ToXYZ       = rgbToXYZ(0.680, 0.320, 0.265, 0.690, 0.150, 0.060, d65)
	a98ToXYZ      = rgbToXYZ(0.64, 0.33, 0.21, 0.71, 0.15, 0.06, d65)
	rec2020ToXYZ  = rgbToXYZ(0.708, 0.292, 0.170, 0.797, 0.131, 0.046, d65)
	prophotoToXYZ = rgbToXYZ(0.734699, 0.265301, 0.159597, 0.840403, 0.036598, 0.000105, d50)
	d50ToD65      = adapt(d50, d65)
	d65ToD50      = adapt(d65, d50)

	xyzToSRGB     = srgbToXYZ.MustInverse()
	xyzToP3       = p3ToXYZ.MustInverse()
	xyzToA98      = a98ToXYZ.MustInverse()
	xyzToRec2020  = rec2020ToXYZ.MustInverse()
	xyzToProphoto = prophotoToXYZ.MustInverse()
)
