package corpus

import "math"

// rgb is linear light, 1 is full.
type rgb [3]float64

func (c rgb) times(k float64) rgb { return rgb{c[0] * k, c[1] * k, c[2] * k} }

func (c rgb) plus(d rgb) rgb { return rgb{c[0] + d[0], c[1] + d[1], c[2] + d[2]} }

func mix(a, b rgb, t float64) rgb { return a.times(1 - t).plus(b.times(t)) }

func fract(x float64) float64 { return x - math.Floor(x) }

func smoothstep(a, b, x float64) float64 {
	x = min(max((x-a)/(b-a), 0), 1)
	return x * x * (3 - 2*x)
}

// lightness turns CIE L* 0..1 into linear light. Source: CIE 15, Y as a function
// of L*.
func lightness(p float64) float64 {
	if p <= 0.08 {
		return p * 100 * 27 / 24389
	}
	q := (p*100 + 16) / 116
	return q * q * q
}

// oklch turns a colour of lightness l, chroma c and hue in turns into linear
// light, cut to 0..1. Source of the matrices: CSS Color 4, section "Sample code".
func oklch(l, c, hue float64) rgb {
	a, b := c*math.Cos(2*math.Pi*hue), c*math.Sin(2*math.Pi*hue)
	x := l + 0.3963377773761749*a + 0.2158037573099136*b
	y := l - 0.1055613458156586*a - 0.0638541728258133*b
	z := l - 0.0894841775298119*a - 1.2914855480194092*b
	x, y, z = x*x*x, y*y*y, z*z*z
	out := rgb{
		4.0767416360759583*x - 3.3077115392580629*y + 0.2309699031821043*z,
		-1.2684379732850315*x + 2.6097573492876882*y - 0.3413193760026570*z,
		-0.0041960761386756*x - 0.7034186179359362*y + 1.7076146940746117*z,
	}
	for i := range out {
		out[i] = min(max(out[i], 0), 1)
	}
	return out
}

// random is a number 0..1 for any whole numbers, always the same.
func random(seed uint64, a, b int) float64 {
	x := seed ^ uint64(uint32(a))*0x9e3779b97f4a7c15 ^ uint64(uint32(b))*0xc2b2ae3d27d4eb4f
	x ^= x >> 31
	x *= 0xbf58476d1ce4e5b9
	x ^= x >> 27
	x *= 0x94d049bb133111eb
	x ^= x >> 31
	return float64(x>>11) / (1 << 53)
}

// noise is smooth in two coordinates and repeats in the second every period.
func noise(seed uint64, x, y float64, period int) float64 {
	i, j := int(math.Floor(x)), int(math.Floor(y))
	sx, sy := smoothstep(0, 1, x-float64(i)), smoothstep(0, 1, y-float64(j))
	wrap := func(k int) int { return ((k % period) + period) % period }
	a := random(seed, i, wrap(j))*(1-sx) + random(seed, i+1, wrap(j))*sx
	b := random(seed, i, wrap(j+1))*(1-sx) + random(seed, i+1, wrap(j+1))*sx
	return a*(1-sy) + b*sy
}
