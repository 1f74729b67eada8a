package script

import "math"

// Elementary functions for pixels: float32 in and out, float64 between, where
// a product costs the same and a short polynomial is enough. Every product is
// rounded before it is added, so that no processor fuses the two. Greatest
// errors, asserted by TestFunctionAccuracy against the standard library's
// float64 functions: sin, cos 9e-8 absolute (up to 1e5); exp, exp2, pow 1.2e-7
// relative; log, log2 1e-6 absolute; asin, acos, atan 2.5e-7 rad.

// nearest rounds to the nearest whole number, ties to even, for |x| < 2^51.
func nearest(x float64) float64 {
	const big = 3 << 51
	return (x + big) - big
}

// sineTurns is the sine of t turns, |t| <= 0.5: folded to a quarter without a
// branch, then an odd polynomial fitted at Chebyshev nodes, 7e-9 off at most.
func sineTurns(t float64) float64 {
	r := math.Copysign(0.25-math.Abs(math.Abs(t)-0.25), t)
	q := r * r
	p := float64(q*sine9) + sine7
	p = float64(q*p) + sine5
	p = float64(q*p) + sine3
	p = float64(q*p) + sine1
	return r * p
}

const (
	sine1 = 6.283185280154406
	sine3 = -41.341680613346526
	sine5 = 81.60247636892599
	sine7 = -76.58117264431282
	sine9 = 39.75982708575151
)

const perTurn = 1 / (2 * math.Pi)

func sin32(x float32) float32 {
	t := float64(float64(x) * perTurn)
	return float32(sineTurns(t - nearest(t)))
}

func cos32(x float32) float32 {
	t := float64(float64(x)*perTurn) + 0.25
	return float32(sineTurns(t - nearest(t)))
}

func tan32(x float32) float32 {
	t := float64(float64(x) * perTurn)
	u := t + 0.25
	c := sineTurns(u - nearest(u))
	if c == 0 {
		return limit
	}
	return float32(sineTurns(t-nearest(t)) / c)
}

// exp2of is 2^t, t cut to -140..60, where float32 is 0 or beyond the limit.
func exp2of(t float64) float64 {
	if t < -140 {
		t = -140
	}
	if t > 60 {
		t = 60
	}
	k := nearest(t)
	x := float64((t - k) * math.Ln2)
	p := float64(x*(1.0/5040)) + 1.0/720
	p = float64(x*p) + 1.0/120
	p = float64(x*p) + 1.0/24
	p = float64(x*p) + 1.0/6
	p = float64(x*p) + 0.5
	p = float64(x*p) + 1
	p = float64(x*p) + 1
	return math.Float64frombits(math.Float64bits(p) + uint64(int64(k))<<52)
}

func exp32(x float32) float32   { return float32(exp2of(float64(float64(x) * math.Log2E))) }
func exp2_32(x float32) float32 { return float32(exp2of(float64(x))) }

// log2of is the binary logarithm of a positive normal number.
func log2of(x float64) float64 {
	bits := math.Float64bits(x)
	// Exponent and mantissa, the latter between sqrt(1/2) and sqrt(2).
	e := int64(bits-0x3fe6a09e667f3bcd) >> 52
	m := math.Float64frombits(bits - uint64(e)<<52)
	s := (m - 1) / (m + 1)
	q := s * s
	p := float64(q*(2/(11*math.Ln2))) + 2/(9*math.Ln2)
	p = float64(q*p) + 2/(7*math.Ln2)
	p = float64(q*p) + 2/(5*math.Ln2)
	p = float64(q*p) + 2/(3*math.Ln2)
	p = float64(q*p) + 2/math.Ln2
	return float64(e) + float64(s*p)
}

func positive(x float32) float64 {
	if v := float64(x); v > least {
		return v
	}
	return least
}

func log2_32(x float32) float32 {
	return float32(log2of(positive(x)))
}

func log32(x float32) float32 {
	return float32(log2of(positive(x)) * math.Ln2)
}

func pow32(x, y float32) float32 {
	if y == 0 {
		return 1
	}
	if x <= 0 {
		return 0
	}
	return float32(exp2of(float64(float64(y) * log2of(float64(x)))))
}

// atanUnit is the arc tangent of z in 0..1.
func atanUnit(z float64) float64 {
	base := 0.0
	if z > 0.41421356237309503 {
		z, base = (z-1)/(z+1), math.Pi/4
	}
	q := z * z
	p := float64(q*(1.0/17)) - 1.0/15
	p = float64(q*p) + 1.0/13
	p = float64(q*p) - 1.0/11
	p = float64(q*p) + 1.0/9
	p = float64(q*p) - 1.0/7
	p = float64(q*p) + 1.0/5
	p = float64(q*p) - 1.0/3
	return base + (z + float64(z*float64(q*p)))
}

func atan2of(y, x float64) float64 {
	ax, ay := math.Abs(x), math.Abs(y)
	var r float64
	switch {
	case ax == 0 && ay == 0:
		return 0
	case ay <= ax:
		r = atanUnit(ay / ax)
	default:
		r = math.Pi/2 - atanUnit(ax/ay)
	}
	if x < 0 {
		r = math.Pi - r
	}
	if y < 0 {
		r = -r
	}
	return r
}

func atan2_32(y, x float32) float32 { return float32(atan2of(float64(y), float64(x))) }
func atan32(x float32) float32      { return float32(atan2of(float64(x), 1)) }

func asin32(x float32) float32 {
	v := float64(clamp1(x, -1, 1))
	return float32(atan2of(v, math.Sqrt(float64((1-v)*(1+v)))))
}

func acos32(x float32) float32 {
	v := float64(clamp1(x, -1, 1))
	return float32(atan2of(math.Sqrt(float64((1-v)*(1+v))), v))
}

func floor32(x float32) float32 { return float32(math.Floor(float64(x))) }

// clamp1 is clamp of one number; unlike the builtin min and max it need not
// think of NaN.
func clamp1(x, lo, hi float32) float32 {
	if x < lo {
		x = lo
	}
	if x > hi {
		x = hi
	}
	return x
}

func min1(x, y float32) float32 {
	if y < x {
		return y
	}
	return x
}

func max1(x, y float32) float32 {
	if y > x {
		return y
	}
	return x
}

func step1(edge, x float32) float32 {
	if x < edge {
		return 0
	}
	return 1
}

// fractSpan bounds fract's argument: from 2^23 on, every float32 is whole and
// its fract is 0, which is also that of the bound.
const fractSpan = 1 << 24

// fract32 is x - floor(x) in [0, 1): what would round up to 1 is 0.
func fract32(x float32) float32 {
	k := float32(int32(x)) // |x| <= fractSpan
	if k > x {
		k--
	}
	if x -= k; x >= 1 {
		return 0
	}
	return x
}

// mod32 has the sign of y and stays within it, whatever x/y rounds to.
func mod32(x, y float32) float32 {
	if y == 0 {
		return 0
	}
	r := x - float32(y*floor32(x/y))
	if y > 0 {
		return min(max(r, 0), y)
	}
	return max(min(r, 0), y)
}

func lightness32(p float32) float32 {
	if p <= 0.08 {
		return p * (100 / lightnessKappa)
	}
	t := float32(p*(100.0/116)) + 16.0/116
	return float32(t * float32(t*t))
}

func smooth32(x, e0, slope float32) float32 {
	t := clamp1(float32((x-e0)*slope), 0, 1)
	return float32(t*t) * (3 - float32(2*t))
}
