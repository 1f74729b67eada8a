package portable

import "math"

// reduce brings x into [-pi/4, pi/4] and gives the quadrant. Beyond a million
// radians the argument is first taken modulo the float64 nearest 2 pi, which
// drifts by 4e-17 relative.
func reduce(x float64) (r, tail float64, quadrant int) {
	if math.Abs(x) > 1e6 {
		x = math.Mod(x, 2*math.Pi)
	}
	k := math.Floor(float64(x*(2/math.Pi)) + 0.5)
	a := x - float64(k*halfPi1)
	b := float64(k * halfPi2)
	r = a - b
	tail = ((a - r) - b) - float64(k*halfPi3)
	return r, tail, int(int64(k) & 3)
}

// kernelSin is sin(r + t) for |r| <= pi/4 and a tiny t: Taylor to r^17.
func kernelSin(r, t float64) float64 {
	z := float64(r * r)
	p := 1.0 / 355687428096000
	for _, c := range sinTail {
		p = float64(p*z) + c
	}
	return r + (float64(float64(r*z)*p) + t)
}

// kernelCos is cos(r + t) for |r| <= pi/4 and a tiny t: Taylor to r^16.
func kernelCos(r, t float64) float64 {
	z := float64(r * r)
	p := 1.0 / 20922789888000
	for _, c := range cosTail {
		p = float64(p*z) + c
	}
	half := float64(0.5 * z)
	w := 1 - half
	return w + (((1 - w) - half) + (float64(float64(z*z)*p) - float64(r*t)))
}

var (
	sinTail = [...]float64{-1.0 / 1307674368000, 1.0 / 6227020800, -1.0 / 39916800, 1.0 / 362880, -1.0 / 5040, 1.0 / 120, -1.0 / 6}
	cosTail = [...]float64{-1.0 / 87178291200, 1.0 / 479001600, -1.0 / 3628800, 1.0 / 40320, -1.0 / 720, 1.0 / 24}
)

// Sin returns the sine of x radians.
func Sin(x float64) float64 { return turn(x, 0) }

// Cos returns the cosine of x radians.
func Cos(x float64) float64 { return turn(x, 1) }

func turn(x float64, ahead int) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return math.NaN()
	}
	r, t, q := reduce(x)
	switch (q + ahead) & 3 {
	case 0:
		return kernelSin(r, t)
	case 1:
		return kernelCos(r, t)
	case 2:
		return -kernelSin(r, t)
	default:
		return -kernelCos(r, t)
	}
}

// Tan returns the tangent of x radians.
func Tan(x float64) float64 { return Sin(x) / Cos(x) }

// Atan returns the arc tangent of x.
func Atan(x float64) float64 {
	if math.IsNaN(x) {
		return x
	}
	a := math.Abs(x)
	var y float64
	switch {
	case math.IsInf(a, 0):
		y = math.Pi / 2
	case a > 1:
		y = math.Pi/2 - atanUnit(1/a)
	default:
		y = atanUnit(a)
	}
	return math.Copysign(y, x)
}

// atanUnit is atan on [0, 1]: the angle is halved twice, to below 0.2, where
// the series to x^21 leaves 4e-18.
func atanUnit(x float64) float64 {
	for range 2 {
		x /= 1 + math.Sqrt(1+float64(x*x))
	}
	z := float64(x * x)
	p := 1.0 / 21
	for n := 19; n >= 1; n -= 2 {
		p = 1/float64(n) - float64(p*z)
	}
	return float64(4 * float64(x*p))
}

// Atan2 returns the angle of the point (x, y), -pi to pi; Atan2(0, 0) is 0.
func Atan2(y, x float64) float64 {
	switch {
	case math.IsNaN(x) || math.IsNaN(y):
		return math.NaN()
	case x == 0 && y == 0:
		return 0
	case math.IsInf(x, 0) || math.IsInf(y, 0):
		return math.Atan2(y, x) // exact special values
	case math.Abs(y) > math.Abs(x):
		return math.Copysign(math.Pi/2, y) - Atan(x/y)
	case x > 0:
		return Atan(y / x)
	default:
		return Atan(y/x) + math.Copysign(math.Pi, y)
	}
}

// Asin returns the arc sine of x; NaN outside -1..1.
func Asin(x float64) float64 { return Atan2(x, math.Sqrt(float64((1-x)*(1+x)))) }

// Acos returns the arc cosine of x; NaN outside -1..1.
func Acos(x float64) float64 { return Atan2(math.Sqrt(float64((1-x)*(1+x))), x) }
