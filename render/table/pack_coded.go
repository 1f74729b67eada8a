package table

import (
	"fmt"
	"slices"
)

// limits of a coded clip.
type codedLimits struct {
	cycles int // a frame, 0: none
	work   int // bytes
	hop    bool
	every  int
	best   bool
	full   bool // no palette
	row    *row // the palette, in its order; nil: found here
}

// packedClip is a clip coded.
type packedClip struct {
	payload []byte
	k       *coded
	cycles  []uint32
	raw     int // frames stored as they are
	light   int // frames without second contexts
	part    int // frames with planes stored as they are
}

// candidate is a way of coding a clip, weighed.
type candidate struct {
	p    *planes
	k    coded
	g    *planner
	cost uint64 // 256ths of a bit
}

// packCoded codes a clip in the smallest way found within the limits; nil if
// there is none.
func packCoded(t *Show, c *Clip, lim codedLimits) *packedClip {
	if c.Channels == 0 {
		return nil
	}
	var p *planes
	if !lim.full {
		p = planesOf(t, c, true, lim.row)
	}
	if p == nil {
		if lim.row != nil {
			return nil
		}
		p = planesOf(t, c, false, nil)
	}
	best := lim.smallest(t, p)
	if turning := p.turning(c.Frames); turning != nil {
		if x := lim.smallest(t, turning); x != nil && (best == nil || x.cost < best.cost) {
			best = x
		}
	}
	if best == nil {
		if lim.row == nil && p.count > 0 {
			lim.full = true
			return packCoded(t, c, lim)
		}
		return nil
	}
	e := lim.encoder(newModel(&best.k), best.g)
	e.run(encoding, best.p)
	k := best.k
	k.starts = e.starts
	head := k.marshal() // its length does not depend on the values
	for i := range k.starts {
		k.starts[i].at += len(head)
	}
	for len(e.cycles) < c.Frames {
		e.cycles = append(e.cycles, e.cycles[len(e.cycles)-best.p.frames])
	}
	return &packedClip{append(k.marshal(), e.m.out...), &k, e.cycles, e.raw, e.light, e.part}
}

// weigh tells what a way of coding would cost; nil where the limits do not allow
// it. g is a planner that has chosen predictions, or nil.
func (lim codedLimits) weigh(p *planes, k coded, g *planner) *candidate {
	if k.work() > lim.work || len(k.turns) > 0 && k.slots == 0 {
		return nil // what turns needs its frame kept
	}
	if g == nil {
		reach := 4
		if lim.best {
			reach = 15
		}
		if k.slots == 0 {
			reach = 0
		}
		g = newPlanner(p, &k, reach)
	}
	e := lim.encoder(newModel(&k), g)
	cost := e.run(weighing, p) + uint64(len(k.marshal()))*8*256
	if e.opens > OpeningCycles {
		return nil // a palette that would hold up a refresh
	}
	return &candidate{p, k, g, cost}
}

// smallest is the smallest way found of coding planes; nil if there is none.
func (lim codedLimits) smallest(t *Show, p *planes) (best *candidate) {
	weigh := func(k coded, g *planner) {
		if x := lim.weigh(p, k, g); x != nil && (best == nil || x.cost < best.cost) {
			best = x
		}
	}
	k := coded{palette: p.count > 0, colours: p.count, dies: t.mostDies(), bytes: p.bytes, period: p.period, turns: p.turns, starts: []start{{}}}
	if p.count == 0 {
		k.dies = 0
	}
	k.stretches = p.stretches(false)
	if len(k.stretches) > 255 {
		return nil
	}
	k.history, k.second = true, byShape
	if !lim.best {
		lim.fit(&k, 3)
		weigh(k, nil)
		return best
	}
	// Strips or one line, ends open or closed; with the history or with more
	// older frames in its place.
	joined := p.stretches(true)
	for _, v := range [8]struct{ wrap, join, bare bool }{
		{false, false, false}, {true, false, false}, {false, true, false}, {true, true, false},
		{false, false, true}, {true, false, true}, {false, true, true}, {true, true, true},
	} {
		n := k
		n.wrap = v.wrap
		if v.join {
			if slices.Equal(joined, k.stretches) {
				continue
			}
			n.stretches = joined
		}
		if v.bare {
			n.history, n.second = false, alone
		}
		lim.fit(&n, 8)
		weigh(n, nil)
	}
	if best == nil {
		return nil
	}
	if lim.hop {
		for _, slots := range []int{3, 2, 1, 0} {
			n := best.k
			n.slots = min(n.slots, slots)
			weigh(n, nil)
		}
	}
	// Other second contexts, with the same predictions where they fit.
	for _, v := range []struct {
		second second
		shift  uint8
	}{{alone, 0}, {byShape, 0}, {byValue, 0}, {byValue, 1}, {byValue, 2}} {
		n := best.k
		n.second, n.shift = v.second, v.shift
		if n.work() <= lim.work {
			weigh(n, best.g)
			continue
		}
		n.slots = 0
		lim.fit(&n, best.k.slots)
		weigh(n, nil)
	}
	return best
}

// fit takes as many older frames as there is memory for.
func (lim codedLimits) fit(k *coded, most int) {
	k.slots = 0
	if room := lim.work - k.work(); room > 0 {
		k.slots = min(most, room/max(k.bytes, 1))
	}
}

func (lim codedLimits) encoder(m *model, g *planner) *encoder {
	e := &encoder{m: m, g: g, limit: lim.cycles, every: lim.every, mapped: lim.row != nil}
	if lim.hop {
		e.hop = lim.cycles
	}
	return e
}

// why says in words what was chosen.
func (x *packedClip) why() string {
	k := x.k
	how := "full colour"
	if k.palette {
		how = fmt.Sprintf("%d colours", k.colours)
	}
	if k.period > 0 {
		how += fmt.Sprintf(", repeats after %d frames", k.period)
		if len(k.turns) > 0 {
			how += " at another place"
		}
	}
	copied := 0
	for _, s := range k.stretches {
		if s.how != isCoded {
			copied += s.pixels
		}
	}
	if copied > 0 {
		how += fmt.Sprintf(", %d pixels copied", copied)
	}
	how += fmt.Sprintf(", %d older frames", k.slots)
	if !k.history {
		how += ", no history"
	}
	if k.wrap {
		how += ", goes round"
	}
	how += [seconds]string{"", ", by value", ", by shape"}[k.second]
	if len(k.starts) > 1 {
		how += fmt.Sprintf(", %d start points", len(k.starts))
	}
	if x.light > 0 {
		how += fmt.Sprintf(", %d frames without it", x.light)
	}
	if x.part > 0 {
		how += fmt.Sprintf(", %d frames partly as they are", x.part)
	}
	if x.raw > 0 {
		how += fmt.Sprintf(", %d frames as they are", x.raw)
	}
	return how
}
