package script

import (
	"math"

	"paneglow/anim/portable"
)

// eval64 computes an operation in float64: for what is known when the script
// is traced and for what changes once a frame. It is also the plain twin that
// the block kernels are tested against. The result is finite for finite
// operands of at most limit.
func eval64(o op, imm uint64, a, b, c float64) float64 {
	v := raw64(o, imm, a, b, c)
	return math.Min(math.Max(v, -limit), limit)
}

func raw64(o op, imm uint64, a, b, c float64) float64 {
	switch o {
	case opAdd:
		return a + b
	case opSub:
		return a - b
	case opMul:
		return a * b
	case opDiv:
		if b == 0 {
			return 0
		}
		return a / b
	case opRecip:
		if a == 0 {
			return 0
		}
		return 1 / a
	case opMod:
		return mod64(a, b)
	case opMin:
		return math.Min(a, b)
	case opMax:
		return math.Max(a, b)
	case opClamp:
		return math.Min(math.Max(a, b), c)
	case opAbs:
		return math.Abs(a)
	case opSign:
		switch {
		case a > 0:
			return 1
		case a < 0:
			return -1
		}
		return 0
	case opFloor:
		return math.Floor(a)
	case opCeil:
		return math.Ceil(a)
	case opTrunc:
		return math.Trunc(a)
	case opRound:
		return math.Floor(a + 0.5)
	case opRoundEven:
		return math.RoundToEven(a)
	case opFract:
		if f := a - math.Floor(a); f < 1 {
			return f
		}
		return 0
	case opStep:
		if b < a {
			return 0
		}
		return 1
	case opSlope:
		if a == b {
			return limit
		}
		return 1 / (b - a)
	case opSmooth:
		t := math.Min(math.Max(float64((a-b)*c), 0), 1)
		return float64(t*t) * (3 - float64(2*t))
	case opSqrt:
		if a <= 0 {
			return 0
		}
		return math.Sqrt(a)
	case opInverseSqrt:
		if a <= 0 {
			return 0
		}
		return 1 / math.Sqrt(a)
	case opExp:
		return portable.Exp(math.Min(a, 100))
	case opExp2:
		return portable.Exp2(math.Min(a, 100))
	case opLog:
		return portable.Log(math.Max(a, least))
	case opLog2:
		return portable.Log2(math.Max(a, least))
	case opPow:
		switch {
		case b == 0:
			return 1
		case a <= 0:
			return 0
		}
		return portable.Pow(a, b)
	case opSin:
		return portable.Sin(turnOf(a))
	case opCos:
		return portable.Cos(turnOf(a))
	case opTan:
		return portable.Tan(turnOf(a))
	case opAsin:
		return portable.Asin(math.Min(math.Max(a, -1), 1))
	case opAcos:
		return portable.Acos(math.Min(math.Max(a, -1), 1))
	case opAtan:
		return portable.Atan2(a, 1)
	case opAtan2:
		if a == 0 && b == 0 {
			return 0
		}
		return portable.Atan2(a, b)
	case opLightness:
		return lightness64(a)
	case opHash1:
		return float64(hash1(seedOf(imm), cell(a)))
	case opHash2:
		return float64(hash2(seedOf(imm), cell(a), cell(b)))
	case opHash3:
		return float64(hash3(seedOf(imm), cell(a), cell(b), cell(c)))
	case opNoise1:
		i, f := split(a)
		return float64(noise1(latticeOf(imm), i, f))
	case opNoise2:
		i, f := split(a)
		j, g := split(b)
		return float64(noise2(latticeOf(imm), i, j, f, g))
	case opNoise3:
		i, f := split(a)
		j, g := split(b)
		k, h := split(c)
		return float64(noise3(latticeOf(imm), i, j, k, f, g, h))
	}
	return 0 // leaves and lanes of gradients have no operands to compute from
}

// turnOf takes whole turns off a large angle, exactly; portable is good to 1e5.
func turnOf(a float64) float64 {
	if math.Abs(a) < 1e5 {
		return a
	}
	return math.Mod(a, 2*math.Pi)
}

// least is what log and log2 take zero and negative numbers for.
const least = 1e-12

// mod64 is x - y*floor(x/y), which has the sign of y; mod(x, 0) is 0.
func mod64(x, y float64) float64 {
	if y == 0 {
		return 0
	}
	r := math.Mod(x, y) // exact
	if r != 0 && (r < 0) != (y < 0) {
		r += y
	}
	return r
}

// lightness64 is the inverse of CIE 1976 L* (CIE 15), as 0..1 to 0..1: the
// same formula as color.Lightness, written without its cube of a rounded sum.
func lightness64(p float64) float64 {
	if p <= 0.08 {
		return float64(p*100) / lightnessKappa
	}
	t := (float64(p*100) + 16) / 116
	return float64(t * float64(t*t))
}

// lightnessKappa is 24389/27, the exact CIE constant.
const lightnessKappa = 24389.0 / 27

// cell is the whole number below x, of which hash makes its value.
func cell(x float64) int32 {
	return int32(math.Floor(math.Min(math.Max(x, -lattice), lattice)))
}

// split gives the lattice cell of a coordinate and the place in it.
func split(x float64) (int32, float32) {
	x = math.Min(math.Max(x, -lattice), lattice)
	f := math.Floor(x)
	return int32(f), float32(x - f)
}
