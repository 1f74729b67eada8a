package color

import (
	"math"

	"paneglow/anim/portable"
)

// Decode is the sRGB curve from encoded to linear (IEC 61966-2-1), mirrored for
// negative values as in CSS Color 4.
func Decode(c float64) float64 {
	a := math.Abs(c)
	if a <= 0.04045 {
		return c / 12.92
	}
	return math.Copysign(portable.Pow((a+0.055)/1.055, 2.4), c)
}

// Encode is the sRGB curve from linear to encoded, mirrored for negatives.
func Encode(l float64) float64 {
	a := math.Abs(l)
	if a <= 0.0031308 {
		return float64(12.92 * l)
	}
	return math.Copysign(float64(1.055*portable.Pow(a, 1/2.4))-0.055, l)
}

// power applies a signed exponent.
func power(c, e float64) float64 { return math.Copysign(portable.Pow(math.Abs(c), e), c) }

func each(v vec, f func(float64) float64) vec { return vec{f(v[0]), f(v[1]), f(v[2])} }

// toXYZ gives CIE XYZ relative to D65, white Y = 1. Missing components count
// as 0.
func (c Color) toXYZ() vec {
	v := c.C
	for i := range v {
		if c.None[i] {
			v[i] = 0
		}
	}
	switch c.Space {
	case SRGB:
		return srgbToXYZ.Mul(each(v, Decode))
	case SRGBLinear:
		return srgbToXYZ.Mul(v)
	case HSL:
		return srgbToXYZ.Mul(each(hslToRGB(v), Decode))
	case HWB:
		return srgbToXYZ.Mul(each(hwbToRGB(v), Decode))
	case Lab:
		return d50ToD65.Mul(labToXYZ(v, d50))
	case LCH:
		return d50ToD65.Mul(labToXYZ(fromPolar(v), d50))
	case OKLab:
		return oklabToXYZ(v)
	case OKLCH:
		return oklabToXYZ(fromPolar(v))
	case XYZD50:
		return d50ToD65.Mul(v)
	case DisplayP3:
		return p3ToXYZ.Mul(each(v, Decode))
	case A98RGB:
		return a98ToXYZ.Mul(each(v, func(x float64) float64 { return power(x, 563.0/256) }))
	case ProPhotoRGB:
		return d50ToD65.Mul(prophotoToXYZ.Mul(each(v, func(x float64) float64 {
			if math.Abs(x) <= 16.0/512 {
				return x / 16
			}
			return power(x, 1.8)
		})))
	case Rec2020:
		return rec2020ToXYZ.Mul(each(v, decode2020))
	default: // XYZ
		return v
	}
}

// The BT.2020 curve's constants at full precision.
const alpha2020, beta2020 = 1.09929682680944, 0.018053968510807

func decode2020(x float64) float64 {
	if math.Abs(x) < beta2020*4.5 {
		return x / 4.5
	}
	return math.Copysign(portable.Pow((math.Abs(x)+alpha2020-1)/alpha2020, 1/0.45), x)
}

func encode2020(x float64) float64 {
	if math.Abs(x) <= beta2020 {
		return float64(4.5 * x)
	}
	return math.Copysign(float64(alpha2020*portable.Pow(math.Abs(x), 0.45))-(alpha2020-1), x)
}

// In converts to another space. A hue that the conversion leaves without
// meaning becomes missing, as in CSS Color 4 section 12.2.
func (c Color) In(s Space) Color {
	if c.Space == s {
		return c
	}
	out := Color{Space: s, Alpha: c.Alpha}
	x := c.toXYZ()
	rgb := func() vec { return c.encoded(x) }
	switch s {
	case SRGB:
		out.C = rgb()
	case SRGBLinear:
		switch c.Space {
		case SRGB, HSL, HWB:
			out.C = each(rgb(), Decode)
		default:
			out.C = xyzToSRGB.Mul(x)
		}
	case HSL:
		out.C = rgbToHSL(rgb())
		out.None[0] = out.C[1] <= 1e-5
	case HWB:
		out.C = rgbToHWB(rgb())
		out.None[0] = out.C[1]+out.C[2] >= 1-1e-5
	case Lab:
		out.C = xyzToLab(d65ToD50.Mul(x), d50)
	case LCH:
		out.C = toPolar(xyzToLab(d65ToD50.Mul(x), d50))
		out.None[2] = out.C[1] <= 0.0015
	case OKLab:
		out.C = xyzToOKLab(x)
	case OKLCH:
		out.C = toPolar(xyzToOKLab(x))
		out.None[2] = out.C[1] <= 4e-6
	case XYZ:
		out.C = x
	case XYZD50:
		out.C = d65ToD50.Mul(x)
	case DisplayP3:
		out.C = each(xyzToP3.Mul(x), Encode)
	case A98RGB:
		out.C = each(xyzToA98.Mul(x), func(v float64) float64 { return power(v, 256.0/563) })
	case ProPhotoRGB:
		out.C = each(xyzToProphoto.Mul(d65ToD50.Mul(x)), func(v float64) float64 {
			if math.Abs(v) <= 1.0/512 {
				return float64(16 * v)
			}
			return power(v, 1/1.8)
		})
	case Rec2020:
		out.C = each(xyzToRec2020.Mul(x), encode2020)
	}
	for i, none := range out.None {
		if none {
			out.C[i] = 0
		}
	}
	return out
}

// encoded is the color as encoded sRGB, x being its XYZ. Spaces that are
// rewritings of sRGB go straight there: a round trip through XYZ would leave
// greys with a trace of a hue.
func (c Color) encoded(x vec) vec {
	v := c.C
	for i := range v {
		if c.None[i] {
			v[i] = 0
		}
	}
	switch c.Space {
	case SRGB:
		return v
	case HSL:
		return hslToRGB(v)
	case HWB:
		return hwbToRGB(v)
	case SRGBLinear:
		return each(v, Encode)
	}
	return each(xyzToSRGB.Mul(x), Encode)
}

// LinearFromXYZ turns CIE XYZ (D65) into linear sRGB, which may leave 0..1.
func LinearFromXYZ(x [3]float64) [3]float64 { return xyzToSRGB.Mul(x) }

// XYZFromLinear turns linear sRGB into CIE XYZ (D65), white Y = 1.
func XYZFromLinear(l [3]float64) [3]float64 { return srgbToXYZ.Mul(l) }

// Light is the color as linear light, multiplied by its alpha. Missing
// components count as 0.
func (c Color) Light() Light {
	v := c.In(SRGBLinear).C
	return Light{float32(v[0] * c.Alpha), float32(v[1] * c.Alpha), float32(v[2] * c.Alpha)}
}

// FromLight is the opaque color of a light.
func FromLight(l Light) Color {
	return Color{Space: SRGBLinear, C: vec{float64(l[0]), float64(l[1]), float64(l[2])}, Alpha: 1}
}

// RGB8 is the color as 8-bit sRGB, clipped and rounded half up. As in
// browsers the product is taken in float32 first, so that hsl(0 0%
// 49.999999%) is 128.
func (c Color) RGB8() [3]uint8 {
	s := c.In(SRGB)
	var out [3]uint8
	for i, v := range s.C {
		v = math.Min(math.Max(v, 0), 1)
		out[i] = uint8(math.Floor(float64(float32(v*255)) + 0.5))
	}
	return out
}

func hslToRGB(v vec) vec {
	h, s, l := mod360(v[0]), v[1], v[2]
	f := func(n float64) float64 {
		k := math.Mod(n+h/30, 12)
		a := float64(s * math.Min(l, 1-l))
		return l - float64(a*math.Max(-1, math.Min(math.Min(k-3, 9-k), 1)))
	}
	return vec{f(0), f(8), f(4)}
}

func rgbToHSL(v vec) vec {
	hi := math.Max(v[0], math.Max(v[1], v[2]))
	lo := math.Min(v[0], math.Min(v[1], v[2]))
	l, d := float64((lo+hi)/2), hi-lo
	if d < 1e-9 { // grey, but for the last bits
		return vec{0, 0, l}
	}
	s := 0.0
	if l != 0 && l != 1 {
		s = (hi - l) / math.Min(l, 1-l)
	}
	h := hueOf(v, hi, d)
	if s < 0 { // far out of gamut: turn half way round, as CSS Color 4 does
		h, s = mod360(h+180), -s
	}
	return vec{h, s, l}
}

func hueOf(v vec, hi, d float64) float64 {
	switch hi {
	case v[0]:
		return mod360(float64(60 * ((v[1] - v[2]) / d)))
	case v[1]:
		return float64(60 * ((v[2]-v[0])/d + 2))
	default:
		return float64(60 * ((v[0]-v[1])/d + 4))
	}
}

func hwbToRGB(v vec) vec {
	w, b := v[1], v[2]
	if w+b >= 1 {
		g := w / (w + b)
		return vec{g, g, g}
	}
	rgb := hslToRGB(vec{v[0], 1, 0.5})
	for i := range rgb {
		rgb[i] = float64(rgb[i]*(1-w-b)) + w
	}
	return rgb
}

func rgbToHWB(v vec) vec {
	hi := math.Max(v[0], math.Max(v[1], v[2]))
	lo := math.Min(v[0], math.Min(v[1], v[2]))
	h := 0.0
	if hi > lo {
		h = hueOf(v, hi, hi-lo)
	}
	return vec{h, lo, 1 - hi}
}

func mod360(h float64) float64 {
	h = math.Mod(h, 360)
	if h < 0 {
		h += 360
	}
	return h
}

// fromPolar turns L C h into L a b; toPolar is its inverse.
func fromPolar(v vec) vec {
	h := float64(v[2] * (math.Pi / 180))
	return vec{v[0], float64(v[1] * portable.Cos(h)), float64(v[1] * portable.Sin(h))}
}

func toPolar(v vec) vec {
	c := math.Sqrt(float64(v[1]*v[1]) + float64(v[2]*v[2]))
	return vec{v[0], c, mod360(float64(portable.Atan2(v[2], v[1]) * (180 / math.Pi)))}
}
