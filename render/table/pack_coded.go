package table

import (
	"fmt"
	"slices"
)

// encoder codes a clip, or weighs what that would take.
type encoder struct {
	m      *model
	g      *planner
	limit  int // cycles a frame, 0: none
	hop    int // cycles from a start to any frame, 0: no starts but the first
	every  int // frames from start to start, 0: no starts but the first
	cycles []uint32
	mapped bool // the palette becomes a field's map
	opens  int  // cycles that opening the clip takes
	starts []start
	raw    int   // frames stored as they are
	light  int   // frames without second contexts
	part   int   // frames with planes stored as they are
	before model // memory before the frame
	end    []uint8
	length int
}

// run codes all frames and gives what it took, in 256ths of a bit.
func (e *encoder) run(way way, p *planes) uint64 {
	m := e.m
	m.way, m.out, m.spent = way, nil, 0
	m.toil = toil{}
	if err := m.colours(p.colours); err != nil {
		panic("table: a palette refused by its own writer")
	}
	e.opens = m.toil.cycles() + costHead
	if way == weighing {
		e.opens += costShift * int(m.spent>>8)
	}
	if e.mapped {
		e.opens += costMapped * len(p.colours)
	}
	e.cycles = make([]uint32, p.frames)
	e.starts, e.raw, e.light, e.part = nil, 0, 0, 0
	sum := 0
	begin := func(f int) {
		if f > 0 && m.way == encoding {
			m.finish()
		}
		if m.way == weighing {
			m.spent += 3 * 8 * 256
			if f > 0 {
				m.spent += 6 * 8 * 256
			}
		}
		e.starts = append(e.starts, start{f, len(m.out)})
		m.toil = toil{}
		m.reset()
		m.begin()
		e.g.begin(f)
		sum = 0
	}
	for f := range p.frames {
		if f == 0 || e.every > 0 && f%e.every == 0 {
			begin(f)
		} else {
			m.toil = toil{}
		}
		wanted := p.data[f*p.bytes : (f+1)*p.bytes]
		pl := e.g.next(f)
		e.keep()
		e.code(wanted, pl)
		c := m.toil.cycles()
		if e.hop > 0 && sum+c > e.hop && sum > 0 && len(e.starts) < 255 {
			e.back()
			begin(f)
			pl = e.g.next(f)
			e.keep()
			e.code(wanted, pl)
			c = m.toil.cycles()
		}
		sum += c
		e.cycles[f] = uint32(c)
	}
	if way == encoding {
		m.finish()
	}
	return m.spent
}

// code codes one frame. One over the limit is coded without second contexts; if
// it still is, with as few planes as will do stored as they are; else it is
// stored as it is.
func (e *encoder) code(wanted []uint8, pl *plan) {
	if e.try(wanted, pl) {
		return
	}
	light := *pl
	light.light = true
	e.back()
	if e.m.k.second != alone && e.try(wanted, &light) {
		e.light++
		return
	}
	over := e.m.toil.cycles() - e.limit
	if e.m.k.second == alone {
		e.try(wanted, pl) // to count
		over = e.m.toil.cycles() - e.limit
	}
	e.back()
	for range 3 {
		light.bare = e.bare(pl, over)
		if light.bare == nil {
			break
		}
		if e.try(wanted, &light) {
			e.part++
			return
		}
		e.back()
		over += over/4 + 2000
	}
	e.try(wanted, &plan{raw: true})
	e.raw++
}

// try codes a frame in one way and tells whether it keeps the limit.
func (e *encoder) try(wanted []uint8, how *plan) bool {
	spent := e.m.spent
	if err := e.m.next(wanted, how); err != nil {
		panic("table: a frame refused by its own writer: " + err.Error())
	}
	if e.m.way == weighing {
		e.m.toil.shifts = int(e.m.spent-spent) >> 8
	}
	return e.limit == 0 || e.m.toil.cycles() <= e.limit
}

// bare chooses the planes to be stored as they are so that a frame costs over
// cycles less: the smallest one that will do, else the largest and further ones.
func (e *encoder) bare(pl *plan, over int) []uint8 {
	k := e.m.k
	if pl.same || pl.how == nil {
		return nil
	}
	out := make([]uint8, len(k.stretches))
	for over > 0 {
		best, channel := -1, 0
		for i := range k.stretches {
			s := &k.stretches[i]
			if s.how != isCoded {
				continue
			}
			for ch := range s.stride {
				if (out[i]|pl.equal[i])>>ch&1 != 0 {
					continue
				}
				n, had := s.pixels, 0
				if best >= 0 {
					had = k.stretches[best].pixels
				}
				does := n*bareSaves >= over
				did := had*bareSaves >= over
				if best < 0 || does && (!did || n < had) || !does && !did && n > had {
					best, channel = i, ch
				}
			}
		}
		if best < 0 {
			return nil
		}
		out[best] |= 1 << channel
		over -= k.stretches[best].pixels * bareSaves
	}
	return out
}

// bareSaves is what a sample stored as it is saves at least, in cycles.
const bareSaves = costSample + costSingle - costRaw

// copyFrom makes m what o is, in memory of its own.
func (m *model) copyFrom(o *model) {
	own := *m
	*m = *o
	m.out = own.out
	m.frame = append(own.frame[:0], o.frame...)
	m.palette = append(own.palette[:0], o.palette...)
	if o.history != nil {
		m.history = append(own.history[:0], o.history...)
	}
	m.first = append(own.first[:0], o.first...)
	m.second = append(own.second[:0], o.second...)
	m.how = append(own.how[:0], o.how...)
	m.ring = own.ring
	for len(m.ring) < len(o.ring) {
		m.ring = append(m.ring, nil)
	}
	for i := range o.ring {
		m.ring[i] = append(m.ring[i][:0], o.ring[i]...)
	}
}

// keep remembers m's memory and the end of its bytes, back restores them. A
// carry reaches back to the last byte that is not 255 and no further.
func (e *encoder) keep() {
	e.before.copyFrom(e.m)
	out := e.m.out
	e.length = len(out)
	i := len(out)
	for i > 0 {
		if i--; out[i] != 255 {
			break
		}
	}
	e.end = append(e.end[:0], out[i:]...)
}

func (e *encoder) back() {
	out := e.m.out[:e.length]
	copy(out[len(out)-len(e.end):], e.end)
	e.m.copyFrom(&e.before)
	e.m.out = out
}

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

// packCoded codes a clip in the smallest way found within the limits; nil if
// there is none.
func packCoded(t *Show, c *Clip, lim codedLimits) *packedClip {
	if c.Channels == 0 {
		return nil
	}
	type candidate struct {
		p    *planes
		k    coded
		g    *planner
		cost uint64
	}
	var best *candidate
	weigh := func(p *planes, k coded, g *planner) *candidate {
		if k.work() > lim.work {
			return nil
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
		cand := &candidate{p, k, g, cost}
		if best == nil || cost < best.cost {
			best = cand
		}
		return cand
	}
	var both []*planes
	if !lim.full {
		both = append(both, planesOf(t, c, true, lim.row))
	}
	if both != nil && both[0] == nil && lim.row != nil {
		return nil
	}
	if both == nil || both[0] == nil {
		both = []*planes{planesOf(t, c, false, nil)}
	}
	for _, p := range both {
		k := coded{palette: p.count > 0, colours: p.count, dies: t.mostDies(), bytes: p.bytes, period: p.period, starts: []start{{}}}
		if p.count == 0 {
			k.dies = 0
		}
		k.stretches = p.stretches(false)
		if len(k.stretches) > 255 {
			continue
		}
		k.history, k.second = true, byShape
		if !lim.best {
			lim.fit(&k, 3)
			weigh(p, k, nil)
			continue
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
			weigh(p, n, nil)
		}
		if best == nil {
			continue
		}
		if lim.hop {
			for _, slots := range []int{3, 2, 1, 0} {
				n := best.k
				n.slots = min(n.slots, slots)
				weigh(p, n, nil)
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
				weigh(p, n, best.g)
				continue
			}
			n.slots = 0
			lim.fit(&n, best.k.slots)
			weigh(p, n, nil)
		}
	}
	if best == nil {
		if lim.row == nil && both[0].count > 0 {
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
