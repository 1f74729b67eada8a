package script

// step is one kernel call before registers are assigned: operands are nodes.
type step struct {
	k       kernel
	d       [3]int32 // nodes it makes
	v       [3]int32 // nodes per pixel
	s, t    int32    // nodes shared by all pixels
	imm     uint64
	scatter bool // writes to the light, not to an array
}

// steps chooses the kernels for the nodes of one class, in order. A product
// with one use goes into the sum that uses it, a sum into its fract.
func (c *compiler) steps(class Class) []step {
	g := c.g
	gone := make([]bool, len(g.nodes))
	for i := range g.nodes {
		n := &g.nodes[i]
		if !c.live[i] || n.class != class {
			continue
		}
		if n.op == opAdd {
			for _, a := range n.args[:2] {
				if m := &g.nodes[a]; m.op == opMul && m.class == class && c.uses[a] == 1 {
					gone[a] = true
					break
				}
			}
		}
		if n.op == opFract {
			a := n.args[0]
			if m := &g.nodes[a]; m.op == opAdd && m.class == class && c.uses[a] == 1 && c.shared(m.args[1]) &&
				!(gone[m.args[0]] && g.nodes[m.args[0]].op == opMul) {
				gone[a] = true
			}
		}
	}
	var out []step
	lanes := map[[2]uint64]int{} // gradient and place -> step
	for i := range g.nodes {
		n := &g.nodes[i]
		if !c.live[i] || n.class != class || gone[i] || ops[n.op].arity == 0 {
			continue
		}
		if n.op == opGradient {
			key := [2]uint64{n.imm >> 2, uint64(n.args[0])}
			if at, ok := lanes[key]; ok {
				out[at].d[n.imm&3] = int32(i)
				continue
			}
			lanes[key] = len(out)
			s := step{k: kernel(opGradient), d: [3]int32{-1, -1, -1}, v: [3]int32{n.args[0], -1, -1}, s: -1, t: -1, imm: n.imm >> 2}
			s.d[n.imm&3] = int32(i)
			out = append(out, s)
			continue
		}
		out = append(out, c.choose(int32(i), gone))
	}
	return out
}

// choose picks the kernel of one node by which of its operands are shared.
func (c *compiler) choose(id int32, gone []bool) step {
	n := &c.g.nodes[id]
	x, y, z := n.args[0], n.args[1], n.args[2]
	s := step{k: kernel(n.op), d: [3]int32{id, -1, -1}, v: [3]int32{x, y, z}, s: -1, t: -1, imm: n.imm}
	form := func(k kernel, a, b, d, sh, th int32) step {
		s.k, s.v, s.s, s.t = k, [3]int32{a, b, d}, sh, th
		return s
	}
	switch n.op {
	case opAdd:
		m, o := x, y
		if !gone[m] {
			m, o = y, x
		}
		if gone[m] && c.g.nodes[m].op == opMul {
			p, q := c.g.nodes[m].args[0], c.g.nodes[m].args[1]
			switch {
			case c.shared(q) && c.shared(o):
				return form(kMadVSS, p, -1, -1, q, o)
			case c.shared(q):
				return form(kMadVSV, p, o, -1, q, -1)
			case c.shared(o):
				return form(kMadVVS, p, q, -1, o, -1)
			default:
				return form(kMadVVV, p, q, o, -1, -1)
			}
		}
		if c.shared(y) {
			return form(kAddVS, x, -1, -1, y, -1)
		}
	case opFract:
		if gone[x] {
			m := &c.g.nodes[x]
			return form(kFractVS, m.args[0], -1, -1, m.args[1], -1)
		}
	case opSub:
		if c.shared(x) {
			return form(kSubSV, y, -1, -1, x, -1)
		}
	case opMul:
		if c.shared(y) {
			return form(kMulVS, x, -1, -1, y, -1)
		}
	case opDiv:
		if c.shared(x) {
			return form(kDivSV, y, -1, -1, x, -1)
		}
	case opMin:
		if c.shared(y) {
			return form(kMinVS, x, -1, -1, y, -1)
		}
	case opMax:
		if c.shared(y) {
			return form(kMaxVS, x, -1, -1, y, -1)
		}
	case opMod:
		if c.shared(y) {
			return form(kModVS, x, -1, -1, y, -1)
		}
	case opPow:
		if c.shared(y) {
			return form(kPowVS, x, -1, -1, y, -1)
		} else if c.shared(x) {
			return form(kPowSV, y, -1, -1, x, -1)
		}
	case opStep:
		if c.shared(x) {
			return form(kStepSV, y, -1, -1, x, -1)
		}
	case opClamp, opSmooth:
		return form(kernel(n.op), x, -1, -1, y, z)
	case opNoise3:
		if c.shared(z) {
			return form(kNoise3VVS, x, y, -1, z, -1)
		}
	case opTrail:
		s.t = int32(c.p.trails)
		c.p.trails++
	}
	return s
}
