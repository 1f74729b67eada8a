package table

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
