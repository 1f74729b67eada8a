// Package portable holds elementary functions that give the same bits on every
// processor.
//
// The standard library's Sin, Exp, Log, Pow and Cbrt are written in assembly on
// some architectures, and Go may fuse x*y + z into one instruction on others;
// both move the last bits. Whatever ends in a frame table goes through these
// functions instead: plain float64, every product rounded before it is added.
//
// Greatest errors against the standard library, asserted by TestAccuracy:
// Sin, Cos 3e-16 absolute for |x| <= 1e5; Exp 4e-16, Cbrt 5e-16 and Log 3e-16
// relative (Log near 1: absolute); Atan2 5e-16 rad; Pow 1e-14 relative for
// results between 1e-6 and 1e6. Infinities and NaN follow the standard
// library.
package portable

import "math"

// Parts of pi/2 whose first two have 33 significant bits, so that k times
// either is exact for |k| < 2^20. Source: computed from pi to 40 digits.
const (
	halfPi1 = 1.57079632673412561417e+00 // first 33 bits of pi/2
	halfPi2 = 6.07710050630396597660e-11 // next 33 bits
	halfPi3 = 2.02226624879595063154e-21 // the rest
)

const (
	ln2Hi = 6.93147180369123816490e-01 // first 32 bits of ln 2
	ln2Lo = 1.90821492927058770002e-10 // the rest
)

// Exp returns e to the power x.
func Exp(x float64) float64 {
	switch {
	case math.IsNaN(x) || math.IsInf(x, 1):
		return x
	case x > 709.782712893384:
		return math.Inf(1)
	case x < -745.2:
		return 0
	}
	k := math.Floor(float64(x*(1/math.Ln2)) + 0.5)
	hi := x - float64(k*ln2Hi)
	lo := float64(k * ln2Lo)
	r := hi - lo
	// Taylor of e^r - 1 - r over |r| <= 0.3466; the next term is below 2e-18.
	p := 1.0 / 87178291200
	for _, c := range expTail {
		p = float64(p*r) + c
	}
	// The rounding of hi - lo is carried in (hi - r) - lo.
	rest := (hi - r) - lo
	y := 1 + (r + (float64(float64(r*r)*p) + rest))
	return math.Ldexp(y, int(k))
}

var expTail = [...]float64{
	1.0 / 6227020800, 1.0 / 479001600, 1.0 / 39916800, 1.0 / 3628800,
	1.0 / 362880, 1.0 / 40320, 1.0 / 5040, 1.0 / 720, 1.0 / 120, 1.0 / 24, 1.0 / 6, 0.5,
}

// Exp2 returns 2 to the power x.
func Exp2(x float64) float64 {
	if x == math.Floor(x) && math.Abs(x) < 1000 {
		return math.Ldexp(1, int(x))
	}
	return Exp(float64(x * math.Ln2))
}

// Log returns the natural logarithm of x.
func Log(x float64) float64 {
	switch {
	case math.IsNaN(x) || math.IsInf(x, 1):
		return x
	case x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(-1)
	}
	m, e := math.Frexp(x)
	if m < math.Sqrt2/2 {
		m *= 2
		e--
	}
	// log m = 2 atanh s with s = (m-1)/(m+1), |s| <= 0.1716, written as
	// f - s (f - tail) so that small f keeps its bits.
	f := m - 1
	s := f / (2 + f)
	z := float64(s * s)
	p := 2.0 / 23
	for _, c := range logTail {
		p = float64(p*z) + c
	}
	tail := float64(z * p)
	k := float64(e)
	return float64(k*ln2Hi) - (float64(s*(f-tail)) - float64(k*ln2Lo) - f)
}

var logTail = [...]float64{2.0 / 21, 2.0 / 19, 2.0 / 17, 2.0 / 15, 2.0 / 13, 2.0 / 11, 2.0 / 9, 2.0 / 7, 2.0 / 5, 2.0 / 3}

// Log2 returns the logarithm of x to base 2; exact for powers of two.
func Log2(x float64) float64 {
	m, e := math.Frexp(x)
	if m == 0.5 {
		return float64(e - 1)
	}
	if x <= 0 || math.IsInf(x, 0) || math.IsNaN(x) {
		return Log(x)
	}
	return float64(Log(m)*(1/math.Ln2)) + float64(e)
}

// Pow returns x to the power y. Small whole exponents are plain products;
// special cases follow math.Pow.
func Pow(x, y float64) float64 {
	switch {
	case y == 0 || x == 1:
		return 1
	case y == 1:
		return x
	case y == 0.5 && x >= 0:
		return math.Sqrt(x)
	case math.IsNaN(x) || math.IsNaN(y) || math.IsInf(x, 0) || math.IsInf(y, 0) || x == 0:
		return math.Pow(x, y) // exact special values, the same everywhere
	}
	whole := y == math.Floor(y)
	if whole && math.Abs(y) <= 16 {
		r, b := 1.0, x
		for n := int(math.Abs(y)); n > 0; n >>= 1 {
			if n&1 == 1 {
				r = float64(r * b)
			}
			b = float64(b * b)
		}
		if y < 0 {
			return 1 / r
		}
		return r
	}
	if x < 0 {
		if !whole {
			return math.NaN()
		}
		r := Exp(float64(y * Log(-x)))
		if math.Mod(y, 2) != 0 {
			return -r
		}
		return r
	}
	return Exp(float64(y * Log(x)))
}

// Cbrt returns the cube root of x, negative for negative x.
func Cbrt(x float64) float64 {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	m, e := math.Frexp(math.Abs(x)) // m in [0.5, 1)
	k := e / 3
	for e-3*k < 0 {
		k--
	}
	m = math.Ldexp(m, e-3*k) // [0.5, 4)
	// A line through the range, then Halley's step three times: cubic
	// convergence from 12 % takes the error below the last bit.
	y := 0.68 + float64(0.26*m)
	for range 3 {
		c := float64(y * float64(y*y))
		y = float64(y * ((c + float64(2*m)) / (float64(2*c) + m)))
	}
	return math.Copysign(math.Ldexp(y, k), x)
}
