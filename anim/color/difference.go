package color

import (
	"math"

	"paneglow/anim/portable"
)

// DeltaE2000 is the CIEDE2000 difference of two CIELAB colors (Sharma, Wu,
// Dalal, Color Res. Appl. 30, 21, 2005), all weights 1.
func DeltaE2000(lab1, lab2 [3]float64) float64 {
	deg := func(r float64) float64 { return r * (180 / math.Pi) }
	rad := func(d float64) float64 { return d * (math.Pi / 180) }
	pow7 := func(c float64) float64 { return portable.Pow(c, 7) }
	const p25 = 6103515625.0 // 25^7

	c1 := math.Hypot(lab1[1], lab1[2])
	c2 := math.Hypot(lab2[1], lab2[2])
	cm := pow7((c1 + c2) / 2)
	g := 0.5 * (1 - math.Sqrt(cm/(cm+p25)))
	a1, a2 := (1+g)*lab1[1], (1+g)*lab2[1]
	c1, c2 = math.Hypot(a1, lab1[2]), math.Hypot(a2, lab2[2])
	h1 := mod360(deg(portable.Atan2(lab1[2], a1)))
	h2 := mod360(deg(portable.Atan2(lab2[2], a2)))

	dL, dC := lab2[0]-lab1[0], c2-c1
	dh, hm := 0.0, h1+h2
	if c1*c2 != 0 {
		dh = h2 - h1
		if dh > 180 {
			dh -= 360
		} else if dh < -180 {
			dh += 360
		}
		switch {
		case math.Abs(h1-h2) <= 180:
			hm = (h1 + h2) / 2
		case h1+h2 < 360:
			hm = (h1 + h2 + 360) / 2
		default:
			hm = (h1 + h2 - 360) / 2
		}
	}
	dH := 2 * math.Sqrt(c1*c2) * portable.Sin(rad(dh/2))
	lm, cm1 := (lab1[0]+lab2[0])/2, (c1+c2)/2
	t := 1 - 0.17*portable.Cos(rad(hm-30)) + 0.24*portable.Cos(rad(2*hm)) +
		0.32*portable.Cos(rad(3*hm+6)) - 0.20*portable.Cos(rad(4*hm-63))
	l50 := (lm - 50) * (lm - 50)
	sl := 1 + 0.015*l50/math.Sqrt(20+l50)
	sc := 1 + 0.045*cm1
	sh := 1 + 0.015*cm1*t
	turn := (hm - 275) / 25
	rt := -2 * math.Sqrt(pow7(cm1)/(pow7(cm1)+p25)) * portable.Sin(rad(60*portable.Exp(-turn*turn)))
	l, c, h := dL/sl, dC/sc, dH/sh
	return math.Sqrt(l*l + c*c + h*h + rt*c*h)
}
