package script

import "math"

// span proves bounds for a node from those of its operands. Sums and products
// are widened by more than float32 can round (2^-24 of the result each), so
// that a bound holds for what is computed, not only for what is meant.
// Operations that only choose or cut keep their bounds.
func (b *builder) span(n *node) (lo, hi float64) {
	var a [3]*node
	for i, k := range n.args {
		if k >= 0 {
			a[i] = &b.nodes[k]
		}
	}
	switch n.op {
	case opSeconds, opProgress, opValue, opX, opY, opU, opV, opAlong, opIndex, opCount, opStrip:
		return b.spans[n.op][0], b.spans[n.op][1]
	case opCycle, opOn, opFract, opStep, opSmooth, opHash1, opHash2, opHash3:
		return 0, 1
	case opNoise1, opNoise2, opNoise3:
		return -1.001, 1.001
	case opSign:
		return -1, 1
	case opSin, opCos:
		return -1.000001, 1.000001
	case opAsin:
		return -1.5708, 1.5708
	case opAcos:
		return 0, 3.14160
	case opAtan, opAtan2:
		return -3.14160, 3.14160
	case opAdd:
		return sum(a[0].lo, a[0].hi, a[1].lo, a[1].hi)
	case opSub:
		return sum(a[0].lo, a[0].hi, -a[1].hi, -a[1].lo)
	case opMul:
		if n.args[0] == n.args[1] {
			m := math.Max(math.Abs(a[0].lo), math.Abs(a[0].hi))
			_, hi = wide(0, m*m)
			return 0, hi
		}
		return wide(products(a[0], a[1]))
	case opDiv:
		if a[1].lo <= 0 && a[1].hi >= 0 {
			return math.Inf(-1), math.Inf(1)
		}
		r := node{lo: 1 / a[1].hi, hi: 1 / a[1].lo}
		return wide(products(a[0], &r))
	case opRecip:
		if a[0].lo <= 0 && a[0].hi >= 0 {
			return math.Inf(-1), math.Inf(1)
		}
		return wide(1/a[0].hi, 1/a[0].lo)
	case opSlope:
		d := node{lo: a[1].lo - a[0].hi, hi: a[1].hi - a[0].lo}
		if d.lo <= 0 && d.hi >= 0 {
			return math.Inf(-1), math.Inf(1)
		}
		return wide(1/d.hi, 1/d.lo)
	case opMod:
		if m := math.Max(math.Abs(a[1].lo), math.Abs(a[1].hi)); a[1].lo >= 0 {
			return 0, m
		} else if a[1].hi <= 0 {
			return -m, 0
		} else {
			return -m, m
		}
	case opMin:
		return math.Min(a[0].lo, a[1].lo), math.Min(a[0].hi, a[1].hi)
	case opMax:
		return math.Max(a[0].lo, a[1].lo), math.Max(a[0].hi, a[1].hi)
	case opClamp:
		lo = math.Min(math.Max(a[0].lo, a[1].lo), a[2].lo)
		return lo, math.Max(lo, math.Min(math.Max(a[0].hi, a[1].hi), a[2].hi))
	case opAbs:
		m := math.Max(math.Abs(a[0].lo), math.Abs(a[0].hi))
		if a[0].lo > 0 {
			return a[0].lo, m
		} else if a[0].hi < 0 {
			return -a[0].hi, m
		}
		return 0, m
	case opFloor:
		return math.Floor(a[0].lo), math.Floor(a[0].hi)
	case opCeil:
		return math.Ceil(a[0].lo), math.Ceil(a[0].hi)
	case opTrunc:
		return math.Trunc(a[0].lo), math.Trunc(a[0].hi)
	case opRound, opRoundEven:
		return math.Floor(a[0].lo), math.Ceil(a[0].hi)
	case opSqrt:
		_, hi = wide(0, math.Sqrt(math.Max(a[0].hi, 0)))
		return 0, hi
	case opInverseSqrt:
		if a[0].lo <= 0 {
			return 0, math.Inf(1)
		}
		return 0, 1.001 / math.Sqrt(a[0].lo)
	case opExp:
		return 0, 1.001 * eval64(opExp, 0, math.Min(a[0].hi, 100), 0, 0)
	case opExp2:
		return 0, 1.001 * eval64(opExp2, 0, math.Min(a[0].hi, 100), 0, 0)
	case opLog, opLog2:
		return -40.1, 40.1 // log2 of 1e-12 is -39.9
	case opTrail:
		return math.Min(a[0].lo, 0), math.Max(a[0].hi, 0)
	case opLightness:
		m := math.Max(math.Abs(a[0].lo), math.Abs(a[0].hi)) + 1
		return -m, m * m * m
	case opGradient:
		return b.palettes[n.imm>>2].span(int(n.imm & 3))
	}
	return math.Inf(-1), math.Inf(1) // pow, tan, and what is not listed
}

func products(x, y *node) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range [4]float64{x.lo * y.lo, x.lo * y.hi, x.hi * y.lo, x.hi * y.hi} {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	return lo, hi
}

// sum widens by the operands' size, since they may cancel; what cannot be
// negative stays so.
func sum(xlo, xhi, ylo, yhi float64) (lo, hi float64) {
	s := float64(1e-6 * max(math.Abs(xlo), math.Abs(xhi), math.Abs(ylo), math.Abs(yhi)))
	lo, hi = xlo+ylo-s, xhi+yhi+s
	if xlo >= 0 && ylo >= 0 {
		lo = math.Max(lo, 0)
	}
	if xhi <= 0 && yhi <= 0 {
		hi = math.Min(hi, 0)
	}
	return lo, hi
}

// wide widens by the result's size; zero is exact in a product.
func wide(lo, hi float64) (float64, float64) {
	s := float64(1e-6 * math.Max(math.Abs(lo), math.Abs(hi)))
	if lo != 0 {
		lo -= s
	}
	if hi != 0 {
		hi += s
	}
	return lo, hi
}
