package drive

import (
	"fmt"
	"math"

	"paneglow/anim/color"
	"paneglow/anim/show"
)

type (
	vec = [3]float64
	mat [3]vec // rows
)

func (m mat) mul(v vec) vec {
	var r vec
	for i := range r {
		r[i] = float64(m[i][0]*v[0]) + float64(m[i][1]*v[1]) + float64(m[i][2]*v[2])
	}
	return r
}

func (m mat) times(n mat) mat {
	var r mat
	for j := range 3 {
		c := m.mul(vec{n[0][j], n[1][j], n[2][j]})
		for i := range 3 {
			r[i][j] = c[i]
		}
	}
	return r
}

func (m mat) inverse() (mat, bool) {
	d := func(a, b, c, e float64) float64 { return float64(a*b) - float64(c*e) }
	r := mat{
		{d(m[1][1], m[2][2], m[1][2], m[2][1]), d(m[0][2], m[2][1], m[0][1], m[2][2]), d(m[0][1], m[1][2], m[0][2], m[1][1])},
		{d(m[1][2], m[2][0], m[1][0], m[2][2]), d(m[0][0], m[2][2], m[0][2], m[2][0]), d(m[0][2], m[1][0], m[0][0], m[1][2])},
		{d(m[1][0], m[2][1], m[1][1], m[2][0]), d(m[0][1], m[2][0], m[0][0], m[2][1]), d(m[0][0], m[1][1], m[0][1], m[1][0])},
	}
	det := float64(m[0][0]*r[0][0]) + float64(m[0][1]*r[1][0]) + float64(m[0][2]*r[2][0])
	scale := 0.0
	for i := range m {
		for j := range m {
			scale = math.Max(scale, math.Abs(m[i][j]))
		}
	}
	if math.Abs(det) < 1e-9*scale*scale*scale {
		return mat{}, false
	}
	for i := range r {
		for j := range r {
			r[i][j] /= det
		}
	}
	return r, true
}

// DieXYZ is a die's intensity at full duty as CIE X, Y, Z in millicandela
// (Y is the luminous intensity).
func DieXYZ(d show.Die) ([3]float64, error) {
	var x, y float64
	var err error
	if d.Temperature > 0 {
		x, y, err = Daylight(float64(d.Temperature))
	} else {
		x, y, err = Chromaticity(float64(d.Wavelength))
	}
	if err != nil {
		return vec{}, err
	}
	if d.Intensity <= 0 {
		return vec{}, fmt.Errorf("a die of intensity %v lights nothing: give its millicandela from the data sheet", d.Intensity)
	}
	i := float64(d.Intensity)
	return vec{float64(i * (x / y)), i, float64(i * ((1 - x - y) / y))}, nil
}

// linearToXYZ has the rational coefficients of CSS Color 4.
var linearToXYZ = mat{
	{506752.0 / 1228815, 87881.0 / 245763, 12673.0 / 70218},
	{87098.0 / 409605, 175762.0 / 245763, 12673.0 / 175545},
	{7918.0 / 409605, 87881.0 / 737289, 1001167.0 / 1053270},
}

func newMatrix(p *show.Part) (matrix, error) {
	var dies mat
	for c, name := range []string{"red", "green", "blue"} {
		v, err := DieXYZ(p.Light[c])
		if err != nil {
			return matrix{}, fmt.Errorf("%s: %w", name, err)
		}
		for i := range v {
			dies[i][c] = v[i]
		}
	}
	inv, ok := dies.inverse()
	if !ok {
		return matrix{}, fmt.Errorf("its three dies have chromaticities on one line, so they cannot mix a white: check their wavelengths")
	}
	all := inv.times(linearToXYZ)
	white := all.mul(vec{1, 1, 1})
	if min(white[0], white[1], white[2]) <= 0 {
		return matrix{}, fmt.Errorf("its dies cannot mix D65 white: check their wavelengths")
	}
	most := max(white[0], white[1], white[2])
	out := matrix{}
	if p.Dies() == 4 {
		// The scale stays that of the three coloured dies: a white die often
		// outshines them, and a white brighter than they can follow would pull
		// every saturated color out of reach. The white die carries what it can
		// of each color, which costs less current.
		v, err := DieXYZ(p.Light[3])
		if err != nil {
			return matrix{}, fmt.Errorf("white: %w", err)
		}
		w := inv.mul(v)
		for c := range w {
			out.w[c] = float32(w[c])
		}
		out.white = true
	}
	for i := range 3 {
		for j := range 3 {
			out.m[3*i+j] = float32(all[i][j] / most)
		}
	}
	return out, nil
}

// White is the drive of the show's white on a part, R, G, B[, W].
func White(p *show.Part) ([]float32, error) {
	m, err := newMatrix(p)
	if err != nil {
		return nil, err
	}
	one := []color.Light{{1, 1, 1}}
	if m.white {
		d := make([]float32, 4)
		m.apply4(d, one)
		return d, nil
	}
	d := make([]float32, 3)
	m.apply3(d, one)
	return d, nil
}
