package color

import "paneglow/anim/portable"

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
	oklabM1inv = oklabM1.MustInverse()
	oklabM2inv = oklabM2.MustInverse()
)

func xyzToOKLab(x vec) vec { return oklabM2.Mul(each(oklabM1.Mul(x), portable.Cbrt)) }

func oklabToXYZ(v vec) vec {
	return oklabM1inv.Mul(each(oklabM2inv.Mul(v), func(t float64) float64 { return float64(t * float64(t*t)) }))
}
