package wiring

import "math"

// rung is one pixel of a ladder whose pixels are eliminated one after the other:
// v(k) = e (v(k+1) + h v(knot) - w).
type rung struct{ e, h, w float64 }

// patience is the most rounds of starving. Each round settles at least one pixel
// where one supply feeds all; in practice there are three to six.
const patience = 1000

// starving solves a frame in which the plain solution leaves pixels below their
// least volts. A starving pixel is a conductance of its current over the least
// volts; which ones starve is found by rounds of solving, from all that lack
// volts in the plain solution. The voltages rise from round to round, since
// starving pixels leave more for the others, so pixels only recover, and the
// rounds end (it is Newton's method on a concave law, where it comes from one
// side).
func (s *Solver) starving() error {
	c := s.c
	if s.matrix == nil {
		s.matrix = c.base.clone()
		s.starve, s.rungs, s.volts = make([]bool, c.pixels), make([]rung, c.pixels), make([]float64, c.pixels)
	}
	clear(s.starve)
	s.Volts(s.volts)
	s.starved = true
	for range patience {
		if !s.mark() {
			return s.balanced()
		}
		if !s.round() {
			return ErrNoBalance
		}
	}
	return ErrNoBalance
}

// mark notes which pixels starve, and whether that is news. Within a rounding
// error of the least volts both laws agree.
func (s *Solver) mark() (news bool) {
	for i := range s.c.plan.Strips {
		least := s.c.plan.Strips[i].Least
		first := s.c.offset[i]
		for k := first; k < first+s.c.plan.Strips[i].Pixels; k++ {
			v := s.volts[k]
			if now := v < least && s.draw[k] > 0; now != s.starve[k] {
				s.starve[k] = now
				news = news || math.Abs(v-least) > 1e-12*least
			}
		}
	}
	return news
}

func (s *Solver) balanced() error {
	for i, v := range s.volts {
		if s.draw[i] > 0 && (v < -1e-9 || math.IsNaN(v)) {
			return ErrNoBalance
		}
	}
	return nil
}

// stamp adds a conductance between the voltages of two knots: what the rails of a
// span or a pixel put between plus and minus.
func (s *Solver) stamp(a, b *knot, g float64) {
	m := s.matrix
	if a == b {
		m.add(int(a.plus), int(a.plus), g)
		m.add(int(a.minus), int(a.minus), g)
		m.add(int(a.plus), int(a.minus), -g)
		return
	}
	m.add(int(a.plus), int(b.plus), g)
	m.add(int(a.minus), int(b.minus), g)
	m.add(int(a.plus), int(b.minus), -g)
	m.add(int(a.minus), int(b.plus), -g)
}

// round solves once with the pixels that starve now.
func (s *Solver) round() (ok bool) {
	c, b := s.c, s.x
	copy(s.matrix.base, c.base.base)
	copy(b, c.source)
	s.takeOthers(b)
	for i := range c.knots {
		k := &c.knots[i]
		amps := float64(s.draw[k.pixel]) / Ampere
		if s.starve[k.pixel] {
			s.stamp(k, k, amps/c.plan.Strips[k.place.Strip].Least)
			continue
		}
		b[k.plus] -= amps
		b[k.minus] += amps
	}
	for i := range c.spans {
		if c.spans[i].pixels > 0 {
			s.eliminate(&c.spans[i], b)
		}
	}
	if !s.matrix.factor() {
		return false
	}
	s.matrix.solve(b, s.work)
	for i := range c.knots {
		s.volts[c.knots[i].pixel] = s.knotVolts(i)
	}
	for i := range c.spans {
		s.replace(&c.spans[i])
	}
	return true
}

// pull is what a pixel adds to its row of the ladder, times the ohms of a step: a
// constant current, or a conductance where it starves.
func (s *Solver) pull(sp *span, at int, r float64) (current, conductance float64) {
	v := r * float64(s.draw[at]) / Ampere
	if s.starve[at] {
		return 0, v / s.c.plan.Strips[sp.strip].Least
	}
	return v, 0
}

// eliminate reduces a span to conductances between its knots and currents drawn
// from them. The plain matrix already holds the rails as they are without loads.
func (s *Solver) eliminate(sp *span, b []float64) {
	r := s.c.loop(sp.strip)
	from := &s.c.knots[sp.from]
	draw := func(k *knot, amps float64) {
		b[k.plus] -= amps
		b[k.minus] += amps
	}
	if sp.to < 0 {
		// From the open end inwards: v(k) = e (v(k-1) - w).
		e, w := 0.0, 0.0
		for at := sp.last; ; at -= sp.step {
			i, g := s.pull(sp, at, r)
			w = i + e*w
			if at == sp.last {
				e = 1 / (1 + g)
			} else {
				e = 1 / (2 + g - e)
			}
			s.rungs[at] = rung{e: e, w: w}
			if at == sp.first {
				break
			}
		}
		s.stamp(from, from, (1-e)/r)
		draw(from, e*w/r)
		return
	}
	to := &s.c.knots[sp.to]
	e, h, w := 0.0, 1.0, 0.0
	for at := sp.first; at <= sp.last; at++ {
		i, g := s.pull(sp, at, r)
		if at > sp.first {
			h *= e
		}
		w = i + e*w
		e = 1 / (2 + g - e)
		s.rungs[at] = rung{e, h, w}
	}
	// What the first pixel's voltage is made of, from the far end back.
	onFrom, onTo, rest := 0.0, 1.0, 0.0
	for at := sp.last; at >= sp.first; at-- {
		q := &s.rungs[at]
		onFrom, onTo, rest = q.e*(onFrom+q.h), q.e*onTo, q.e*(rest-q.w)
	}
	bare := 1 / (r * float64(sp.pixels+1))
	s.stamp(from, from, (1-onFrom)/r-bare)
	s.stamp(to, to, (1-e)/r-bare)
	s.stamp(from, to, bare-onTo/r)
	draw(from, -rest/r)
	draw(to, e*w/r)
}

// replace finds the inner voltages of a span from those of its knots.
func (s *Solver) replace(sp *span) {
	if sp.pixels == 0 {
		return
	}
	v := s.knotVolts(sp.from)
	if sp.to < 0 {
		for at := sp.first; at != sp.last+sp.step; at += sp.step {
			q := &s.rungs[at]
			v = q.e * (v - q.w)
			s.volts[at] = v
		}
		return
	}
	near := v
	v = s.knotVolts(sp.to)
	for at := sp.last; at >= sp.first; at-- {
		q := &s.rungs[at]
		v = q.e * (v + q.h*near - q.w)
		s.volts[at] = v
	}
}

// Starved counts the pixels that have less than their least volts.
func (s *Solver) Starved() int {
	n := 0
	if s.starved {
		for _, low := range s.starve {
			if low {
				n++
			}
		}
	}
	return n
}
