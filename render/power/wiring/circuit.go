package wiring

import (
	"errors"
	"math"
	"slices"
)

// MaxPixels is the most pixels of one plan; up to it the sums of a frame's draws
// along a strip fit 64 bits.
const MaxPixels = 20000

// node is a point of the copper: an unknown potential by index, or, below 0, a
// known one: known[^node].
type node int

// branch is a conductance between two nodes.
type branch struct {
	a, b node
	g    float64
}

// span is a stretch of a strip without a feed or joint inside. Its pixels draw
// from the rails between two knots, or behind the last one.
type span struct {
	strip       int
	from, to    int // knots; to is -1 where the strip just ends
	first, last int // its inner pixels, counted over all strips, in the direction away from from
	step        int // 1, or -1 for a beginning without a feed
	pixels      int
}

// knot is a pixel where a feed or a joint is soldered on.
type knot struct {
	place       Place
	pixel       int // over all strips
	plus, minus node
}

// Circuit is a plan made ready to be solved for any number of frames. It is
// immutable and may be shared; each goroutine takes a Solver of its own.
//
// A pixel draws constant current as long as it has its strip's least volts, as a
// driver with a current sink does. Below, its whole current falls in proportion to
// the volts left, to nothing at 0 V: a simple law for what parts do in many ways,
// and enough to say that a pixel starves, and that the rails of a starved strip
// stay finite.
type Circuit struct {
	plan    Plan
	offset  []int // of each strip's first pixel
	pixels  int
	knots   []knot
	spans   []span
	known   []float64
	unknown int
	fixed   []branch // all but rails
	rails   []branch
	feeds   []branch // plus conductors of the plan's feeds, by its order; g 0 where broken
	terms   []node   // of each supply, its plus terminal
	forks   [][2]node
	knotOf  []int // by pixel: a knot, or -1
	spanOf  []int // by pixel: its span, where it is not a knot
	base    *sparse
	source  []float64 // right-hand side of the supplies alone
}

// New prepares a plan. Refused: values out of range, and a rail that no supply
// reaches, as a *FloatingError.
func New(p Plan) (*Circuit, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	c := &Circuit{plan: p, known: []float64{0}}
	for _, s := range p.Strips {
		c.offset = append(c.offset, c.pixels)
		c.pixels += s.Pixels
	}
	c.supplies()
	c.findKnots()
	for i := range p.Feeds {
		c.feed(&p.Feeds[i])
	}
	for _, j := range p.Joints {
		a, b := c.knots[c.knotOf[c.pixel(j.From)]], c.knots[c.knotOf[c.pixel(j.To)]]
		c.wire(a.plus, b.plus, j.Wire.Plus)
		c.wire(a.minus, b.minus, j.Wire.Minus)
	}
	c.findSpans()
	if err := c.grounded(); err != nil {
		return nil, err
	}
	if !c.assemble() {
		return nil, errors.New("wiring: resistances too far apart to be solved together")
	}
	return c, nil
}

func (c *Circuit) pixel(at Place) int { return c.offset[at.Strip] + at.Pixel }

// Place is where a pixel, counted over all strips, stands.
func (c *Circuit) Place(pixel int) Place {
	s, found := slices.BinarySearch(c.offset, pixel)
	if !found {
		s--
	}
	return Place{s, pixel - c.offset[s]}
}

// Pixels is the number of pixels of all strips.
func (c *Circuit) Pixels() int { return c.pixels }

// Plan is what the circuit was made of.
func (c *Circuit) Plan() *Plan { return &c.plan }

func (c *Circuit) fresh() node { c.unknown++; return node(c.unknown - 1) }

// wire adds a conductor; none where it is broken.
func (c *Circuit) wire(a, b node, ohms float64) {
	if !math.IsInf(ohms, 1) && a != b {
		c.fixed = append(c.fixed, branch{a, b, 1 / ohms})
	}
}

// supplies lays the terminals and the points where feeds fork.
func (c *Circuit) supplies() {
	const ground = ^node(0)
	for _, s := range c.plan.Supplies {
		c.known = append(c.known, s.Volts)
		plus := ^node(len(c.known) - 1)
		if s.Output > 0 {
			t := c.fresh()
			c.wire(plus, t, s.Output)
			plus = t
		}
		c.terms = append(c.terms, plus)
		fork := [2]node{plus, ground}
		for rail, ohms := range []float64{s.Lead.Plus, s.Lead.Minus} {
			if ohms > 0 {
				n := c.fresh()
				c.wire(fork[rail], n, ohms)
				fork[rail] = n
			}
		}
		c.forks = append(c.forks, fork)
	}
}

func (c *Circuit) findKnots() {
	c.knotOf = make([]int, c.pixels)
	for i := range c.knotOf {
		c.knotOf[i] = -1
	}
	at := func(p Place) {
		if i := c.pixel(p); c.knotOf[i] < 0 {
			c.knotOf[i] = len(c.knots)
			c.knots = append(c.knots, knot{p, i, c.fresh(), c.fresh()})
		}
	}
	for _, f := range c.plan.Feeds {
		at(f.At)
	}
	for _, j := range c.plan.Joints {
		at(j.From)
		at(j.To)
	}
}

func (c *Circuit) feed(f *Feed) {
	k, fork := c.knots[c.knotOf[c.pixel(f.At)]], c.forks[f.Supply]
	c.wire(fork[0], k.plus, f.Wire.Plus)
	c.wire(fork[1], k.minus, f.Wire.Minus)
	c.feeds = append(c.feeds, branch{fork[0], k.plus, 1 / f.Wire.Plus}) // 1/Inf is 0
}

// findSpans cuts every strip at its knots.
func (c *Circuit) findSpans() {
	for s := range c.plan.Strips {
		rails := c.plan.Strips[s].Rails
		begin, end := c.offset[s], c.offset[s]+c.plan.Strips[s].Pixels
		last := -1
		for i := begin; i < end; i++ {
			k := c.knotOf[i]
			if k < 0 {
				continue
			}
			switch {
			case last < 0 && i > begin:
				c.spans = append(c.spans, span{strip: s, from: k, to: -1, first: i - 1, last: begin, step: -1, pixels: i - begin})
			case last >= 0:
				from, n := c.knotOf[last], i-last-1
				c.spans = append(c.spans, span{strip: s, from: from, to: k, first: last + 1, last: i - 1, step: 1, pixels: n})
				a, b := c.knots[from], c.knots[k]
				c.rails = append(c.rails, branch{a.plus, b.plus, 1 / (rails.Plus * float64(n+1))}, branch{a.minus, b.minus, 1 / (rails.Minus * float64(n+1))})
			}
			last = i
		}
		if last >= 0 && last < end-1 {
			c.spans = append(c.spans, span{strip: s, from: c.knotOf[last], to: -1, first: last + 1, last: end - 1, step: 1, pixels: end - 1 - last})
		}
	}
	c.spanOf = make([]int, c.pixels)
	for i := range c.spans {
		sp := &c.spans[i]
		for k := range sp.pixels {
			c.spanOf[sp.first+k*sp.step] = i
		}
	}
}

// grounded looks for rails that no supply reaches.
func (c *Circuit) grounded() error {
	root := make([]int, c.unknown+len(c.known)) // unknown nodes, then known ones
	for i := range root {
		root[i] = i
	}
	var find func(int) int
	find = func(i int) int {
		if root[i] != i {
			root[i] = find(root[i])
		}
		return root[i]
	}
	id := func(n node) int {
		if n < 0 {
			return c.unknown + int(^n)
		}
		return int(n)
	}
	for _, list := range [][]branch{c.fixed, c.rails} {
		for _, b := range list {
			root[find(id(b.a))] = find(id(b.b))
		}
	}
	fed := map[int]bool{}
	for k := range c.known {
		fed[find(c.unknown+k)] = true
	}
	for s := range c.plan.Strips {
		at := -1
		for i := c.offset[s]; i < c.offset[s]+c.plan.Strips[s].Pixels && at < 0; i++ {
			at = c.knotOf[i]
		}
		if at < 0 {
			return &FloatingError{Strip: s}
		}
	}
	for _, k := range c.knots {
		for rail, n := range []node{k.plus, k.minus} {
			if !fed[find(id(n))] {
				return &FloatingError{Strip: k.place.Strip, Minus: rail == 1}
			}
		}
	}
	return nil
}

// assemble lays down the matrix of all node potentials, with room for what
// starving pixels add between the rails of a span, and factors it.
func (c *Circuit) assemble() (ok bool) {
	var edges [][2]int
	for _, list := range [][]branch{c.fixed, c.rails} {
		for _, b := range list {
			if b.a >= 0 && b.b >= 0 {
				edges = append(edges, [2]int{int(b.a), int(b.b)})
			}
		}
	}
	for _, k := range c.knots {
		edges = append(edges, [2]int{int(k.plus), int(k.minus)})
	}
	for _, s := range c.spans {
		if s.to >= 0 {
			a, b := c.knots[s.from], c.knots[s.to]
			edges = append(edges, [2]int{int(a.plus), int(b.minus)}, [2]int{int(a.minus), int(b.plus)})
		}
	}
	c.base = newSparse(c.unknown, edges)
	c.source = make([]float64, c.unknown)
	for _, list := range [][]branch{c.fixed, c.rails} {
		for _, b := range list {
			for _, e := range [][2]node{{b.a, b.b}, {b.b, b.a}} {
				if e[0] < 0 {
					continue
				}
				c.base.add(int(e[0]), int(e[0]), b.g)
				if e[1] < 0 {
					c.source[e[0]] += b.g * c.known[^e[1]]
				}
			}
			if b.a >= 0 && b.b >= 0 {
				c.base.add(int(b.a), int(b.b), -b.g)
			}
		}
	}
	return c.base.factor()
}
