package drive

import (
	"fmt"

	"paneglow/anim/color"
	"paneglow/anim/portable"
	"paneglow/anim/show"
)

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
		return [3]float64{}, err
	}
	if d.Intensity <= 0 {
		return [3]float64{}, fmt.Errorf("a die of intensity %v lights nothing: give its millicandela from the data sheet", d.Intensity)
	}
	i := float64(d.Intensity)
	return [3]float64{float64(i * (x / y)), i, float64(i * ((1 - x - y) / y))}, nil
}

func newMatrix(p *show.Part) (matrix, error) {
	var dies portable.Matrix
	for c, name := range []string{"red", "green", "blue"} {
		v, err := DieXYZ(p.Light[c])
		if err != nil {
			return matrix{}, fmt.Errorf("%s: %w", name, err)
		}
		for i := range v {
			dies[i][c] = v[i]
		}
	}
	inv, ok := dies.Inverse()
	if !ok {
		return matrix{}, fmt.Errorf("its three dies have chromaticities on one line, so they cannot mix a white: check their wavelengths")
	}
	// The columns are the drives of pure red, green and blue light.
	var all portable.Matrix
	for j := range 3 {
		var l [3]float64
		l[j] = 1
		for i, v := range inv.Mul(color.XYZFromLinear(l)) {
			all[i][j] = v
		}
	}
	white := all.Mul([3]float64{1, 1, 1})
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
		w := inv.Mul(v)
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

// Relative is the light of each die at full duty as CIE X, Y, Z relative to the
// part's white: the drives of White add up to Y = 1.
func Relative(p *show.Part) (dies [4][3]float64, err error) {
	w, err := White(p)
	if err != nil {
		return dies, err
	}
	white := 0.0
	for c := range w {
		if dies[c], err = DieXYZ(p.Light[c]); err != nil {
			return dies, err
		}
		white += float64(float64(w[c]) * dies[c][1])
	}
	for c := range dies {
		for k := range dies[c] {
			dies[c][k] /= white
		}
	}
	return dies, nil
}
