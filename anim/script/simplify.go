package script

import "math"

// The builder's arithmetic. Each rule keeps the value and moves work to where
// it runs less often: numbers that all pixels share are gathered at the end of
// sums and products, so that they are added once a frame in float64.

func (b *builder) add(x, y int32) int32 {
	if b.uniform(x) && !b.uniform(y) || b.uniform(x) == b.uniform(y) && x > y {
		x, y = y, x
	}
	if v, ok := b.constant(x); ok && v == 0 {
		return y
	}
	if v, ok := b.constant(y); ok && v == 0 {
		return x
	}
	if !b.uniform(x) {
		nx := b.nodes[x]
		sum := nx.op == opAdd && b.uniform(nx.args[1])
		if sum && b.uniform(y) {
			return b.add(nx.args[0], b.add(nx.args[1], y))
		}
		if sum {
			return b.add(b.add(nx.args[0], y), nx.args[1])
		}
		if ny := b.nodes[y]; ny.op == opAdd && b.uniform(ny.args[1]) && !b.uniform(y) {
			return b.add(b.add(x, ny.args[0]), ny.args[1])
		}
	}
	return b.put(opAdd, 0, x, y)
}

func (b *builder) neg(x int32) int32 { return b.mul(x, b.num(-1)) }

func (b *builder) sub(x, y int32) int32 {
	if x == y {
		return b.num(0)
	}
	if b.uniform(y) && !b.uniform(x) {
		return b.add(x, b.neg(y))
	}
	if v, ok := b.constant(y); ok && v == 0 {
		return x
	}
	return b.put(opSub, 0, x, y)
}

func (b *builder) mul(x, y int32) int32 {
	if b.uniform(x) && !b.uniform(y) || b.uniform(x) == b.uniform(y) && x > y {
		x, y = y, x
	}
	for _, p := range [2][2]int32{{x, y}, {y, x}} {
		if v, ok := b.constant(p[0]); ok && v == 0 {
			return p[0]
		} else if ok && v == 1 {
			return p[1]
		}
	}
	if nx := b.nodes[x]; !b.uniform(x) && b.uniform(y) && nx.op == opMul && b.uniform(nx.args[1]) {
		return b.mul(nx.args[0], b.mul(nx.args[1], y))
	}
	return b.put(opMul, 0, x, y)
}

func (b *builder) div(x, y int32) int32 {
	if b.uniform(y) && !b.uniform(x) {
		return b.mul(x, b.put(opRecip, 0, y))
	}
	return b.put(opDiv, 0, x, y)
}

func (b *builder) min(x, y int32) int32 {
	x, y = b.order(x, y)
	switch {
	case x == y || b.nodes[x].hi <= b.nodes[y].lo:
		return x
	case b.nodes[y].hi <= b.nodes[x].lo:
		return y
	}
	return b.put(opMin, 0, x, y)
}

func (b *builder) max(x, y int32) int32 {
	x, y = b.order(x, y)
	switch {
	case x == y || b.nodes[x].lo >= b.nodes[y].hi:
		return x
	case b.nodes[y].lo >= b.nodes[x].hi:
		return y
	}
	return b.put(opMax, 0, x, y)
}

// order puts the operand that all pixels share last.
func (b *builder) order(x, y int32) (int32, int32) {
	if b.uniform(x) && !b.uniform(y) || b.uniform(x) == b.uniform(y) && x > y {
		return y, x
	}
	return x, y
}

func (b *builder) clamp(x, lo, hi int32) int32 {
	if !b.uniform(lo) || !b.uniform(hi) {
		return b.min(b.max(x, lo), hi)
	}
	if b.nodes[x].lo >= b.nodes[lo].hi && b.nodes[x].hi <= b.nodes[hi].lo {
		return x
	}
	return b.put(opClamp, 0, x, lo, hi)
}

// mix is x + t*(y-x): exact at t = 0, within one rounding of y at t = 1, and
// one operation for every pixel where x and y are shared.
func (b *builder) mix(x, y, t int32) int32 { return b.add(b.mul(t, b.sub(y, x)), x) }

func (b *builder) smoothstep(e0, e1, x int32) int32 {
	slope := b.put(opSlope, 0, e0, e1)
	if b.uniform(e0) && b.uniform(slope) {
		return b.put(opSmooth, 0, x, e0, slope)
	}
	return b.put(opSmooth, 0, b.mul(b.sub(x, e0), slope), b.num(0), b.num(1))
}

// fract drops the whole part of what all pixels share before it meets the
// pixel's own part, so that seconds lose no digits as they grow.
func (b *builder) fract(x int32) int32 {
	if n := b.nodes[x]; n.op == opAdd && !b.uniform(x) && b.nodes[n.args[1]].class == PerFrame {
		if u := b.nodes[n.args[1]]; u.lo < 0 || u.hi > 1 {
			x = b.add(n.args[0], b.fract(n.args[1]))
		}
	}
	if !b.uniform(x) {
		x = b.clamp(x, b.num(-fractSpan), b.num(fractSpan))
	}
	return b.put(opFract, 0, x)
}

// wave does the same for sin and cos.
func (b *builder) wave(o op, x int32) int32 {
	if n := b.nodes[x]; n.op == opAdd && !b.uniform(x) && b.nodes[n.args[1]].class == PerFrame {
		if u := b.nodes[n.args[1]]; u.lo < -8 || u.hi > 8 {
			return b.put(o, 0, b.add(n.args[0], b.put(opMod, 0, n.args[1], b.num(2*math.Pi))))
		}
	}
	return b.put(o, 0, x)
}

// pow turns whole constant exponents up to 8 into products, which are also
// right for negative bases, and one half into a root.
func (b *builder) pow(x, y int32) int32 {
	v, ok := b.constant(y)
	if ok && v == 0.5 {
		return b.put(opSqrt, 0, x)
	}
	if !ok || v != math.Trunc(v) || v < 0 || v > 8 {
		return b.put(opPow, 0, x, y)
	}
	r := b.num(1)
	for n, q := int(v), x; n > 0; n >>= 1 {
		if n&1 == 1 {
			r = b.mul(r, q)
		}
		if n > 1 {
			q = b.mul(q, q)
		}
	}
	return r
}

// lattice bounds a coordinate of noise or hash, so that its cell fits an int32
// and its place in the cell keeps some digits.
const lattice = 1 << 22

func (b *builder) coordinate(x int32) int32 {
	return b.clamp(x, b.num(-lattice), b.num(lattice))
}

// dot is the sum of the products of two lists of equal length.
func (b *builder) dot(x, y []int32) int32 {
	sum := b.num(0)
	for i := range x {
		sum = b.add(sum, b.mul(x[i], y[i]))
	}
	return sum
}
