package script

import (
	"math"

	"paneglow/anim/finding"
)

// limit bounds every number of a graph: larger ones saturate. It leaves float32
// room for a product of two such numbers, so no operation overflows to infinity
// and none meets infinity minus infinity.
const limit = 1e12

// maxNodes is the largest graph: a shower of some hundred drops fits, a hostile
// script cannot fill memory.
const maxNodes = 8192

// maxGradients bounds the tables that a pattern makes its program hold.
const maxGradients = 64

// place is a position in the script, compact enough to stand in every node.
type place struct{ line, col int32 }

// node is one operation on earlier nodes. lo and hi bound its value: proven
// bounds make edge rules free where they cannot apply, and keep everything finite.
type node struct {
	op     op
	class  Class
	args   [3]int32 // -1: none
	imm    uint64   // of opConst the float64's bits; a seed, a strip, turns, a decay
	lo, hi float64
	pos    place
}

func (n *node) value() float64 { return math.Float64frombits(n.imm) }

type nodeKey struct {
	op   op
	args [3]int32
	imm  uint64
}

// builder grows a graph in which equal expressions are one node.
type builder struct {
	nodes     []node
	memo      map[nodeKey]int32
	at        place // of the operation being traced
	full      bool  // maxNodes was reached
	spans     [opCount_][2]float64
	palettes  []*palette
	paletteAt map[string]int
}

func newBuilder() *builder {
	return &builder{memo: map[nodeKey]int32{}, paletteAt: map[string]int{}}
}

// put adds a node, or finds the equal one. Its bounds come from span; a node
// that might leave the limit is clamped to it.
func (b *builder) put(o op, imm uint64, args ...int32) int32 {
	k := nodeKey{op: o, imm: imm, args: [3]int32{-1, -1, -1}}
	copy(k.args[:], args)
	if id, ok := b.memo[k]; ok {
		return id
	}
	n := node{op: o, args: k.args, imm: imm, pos: b.at, class: ownClass(o)}
	folds := ops[o].arity > 0 && o != opTrail
	for _, a := range args {
		n.class |= b.nodes[a].class
		folds = folds && b.nodes[a].op == opConst
	}
	if folds {
		var v [3]float64
		for i, a := range args {
			v[i] = b.nodes[a].value()
		}
		return b.num(b.fold(o, imm, v))
	}
	if len(b.nodes) >= maxNodes {
		b.full = true // told by the builtin that is running
		return 0
	}
	n.lo, n.hi = b.span(&n)
	id := int32(len(b.nodes))
	b.nodes = append(b.nodes, n)
	if !(n.lo >= -limit && n.hi <= limit) {
		b.memo[k] = b.put(opClamp, 0, id, b.num(-limit), b.num(limit))
		return b.memo[k]
	}
	b.memo[k] = id
	return id
}

// fold computes a node whose operands are known.
func (b *builder) fold(o op, imm uint64, v [3]float64) float64 {
	if o == opGradient {
		return float64(b.palettes[imm>>2].at(float32(v[0]), int(imm&3)))
	}
	return eval64(o, imm, v[0], v[1], v[2])
}

func ownClass(o op) Class {
	switch {
	case o == opTrail:
		return PerBoth
	case o >= opSeconds && o <= opCycle:
		return PerFrame
	case o >= opX && o <= opOn:
		return PerPixel
	}
	return Constant
}

// num is a constant; beyond the limit it saturates.
func (b *builder) num(v float64) int32 {
	v = math.Min(math.Max(v, -limit), limit)
	if v == 0 {
		v = 0 // one zero, without a sign
	}
	k := nodeKey{op: opConst, imm: math.Float64bits(v), args: [3]int32{-1, -1, -1}}
	if id, ok := b.memo[k]; ok {
		return id
	}
	if len(b.nodes) >= maxNodes {
		b.full = true
		return 0
	}
	id := int32(len(b.nodes))
	b.nodes = append(b.nodes, node{op: opConst, args: k.args, imm: k.imm, lo: v, hi: v, pos: b.at})
	b.memo[k] = id
	return id
}

func (b *builder) constant(id int32) (float64, bool) {
	n := &b.nodes[id]
	return n.value(), n.op == opConst
}

// uniform tells whether all pixels share the node's value.
func (b *builder) uniform(id int32) bool { return b.nodes[id].class&PerPixel == 0 }

// Node is a read-only view of one operation.
type Node struct {
	Op    string
	Class Class
	Args  []int // indices into Graph.Nodes
	// Value is the number of a "const"; of a "cycle" the turns in the clip, of
	// "on" the strip's index, of a "trail" what is left after a frame, of hash
	// and noise the seed, of a "gradient" 4 times its number plus the lane.
	Value  float64
	Lo, Hi float64 // proven bounds
	State  bool    // remembers a number per pixel from frame to frame
	Pos    finding.Pos
}

// Cycle is one now.cycle of a pattern.
type Cycle struct {
	Asked float64 // seconds
	Turns float64 // in the clip; whole in a clip that loops
	Took  float64 // seconds
	Pos   finding.Pos
}

// Graph is a traced pattern. It has no loops, so its cost is known before it
// runs. Nodes refer to earlier nodes only.
type Graph struct {
	nodes    []node
	out      [3]int32
	palettes []*palette
	cycles   []Cycle
	hints    finding.List
	opt      Options
	src      *source
}

// Period is the clip's length in frames; frame Period is frame 0 again in a
// clip that loops.
func (g *Graph) Period() int { return g.opt.Frames }

// Cycles lists the now.cycle calls, in the order of the script.
func (g *Graph) Cycles() []Cycle { return append([]Cycle(nil), g.cycles...) }

// Out gives the indices of the nodes that are red, green and blue.
func (g *Graph) Out() [3]int { return [3]int{int(g.out[0]), int(g.out[1]), int(g.out[2])} }

// Nodes gives a copy of the graph for reading, operands before their users.
// Nodes that the light does not need are included.
func (g *Graph) Nodes() []Node {
	out := make([]Node, len(g.nodes))
	for i := range g.nodes {
		n := &g.nodes[i]
		v := Node{Op: ops[n.op].name, Class: n.class, Lo: n.lo, Hi: n.hi, State: n.op == opTrail, Pos: g.src.pos(n.pos)}
		for _, a := range n.args {
			if a >= 0 {
				v.Args = append(v.Args, int(a))
			}
		}
		switch n.op {
		case opConst, opCycle, opTrail:
			v.Value = n.value()
		default:
			v.Value = float64(n.imm & (1<<32 - 1))
		}
		out[i] = v
	}
	return out
}

// live marks what the light depends on.
func (g *Graph) live() []bool {
	on := make([]bool, len(g.nodes))
	for _, o := range g.out {
		on[o] = true
	}
	for i := len(g.nodes) - 1; i >= 0; i-- {
		if !on[i] {
			continue
		}
		for _, a := range g.nodes[i].args {
			if a >= 0 {
				on[a] = true
			}
		}
	}
	return on
}

// Cost is what a pattern takes to compute, counted on its graph.
type Cost struct {
	Clip   int     // operations once a clip, for every pixel
	Frame  int     // operations once a frame
	Pixel  int     // operations for every pixel of every frame
	Weight float64 // the latter in additions, roughly
	State  int     // bytes that trails remember, for the layout traced for
}

// Cost counts the operations the light needs.
func (g *Graph) Cost() Cost {
	var c Cost
	for i, on := range g.live() {
		n := &g.nodes[i]
		if !on || ops[n.op].arity == 0 {
			continue
		}
		switch n.class {
		case PerFrame:
			c.Frame++
		case PerPixel:
			c.Clip++
		case PerBoth:
			c.Pixel++
			c.Weight += ops[n.op].weight
			if n.op == opTrail {
				c.State += 4 * len(g.opt.Layout.Pixels)
			}
		}
	}
	return c
}
