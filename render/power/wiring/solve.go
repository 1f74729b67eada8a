package wiring

import (
	"errors"
	"math"
)

// Ampere is one ampere as a draw: draws are whole microamperes times 255, as
// package power counts them, so that sums along a strip are exact.
const Ampere = 255e6

// Solver solves frame after frame of one circuit. One serves one goroutine.
type Solver struct {
	c    *Circuit
	draw []int64 // of the frame solved last

	// Running sums along each span, away from its from knot: sum[k] of the draws
	// up to and with pixel k, run[k] of the sums before it. With r ohms from
	// pixel to pixel and I flowing out of the knot, pixel k has
	//
	//	v = v(knot) - r (I (k+1) - run[k])
	sum, run []int64
	ends     []end // by span
	low      Low

	x     []float64 // node potentials
	work  []float64
	other []float64 // amperes that other loads draw at each supply's terminals
	fork  []float64 // and what is drawn where its feeds fork

	// Where some pixel starves.
	starved bool
	starve  []bool
	matrix  *sparse
	rungs   []rung
	volts   []float64
}

// end is what a span asks of its knots.
type end struct {
	from, to float64 // A drawn from the knots when both have the same volts
	flow     float64 // A that leaves the from knot in the end
	total    int64
}

// Solver makes a solver.
func (c *Circuit) Solver() *Solver {
	return &Solver{
		c: c, sum: make([]int64, c.pixels), run: make([]int64, c.pixels), ends: make([]end, len(c.spans)),
		x: make([]float64, c.unknown), work: make([]float64, c.unknown), other: make([]float64, len(c.plan.Supplies)), fork: make([]float64, len(c.plan.Supplies)),
	}
}

// Other sets what everything else draws from a supply, at its terminals: it
// matters where the supply's output has a resistance.
func (s *Solver) Other(supply int, amps float64) { s.other[supply] = amps }

// others is Other for all supplies.
func (s *Solver) others(amps []float64) {
	clear(s.other)
	copy(s.other, amps)
}

// ErrNoBalance says that no voltages of 0 or more fit the draws: supplies push
// against each other, or a strip without least volts is overloaded.
var ErrNoBalance = errors.New("wiring: no steady voltages found")

// Solve finds the voltages of one frame of draws, one for each pixel of each strip
// in their order, in units of 1/Ampere, none negative. It keeps the draws until
// the next call. It panics when their number is not the circuit's. Unless pixels
// starve it takes time in proportion to the pixels and allocates nothing.
func (s *Solver) Solve(draw []int64) error {
	if len(draw) != s.c.pixels {
		panic("wiring: draws of another number than the circuit's pixels")
	}
	s.draw, s.starved = draw, false
	c := s.c
	b := s.x
	copy(b, c.source)
	for i := range c.knots {
		k := &c.knots[i]
		amps := float64(draw[k.pixel]) / Ampere
		b[k.plus] -= amps
		b[k.minus] += amps
	}
	s.takeOthers(b)
	for i := range c.spans {
		sp := &c.spans[i]
		e := &s.ends[i]
		total, run := s.add(sp)
		e.total = total
		amps := float64(total) / Ampere
		k := &c.knots[sp.from]
		if sp.to < 0 {
			e.from, e.to = amps, 0
		} else {
			e.from = float64(run) / (Ampere * float64(sp.pixels+1))
			e.to = amps - e.from
			t := &c.knots[sp.to]
			b[t.plus] -= e.to
			b[t.minus] += e.to
		}
		b[k.plus] -= e.from
		b[k.minus] += e.from
	}
	c.base.solve(b, s.work)
	for i := range c.spans {
		sp := &c.spans[i]
		e := &s.ends[i]
		e.flow = e.from
		if sp.to >= 0 {
			e.flow += (s.knotVolts(sp.from) - s.knotVolts(sp.to)) / (c.loop(sp.strip) * float64(sp.pixels+1))
		}
	}
	s.low = s.lowest()
	if s.low.Margin() < 0 {
		if err := s.starving(); err != nil {
			return err
		}
		s.low = s.lowest()
	}
	return nil
}

// takeOthers takes off what is drawn at the terminals and at the forks.
func (s *Solver) takeOthers(b []float64) {
	for k, amps := range s.other {
		if n := s.c.terms[k]; n >= 0 {
			b[n] -= amps
		}
		if n := s.c.forks[k][0]; n >= 0 {
			b[n] -= s.fork[k]
		}
		if n := s.c.forks[k][1]; n >= 0 {
			b[n] += s.fork[k]
		}
	}
}

// add fills a span's running sums. Draws and sums are integers, so they are
// exact in any order.
func (s *Solver) add(sp *span) (total, run int64) {
	if sp.pixels == 0 {
		return 0, 0
	}
	if sp.step > 0 {
		draw := s.draw[sp.first : sp.last+1]
		sums, runs := s.sum[sp.first:sp.last+1:sp.last+1], s.run[sp.first:sp.last+1:sp.last+1]
		for i, d := range draw {
			run += total
			total += d
			runs[i], sums[i] = run, total
		}
	} else {
		for i := sp.first; i >= sp.last; i-- {
			run += total
			total += s.draw[i]
			s.run[i], s.sum[i] = run, total
		}
	}
	return total, run + total
}

// loop is the resistance of both rails from one pixel to the next.
func (c *Circuit) loop(strip int) float64 {
	r := c.plan.Strips[strip].Rails
	return r.Plus + r.Minus
}

func (s *Solver) knotVolts(k int) float64 {
	n := &s.c.knots[k]
	return s.x[n.plus] - s.x[n.minus]
}

// inner is the voltage of a span's pixel, k steps from its from knot.
func (s *Solver) inner(i, k int) float64 {
	sp := &s.c.spans[i]
	at := sp.first + (k-1)*sp.step
	if s.starved {
		return s.volts[at]
	}
	return s.knotVolts(sp.from) - s.c.loop(sp.strip)*(s.ends[i].flow*float64(k)-float64(s.run[at])/Ampere)
}

// Low is the pixel that lacks most.
type Low struct {
	Volts, Least float64
	Pixel        int // over all strips; Circuit.Place says where
}

// Margin is how far above its strip's least volts the pixel is.
func (l Low) Margin() float64 { return l.Volts - l.Least }

// Lowest is the pixel with the least margin over its strip's least volts.
func (s *Solver) Lowest() Low { return s.low }

// lowest looks at one pixel of each span: along it the voltage falls as long as
// current flows away from the knot, and rises again where it comes from the other
// one, so the lowest pixel is the first at which the sum of draws reaches that
// current.
func (s *Solver) lowest() Low {
	low := Low{Volts: math.Inf(1), Pixel: -1}
	see := func(v float64, strip, pixel int) {
		if least := s.c.plan.Strips[strip].Least; low.Pixel < 0 || v-least < low.Margin() {
			low = Low{v, least, pixel}
		}
	}
	for i := range s.c.knots {
		k := &s.c.knots[i]
		see(s.x[k.plus]-s.x[k.minus], k.place.Strip, k.pixel)
	}
	for i := range s.c.spans {
		sp := &s.c.spans[i]
		if sp.pixels == 0 {
			continue
		}
		if s.starved {
			for k := sp.first; k != sp.last+sp.step; k += sp.step {
				see(s.volts[k], sp.strip, k)
			}
			continue
		}
		k := s.turn(i)
		see(s.inner(i, k), sp.strip, sp.first+(k-1)*sp.step)
	}
	return low
}

// turn is the first pixel of a span, from 1, at which the sum of draws reaches the
// current from the knot; its last one where none does.
func (s *Solver) turn(i int) int {
	sp, e := &s.c.spans[i], &s.ends[i]
	want := e.total
	if sp.to >= 0 {
		f := math.Ceil(e.flow * Ampere)
		if f < float64(want) { // else the current flows on through the knot
			want = int64(f)
		}
	}
	lo, hi := 1, sp.pixels
	for lo < hi {
		mid := (lo + hi) / 2
		if s.sum[sp.first+(mid-1)*sp.step] >= want {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}
