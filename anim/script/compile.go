package script

import (
	"math"
	"sort"
)

// block is how many pixels a kernel call works on: temporaries of that size
// stay in the first-level cache.
const block = 256

// reg names an array: a temporary of one block (0 and up), or one of the
// program's arrays of all pixels (-1 and down).
type reg int32

const noReg = reg(math.MinInt32)

func whole(i int) reg { return reg(-1 - i) }

// instr is one kernel call for a block.
type instr struct {
	k       kernel
	d, e, f reg // destinations; e and f for gradients only
	a, b, c reg
	s, t    int32 // shared numbers
	imm     uint64
}

// shared is one operation of the once-a-frame list, on slots of shared numbers.
type shared struct {
	op      op
	d       int32
	a, b, c int32
	imm     uint64
}

// kernel says which block function an instruction runs.
type kernel uint8

const (
	kAddVS kernel = iota + kernel(opCount_) // below: the operation itself, operands in arrays
	kSubSV
	kMulVS
	kMadVVV
	kMadVVS
	kMadVSV
	kMadVSS
	kDivSV
	kMinVS
	kMaxVS
	kModVS
	kPowVS
	kPowSV
	kStepSV
	kFractVS
	kNoise3VVS
	kTint   // light = a * (three shared numbers)
	kRamp   // light = a * (three shared) + (three shared)
	kShade  // light = (three arrays) * a
	kPaint  // light = gradient at a
	kPoints // light = three arrays
	kFractRamp
	kShadedRamp
	kShadedPaint
)

// compiler turns a graph into a program's three lists.
type compiler struct {
	g    *Graph
	p    *Program
	live []bool
	uses []int
	slot []int32 // of shared numbers
	kept []reg   // whole array of a node, or noReg
	temp []reg   // temporary of a node while it lives
	free []reg
	flat map[int32]reg // shared numbers spread over a temporary
	last map[int32]int // step of a node's last use
	zero int32         // the slot of 0
	one  int32         // and of 1
}

// step is one kernel call before registers are assigned: operands are nodes.
type step struct {
	k       kernel
	d       [3]int32 // nodes it makes
	v       [3]int32 // nodes per pixel
	s, t    int32    // nodes shared by all pixels
	imm     uint64
	scatter bool // writes to the light, not to an array
}

// Compile makes the program. It runs the once-a-clip list, and where trails
// remember a lap before the first frame, that lap.
func (g *Graph) Compile() (*Program, error) {
	p := &Program{g: g, n: len(g.opt.Layout.Pixels), frames: g.opt.Frames}
	c := &compiler{g: g, p: p, live: g.live(), flat: map[int32]reg{}}
	n := len(g.nodes)
	c.uses = make([]int, n)
	c.slot = make([]int32, n)
	c.kept = make([]reg, n)
	c.temp = make([]reg, n)
	for i := range g.nodes {
		c.kept[i], c.temp[i], c.slot[i] = noReg, noReg, -1
		if c.live[i] {
			for _, a := range g.nodes[i].args {
				if a >= 0 {
					c.uses[a]++
				}
			}
		}
	}
	for _, o := range g.out {
		c.uses[o]++
	}
	c.sharedList()
	c.zero = int32(len(p.f64))
	c.one = c.zero + 1
	p.f64 = append(p.f64, 0, 1)
	c.leaves()
	clip := c.steps(PerPixel)
	both := c.steps(PerBoth)
	both = append(both, c.output(&both))
	c.keepHoisted(clip, both)
	clipCode := c.allocate(clip)
	clipFlats := c.flat
	c.flat = map[int32]reg{}
	clipTemps := p.temps
	c.free, p.temps = nil, 0
	p.code = c.allocate(both)
	c.spread()

	// The once-a-clip list has run when Compile returns.
	if len(clipCode) > 0 {
		r := p.newRun(max(clipTemps, 1))
		r.shareFrame(0)
		for k, t := range clipFlats {
			fill(r.tmp[int(t)*block:int(t+1)*block], r.f32[c.slot[k]])
		}
		for at := 0; at < p.n; at += block {
			r.exec(clipCode, at, min(block, p.n-at), nil)
		}
	}
	if err := p.prepare(); err != nil {
		return nil, err
	}
	return p, nil
}

// sharedList gives every shared number a slot and lists the operations that
// make those that change with the frame.
func (c *compiler) sharedList() {
	p := c.p
	for i := range c.g.nodes {
		n := &c.g.nodes[i]
		if !c.live[i] || n.class&PerPixel != 0 {
			continue
		}
		s := int32(len(p.f64))
		c.slot[i] = s
		p.f64 = append(p.f64, 0)
		switch n.op {
		case opConst:
			p.f64[s] = n.value()
		case opSeconds, opProgress, opValue, opCycle:
			p.clocks = append(p.clocks, shared{op: n.op, d: s, imm: n.imm})
		default:
			u := shared{op: n.op, d: s, imm: n.imm, a: -1, b: -1, c: -1}
			for j, a := range n.args {
				if a >= 0 {
					*[]*int32{&u.a, &u.b, &u.c}[j] = c.slot[a]
				}
			}
			p.uniform = append(p.uniform, u)
		}
	}
}

// leaves lays the pixels' own numbers out as arrays.
func (c *compiler) leaves() {
	l := c.g.opt.Layout
	for i := range c.g.nodes {
		n := &c.g.nodes[i]
		if !c.live[i] || ops[n.op].arity != 0 || n.class != PerPixel {
			continue
		}
		v := make([]float32, len(l.Pixels))
		for k := range l.Pixels {
			px := &l.Pixels[k]
			switch n.op {
			case opX:
				v[k] = float32(px.X)
			case opY:
				v[k] = float32(px.Y)
			case opU:
				v[k] = float32(px.U)
			case opV:
				v[k] = float32(px.V)
			case opAlong:
				v[k] = float32(px.Along)
			case opIndex:
				v[k] = float32(px.Index)
			case opCount:
				v[k] = float32(l.Strips[px.Strip].Count)
			case opStrip:
				v[k] = float32(px.Strip)
			case opOn:
				if uint64(px.Strip) == n.imm {
					v[k] = 1
				}
			}
		}
		c.kept[i] = c.p.addWhole(v)
	}
}

func (c *compiler) shared(k int32) bool { return c.g.nodes[k].class&PerPixel == 0 }

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

// output makes the last step, which writes light. It takes over the operations
// of the three lanes where they are alike and nobody else needs them.
func (c *compiler) output(body *[]step) step {
	out := c.g.out
	end := step{k: kPoints, d: [3]int32{-1, -1, -1}, v: out, s: -1, t: -1, scatter: true}
	if c.ending(body, out, &end) {
		return end
	}
	// light * number: an ending times a number that all three lanes share.
	of := c.lanes(*body, out)
	for _, l := range of {
		if l.shared || l.raw || l.k != kernel(opMul) {
			continue
		}
		for _, by := range l.v[:2] {
			rest, ok := c.others(of, by)
			if !ok {
				continue
			}
			inner, kept := end, without(*body, out)
			if c.ending(&kept, rest, &inner) && (inner.k == kRamp || inner.k == kPaint) {
				inner.k = map[kernel]kernel{kRamp: kShadedRamp, kPaint: kShadedPaint}[inner.k]
				inner.v[1] = by
				*body = kept
				return inner
			}
			*body = without(*body, out)
			end.k, end.v, c.p.shadeBy = kShade, rest, by
			return end
		}
		break
	}
	return end
}

// lane is how one of the three numbers of light is made: by a step that
// nothing else needs, as a number that all pixels share, or otherwise (raw).
type lane struct {
	step
	node        int32
	shared, raw bool
}

func (c *compiler) lanes(body []step, out [3]int32) (of [3]lane) {
	for k, o := range out {
		of[k] = lane{node: o, shared: c.shared(o), raw: !c.shared(o)}
		readers := 0
		for _, p := range out {
			if p == o {
				readers++
			}
		}
		for _, s := range body {
			if of[k].raw && (s.d[0] == o || s.d[1] == o || s.d[2] == o) && c.uses[o] == readers {
				of[k] = lane{step: s, node: o}
			}
		}
	}
	return of
}

// others gives the operands that are multiplied by one number in all lanes. A
// lane that is always 0 is 0 times anything.
func (c *compiler) others(of [3]lane, by int32) (rest [3]int32, ok bool) {
	for k, l := range of {
		zero := l.shared && c.g.nodes[l.node].op == opConst && c.g.nodes[l.node].value() == 0
		switch {
		case zero:
			rest[k] = l.node
		case l.shared || l.raw || l.k != kernel(opMul):
			return rest, false
		case l.v[0] == by:
			rest[k] = l.v[1]
		case l.v[1] == by:
			rest[k] = l.v[0]
		default:
			return rest, false
		}
	}
	return rest, true
}

// without drops the steps that make these nodes.
func without(body []step, nodes [3]int32) []step {
	var kept []step
	for _, s := range body {
		if s.d[0] >= 0 && (s.d[0] == nodes[0] || s.d[0] == nodes[1] || s.d[0] == nodes[2]) {
			continue
		}
		kept = append(kept, s)
	}
	return kept
}

// ending recognises three lanes that one kernel can make, and takes their steps
// out of the body.
func (c *compiler) ending(body *[]step, out [3]int32, end *step) bool {
	of := c.lanes(*body, out)
	if !of[0].raw && !of[0].shared && of[0].k == kernel(opGradient) && of[0].d == out {
		end.k, end.v, end.imm = kPaint, [3]int32{of[0].v[0], -1, -1}, of[0].imm
		*body = without(*body, out)
		return true
	}
	// Each lane is a shared number, x times one, that plus another, or x; what
	// is missing is 0 or 1.
	x, end2 := int32(-1), kTint
	for _, l := range of {
		if !l.shared && !l.raw && (l.k == kMulVS || l.k == kMadVSS) {
			x = l.v[0]
			break
		}
	}
	drop, readers := [3]int32{-1, -1, -1}, map[int32]bool{}
	for k, l := range of {
		s, t := c.zero, c.zero
		switch {
		case l.shared:
			t = c.slot[l.node]
		case l.node == x:
			s = c.one
			readers[-1-int32(k)] = true
		case l.raw || l.v[0] != x || l.k != kMulVS && l.k != kMadVSS:
			return false
		default:
			drop[k] = l.node
			readers[l.node] = true
			s = c.slot[l.s]
			if l.k == kMadVSS {
				t = c.slot[l.t]
			}
		}
		if t != c.zero {
			end2 = kRamp
		}
		c.p.outS[k], c.p.outT[k] = s, t
	}
	if x < 0 {
		return false
	}
	end.k, end.v = end2, [3]int32{x, -1, -1}
	*body = without(*body, drop)
	// A moving gradient: the place is made by a step that nothing else needs.
	if end.k == kRamp && c.uses[x] == len(readers) {
		for i, s := range *body {
			if s.d[0] == x && s.k == kFractVS {
				end.k, end.v[0], end.s = kFractRamp, s.v[0], s.s
				*body = append((*body)[:i:i], (*body)[i+1:]...)
				break
			}
		}
	}
	return true
}

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
