package color

import (
	"math"

	"paneglow/anim/portable"
)

// CIE 15: the exact rationals, so that the two branches meet.
const (
	labEps   = 216.0 / 24389
	labKappa = 24389.0 / 27
)

func labToXYZ(v, white vec) vec {
	fy := (v[0] + 16) / 116
	f := vec{fy + v[1]/500, fy, fy - v[2]/200}
	var r vec
	for i, t := range f {
		if t3 := float64(t * float64(t*t)); t3 > labEps {
			r[i] = float64(t3 * white[i])
		} else {
			r[i] = float64((float64(116*t) - 16) / labKappa * white[i])
		}
	}
	// Y has its own branch on L, which is exact at the join.
	if v[0] <= labKappa*labEps {
		r[1] = float64(v[0] / labKappa * white[1])
	}
	return r
}

func xyzToLab(x, white vec) vec {
	var f vec
	for i := range f {
		if t := x[i] / white[i]; t > labEps {
			f[i] = portable.Cbrt(t)
		} else {
			f[i] = (float64(labKappa*t) + 16) / 116
		}
	}
	return vec{float64(116*f[1]) - 16, float64(500 * (f[0] - f[1])), float64(200 * (f[1] - f[2]))}
}

// LabD65 is CIELAB relative to D65: L 0..100.
func (c Color) LabD65() [3]float64 { return xyzToLab(c.toXYZ(), d65) }

// Lightness turns CIE 1976 lightness p, as 0..1 instead of 0..100, into linear
// light: Lightness(0.5) = 0.184. Below 0.08 it is the straight part; negative
// values continue it.
func Lightness(p float64) float64 {
	if p <= labKappa*labEps/100 {
		return float64(p*100) / labKappa
	}
	t := (float64(p*100) + 16) / 116
	return float64(t * float64(t*t))
}

// LightnessOf is the inverse of Lightness: linear light to lightness 0..1.
func LightnessOf(y float64) float64 {
	if y <= labEps {
		return float64(labKappa*y) / 100
	}
	return (float64(116*portable.Cbrt(y)) - 16) / 100
}

// OKLab matrices of CSS Color 4 (Ottosson's, recomputed so that D65 is exactly
// 1 0 0).
var (
	oklabM1 = mat{
		{0.8190224379967030, 0.3619062600528904, -0.1288737815209879},
		{0.0329836539323885, 0.9292868615863434, 0.0361446663506424},
		{0.0481771893596242, 0.2642395317527308, 0.6335478284694309},
	}
	oklabM2 = mat{
		{0.2104542683093140, 0.7936177747023054, -0.0040720430116193},
		{1.9779985324311684, -2.4285922420485799, 0.4505937096174110},
		{0.0259040424655478, 0.7827717124575296, -0.8086757549230774},
	}
	oklabM1inv = oklabM1.inverse()
	oklabM2inv = oklabM2.inverse()
)

func xyzToOKLab(x vec) vec { return oklabM2.mul(each(oklabM1.mul(x), portable.Cbrt)) }

func oklabToXYZ(v vec) vec {
	return oklabM1inv.mul(each(oklabM2inv.mul(v), func(t float64) float64 { return float64(t * float64(t*t)) }))
}

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
