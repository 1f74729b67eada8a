package drive

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"
)

//go:embed cie1931/cie1931_2deg_5nm.csv
var observerCSV string

// observer holds xbar, ybar, zbar of the CIE 1931 standard observer, 380 to
// 780 nm in steps of 5 nm. See cie1931/NOTICE for source and licence.
var observer = sync.OnceValue(func() [][3]float64 {
	rows, err := csv.NewReader(strings.NewReader(observerCSV)).ReadAll()
	if err != nil {
		panic("drive: the embedded observer table is damaged: " + err.Error())
	}
	var t [][3]float64
	for _, r := range rows[1:] {
		var v [3]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(r[i+1], 64); err != nil {
				panic("drive: the embedded observer table is damaged: " + err.Error())
			}
		}
		t = append(t, v)
	}
	return t
})

// Chromaticity is the CIE 1931 x, y of monochromatic light of a wavelength in
// nanometres, 380 to 780: a cubic through the four nearest table rows. It is
// within 2e-4 of values from the CIE's 1 nm table (TestChromaticity).
//
// Real LED dies are a little less saturated than their dominant wavelength,
// green above all; the chromaticity of the dominant wavelength is the usual
// stand-in where no spectrum is at hand (common practice).
func Chromaticity(nm float64) (x, y float64, err error) {
	if !(nm >= 380 && nm <= 780) {
		return 0, 0, fmt.Errorf("wavelength %g nm is outside the visible range of 380 to 780 nm", nm)
	}
	t := observer()
	p := (nm - 380) / 5
	i := min(max(int(math.Floor(p))-1, 0), len(t)-4)
	u := p - float64(i) // 0..3 over the four rows
	w := [4]float64{
		-float64(float64((u-1)*(u-2))*(u-3)) / 6,
		float64(float64(u*(u-2))*(u-3)) / 2,
		-float64(float64(u*(u-1))*(u-3)) / 2,
		float64(float64(u*(u-1))*(u-2)) / 6,
	}
	var s [3]float64
	for k, wk := range w {
		for c := range s {
			s[c] += float64(wk * t[i+k][c])
		}
	}
	sum := s[0] + s[1] + s[2]
	return s[0] / sum, s[1] / sum, nil
}

// Daylight is the chromaticity of a CIE daylight phase, 4000 to 25000 K, used
// for white dies of a stated colour temperature. Below 4000 K it is the
// Planckian locus by the cubic of Kim et al. 2002, from 1667 K. Sources: CIE
// 15; US patent 7024034 as quoted in the colour-science library.
func Daylight(kelvin float64) (x, y float64, err error) {
	t := kelvin
	switch {
	case t >= 4000 && t <= 7000:
		x = -4.6070e9/(t*t*t) + 2.9678e6/(t*t) + 0.09911e3/t + 0.244063
	case t > 7000 && t <= 25000:
		x = -2.0064e9/(t*t*t) + 1.9018e6/(t*t) + 0.24748e3/t + 0.237040
	case t >= 1667 && t < 4000:
		x = -0.2661239e9/(t*t*t) - 0.2343589e6/(t*t) + 0.8776956e3/t + 0.179910
		if t <= 2222 {
			return x, float64(-1.1063814*x*x*x) - float64(1.34811020*x*x) + float64(2.18555832*x) - 0.20219683, nil
		}
		return x, float64(-0.9549476*x*x*x) - float64(1.37418593*x*x) + float64(2.09137015*x) - 0.16748867, nil
	default:
		return 0, 0, fmt.Errorf("colour temperature %g K is outside 1667 to 25000 K", kelvin)
	}
	return x, float64(-3*float64(x*x)) + float64(2.870*x) - 0.275, nil
}
