package script

import "sort"

// keepHoisted gives a whole array to every once-a-clip node that the other
// list reads.
func (c *compiler) keepHoisted(clip, both []step) {
	read := map[int32]bool{}
	for _, s := range both {
		for _, v := range c.reads(s) {
			read[v] = true
		}
	}
	var ids []int32
	for _, s := range clip {
		for _, d := range s.d {
			if d >= 0 && read[d] {
				ids = append(ids, d)
			}
		}
	}
	sort.Slice(ids, func(i, j int) bool { return ids[i] < ids[j] })
	for _, d := range ids {
		c.kept[d] = c.p.addWhole(make([]float32, c.p.n))
	}
}

// reads lists the nodes a step takes from arrays.
func (c *compiler) reads(s step) []int32 {
	var out []int32
	for _, v := range s.v {
		if v >= 0 {
			out = append(out, v)
		}
	}
	if s.k == kShade {
		out = append(out, c.p.shadeBy)
	}
	return out
}

// allocate assigns temporaries, each free again after its node's last use.
func (c *compiler) allocate(steps []step) []instr {
	c.last = map[int32]int{}
	for i, s := range steps {
		for _, v := range c.reads(s) {
			c.last[v] = i
		}
	}
	var code []instr
	for i, s := range steps {
		in := instr{k: s.k, d: noReg, e: noReg, f: noReg, a: noReg, b: noReg, c: noReg, s: -1, t: -1, imm: s.imm}
		for j, v := range s.v {
			if v >= 0 {
				*[]*reg{&in.a, &in.b, &in.c}[j] = c.operand(v)
			}
		}
		if s.k == kShade {
			in.d = c.operand(c.p.shadeBy)
		}
		if s.s >= 0 {
			in.s = c.slot[s.s]
		}
		if s.k == kernel(opTrail) {
			in.t = s.t
		} else if s.t >= 0 {
			in.t = c.slot[s.t]
		}
		for _, v := range c.reads(s) {
			if c.last[v] == i && c.temp[v] != noReg {
				c.free = append(c.free, c.temp[v])
				c.temp[v] = noReg
			}
		}
		if !s.scatter {
			for j, d := range s.d {
				if d < 0 && s.k != kernel(opGradient) {
					continue
				}
				*[]*reg{&in.d, &in.e, &in.f}[j] = c.destination(d)
			}
			// A lane of a gradient that nobody reads is free at once.
			for j, d := range s.d {
				r := []reg{in.d, in.e, in.f}[j]
				if d < 0 && r != noReg {
					c.free = append(c.free, r)
				}
			}
		}
		code = append(code, in)
	}
	return code
}

func (c *compiler) newTemp() reg {
	if n := len(c.free); n > 0 {
		r := c.free[n-1]
		c.free = c.free[:n-1]
		return r
	}
	c.p.temps++
	return reg(c.p.temps - 1)
}

func (c *compiler) destination(d int32) reg {
	if d >= 0 && c.kept[d] != noReg {
		return c.kept[d]
	}
	r := c.newTemp()
	if d >= 0 {
		c.temp[d] = r
	}
	return r
}

// operand finds a node's array. A shared number in an array's place is spread
// over a temporary of its own that nothing else is given.
func (c *compiler) operand(v int32) reg {
	if c.shared(v) {
		r, ok := c.flat[v]
		if !ok {
			r = reg(c.p.temps)
			c.p.temps++
			c.flat[v] = r
		}
		return r
	}
	if c.kept[v] != noReg {
		return c.kept[v]
	}
	return c.temp[v]
}

// spread notes which temporaries hold shared numbers, and how often to fill
// them.
func (c *compiler) spread() {
	var ids []int32
	for v := range c.flat {
		ids = append(ids, v)
	}
	sort.Slice(ids, func(i, j int) bool { return ids[i] < ids[j] })
	for _, v := range ids {
		f := flat{c.flat[v], c.slot[v]}
		if c.g.nodes[v].class == Constant {
			c.p.flatConst = append(c.p.flatConst, f)
		} else {
			c.p.flatFrame = append(c.p.flatFrame, f)
		}
	}
}
