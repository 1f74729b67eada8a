package script

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
