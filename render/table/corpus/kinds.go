package corpus

import "math"

// light is a clip's light at a place: t is the part of the clip, 0..1, at which
// it loops.
type light func(p place, i int, t float64) rgb

// kinds make a clip's light from numbers that differ from clip to clip: a seed,
// and its length in seconds.
var kinds = []struct {
	name string
	make func(seed uint64, seconds float64) light
}{
	{"gradient", gradient}, {"hue", hue}, {"breathing", breathing}, {"sparkle", sparkle}, {"ember", ember},
	{"shimmer", shimmer}, {"bars", bars}, {"progress", progress}, {"wipe", wipe}, {"pulse", pulse},
	{"drift", drift}, {"solid", solid}, {"crossfade", crossfade},
}

// pick is the k-th number of a clip, between a and b.
func pick(seed uint64, k int, a, b float64) float64 { return a + (b-a)*random(seed, 1000+k, 7) }

// turns is a whole number near x, at least 1: what repeats closes at the loop.
func turns(x float64) float64 { return math.Max(1, math.Round(x)) }

func gradient(seed uint64, seconds float64) light {
	a := oklch(pick(seed, 1, 0.6, 0.8), 0.13, pick(seed, 2, 0, 1))
	b := oklch(pick(seed, 3, 0.4, 0.7), 0.13, pick(seed, 2, 0, 1)+pick(seed, 4, 0.2, 0.4))
	n, waves := turns(seconds/pick(seed, 5, 3, 8)), turns(pick(seed, 6, 1, 3))
	return func(p place, _ int, t float64) rgb {
		x := fract(p.v*waves - t*n)
		return mix(a, b, 0.5-0.5*math.Cos(2*math.Pi*x))
	}
}

func hue(seed uint64, seconds float64) light {
	n, spread := turns(seconds/pick(seed, 1, 5, 10)), pick(seed, 2, 0.3, 1.2)
	l := pick(seed, 3, 0.6, 0.75)
	return func(p place, _ int, t float64) rgb { return oklch(l, 0.14, (p.u+p.v)*0.5*spread+t*n) }
}

func breathing(seed uint64, seconds float64) light {
	c := oklch(pick(seed, 1, 0.6, 0.8), pick(seed, 2, 0.03, 0.15), pick(seed, 3, 0, 1))
	n, low := turns(seconds/pick(seed, 4, 3, 6)), pick(seed, 5, 0.05, 0.4)
	return func(_ place, _ int, t float64) rgb {
		return c.times(lightness(low + (1-low)*(0.5-0.5*math.Cos(2*math.Pi*t*n))))
	}
}

// sparkle is single points that come and go over a quiet ground.
func sparkle(seed uint64, seconds float64) light {
	c := oklch(0.9, pick(seed, 1, 0.01, 0.08), pick(seed, 2, 0, 1))
	ground := oklch(0.5, 0.1, pick(seed, 3, 0, 1)).times(pick(seed, 4, 0, 0.3))
	every := pick(seed, 5, 2, 5)
	return func(_ place, i int, t float64) rgb {
		n := turns(seconds / every * (0.6 + 0.8*random(seed, i, 1)))
		x := fract(t*n + random(seed, i, 2))
		return ground.plus(c.times(lightness(1 - smoothstep(0, 0.15+0.2*random(seed, i, 3), x))))
	}
}

// ember is warm light that rises and flickers softly.
func ember(seed uint64, seconds float64) light {
	scale, period := pick(seed, 1, 6, 14), int(turns(seconds*pick(seed, 2, 1.5, 3)))
	tilt := pick(seed, 3, 0.4, 0.9)
	return func(p place, i int, t float64) rgb {
		s := uint64(p.strip)
		x := 0.65*noise(seed+s, p.v*scale, p.v*3-t*float64(period), period) + 0.35*noise(seed+s+77, p.v*scale*2.3, -t*float64(period)*2, period*2)
		x = min(max(x*(1.25-tilt*p.v), 0), 1)
		return rgb{x, x * x * 0.5, x * x * x * x * 0.12}
	}
}

// shimmer is fast small waves on one colour.
func shimmer(seed uint64, seconds float64) light {
	c := oklch(pick(seed, 1, 0.7, 0.85), pick(seed, 2, 0.02, 0.1), pick(seed, 3, 0, 1))
	a, b := turns(seconds/pick(seed, 4, 0.8, 1.6)), turns(seconds/pick(seed, 5, 1.5, 3))
	depth := pick(seed, 6, 0.15, 0.35)
	return func(p place, _ int, t float64) rgb {
		w := math.Sin(2*math.Pi*(p.along*9-t*a)) * math.Sin(2*math.Pi*(p.along*4+t*b))
		return c.times(lightness(0.75 + depth*w*0.7))
	}
}

// bars are hard bands that travel.
func bars(seed uint64, seconds float64) light {
	a := oklch(0.8, 0.12, pick(seed, 1, 0, 1))
	b := oklch(0.3, 0.06, pick(seed, 2, 0, 1)).times(pick(seed, 3, 0, 1))
	n, count := turns(seconds/pick(seed, 4, 1.5, 5)), turns(pick(seed, 5, 3, 9))
	return func(p place, _ int, t float64) rgb {
		if fract(p.along*count-t*n) < 0.5 {
			return a
		}
		return b
	}
}

// progress fills every strip from its beginning, with a bright edge.
func progress(seed uint64, _ float64) light {
	full := oklch(0.75, 0.14, pick(seed, 1, 0, 1))
	empty := oklch(0.4, 0.03, pick(seed, 2, 0, 1)).times(0.15)
	soft := pick(seed, 3, 0.01, 0.06)
	return func(p place, _ int, t float64) rgb {
		edge := min(t*1.1, 1) * (1 + 2*soft)
		k := 1 - smoothstep(edge-soft, edge+soft, p.v+soft)
		return mix(empty, full, k).plus(rgb{0.3, 0.3, 0.3}.times(k * (1 - k) * 4 * smoothstep(1, 0.9, t)))
	}
}

// wipe changes one colour for another along a slanted edge, there and back.
func wipe(seed uint64, seconds float64) light {
	a, b := oklch(0.7, 0.13, pick(seed, 1, 0, 1)), oklch(0.6, 0.13, pick(seed, 1, 0, 1)+pick(seed, 2, 0.25, 0.5))
	n, soft, slant := turns(seconds/pick(seed, 3, 3, 6)), pick(seed, 4, 0.02, 0.2), pick(seed, 5, -0.5, 0.5)
	return func(p place, _ int, t float64) rgb {
		x := (p.v + slant*p.u + 0.5) / 2
		edge := 0.5 - 0.65*math.Cos(2*math.Pi*t*n)
		return mix(a, b, smoothstep(x-soft, x+soft, edge))
	}
}

// pulse is short waves that run from a point outwards, with rests between.
func pulse(seed uint64, seconds float64) light {
	c := oklch(0.8, pick(seed, 1, 0.05, 0.15), pick(seed, 2, 0, 1))
	ground := c.times(pick(seed, 3, 0.01, 0.06))
	n, at, width := turns(seconds/pick(seed, 4, 1.5, 4)), pick(seed, 5, 0, 1), pick(seed, 6, 0.06, 0.2)
	return func(p place, _ int, t float64) rgb {
		front := fract(t*n) * 1.8
		d := math.Abs(p.v - at)
		return ground.plus(c.times(smoothstep(front-width, front, d) * (1 - smoothstep(front, front+width*0.3, d))))
	}
}

// drift is slow noise between two colours.
func drift(seed uint64, seconds float64) light {
	a, b := oklch(0.65, 0.12, pick(seed, 1, 0, 1)), oklch(0.5, 0.1, pick(seed, 1, 0, 1)+pick(seed, 2, 0.1, 0.3))
	scale, period := pick(seed, 3, 2, 6), int(turns(seconds*pick(seed, 4, 0.2, 0.5)))
	return func(p place, _ int, t float64) rgb {
		x := noise(seed, p.u*scale*0.7+p.v*scale, t*float64(period), period)
		return mix(a, b, smoothstep(0.2, 0.8, x)).times(0.4 + 0.6*noise(seed+5, p.v*scale*0.8+9, t*float64(period), period))
	}
}

// solid is one colour or a resting gradient, with a slow change of level in one
// clip of two.
func solid(seed uint64, _ float64) light {
	a := oklch(0.75, 0.1, pick(seed, 1, 0, 1))
	b := mix(a, oklch(0.6, 0.1, pick(seed, 2, 0, 1)), pick(seed, 3, 0, 1))
	still := pick(seed, 4, 0, 1) < 0.5
	return func(p place, _ int, t float64) rgb {
		c := mix(a, b, p.v)
		if still {
			return c
		}
		return c.times(0.85 + 0.15*math.Cos(2*math.Pi*t))
	}
}

// crossfade goes from picture to picture with rests between.
func crossfade(seed uint64, seconds float64) light {
	n := int(turns(seconds / pick(seed, 1, 2.5, 4)))
	return func(p place, _ int, t float64) rgb {
		x := t * float64(n)
		k := int(x)
		part := smoothstep(0.35, 1, x-float64(k))
		picture := func(k int) rgb {
			k %= n
			a, b := oklch(0.75, 0.13, random(seed, k, 3)), oklch(0.6, 0.12, random(seed, k, 4))
			return mix(a, b, p.v).times(0.5 + 0.5*random(seed, k, 5))
		}
		return mix(picture(k), picture(k+1), part)
	}
}
