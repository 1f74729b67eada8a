package wiring

// Volts writes the voltage of every pixel into dst, one for each pixel of each
// strip in their order, or it panics.
func (s *Solver) Volts(dst []float64) {
	if len(dst) != s.c.pixels {
		panic("wiring: another number of volts than the circuit's pixels")
	}
	for i := range s.c.knots {
		dst[s.c.knots[i].pixel] = s.knotVolts(i)
	}
	for i := range s.c.spans {
		sp := &s.c.spans[i]
		if s.starved {
			for k := sp.first; k != sp.last+sp.step; k += sp.step {
				dst[k] = s.volts[k]
			}
			continue
		}
		from, r := s.knotVolts(sp.from), s.c.loop(sp.strip)
		fall, back := r*s.ends[i].flow, r/Ampere
		at := sp.first
		for k := 1; k <= sp.pixels; k++ {
			dst[at] = from - fall*float64(k) + back*float64(s.run[at])
			at += sp.step
		}
	}
}

// Minus is the potential of the minus rail at a pixel, against the supplies'
// minus terminals: what a data signal's ground is lifted by there.
//
// In a span, with a share a of its loop resistance in the plus rail, (1-a) plus +
// a minus knows nothing of the draws and goes straight from knot to knot; with
// the voltage it gives both rails.
func (s *Solver) Minus(at Place) float64 {
	p := s.c.pixel(at)
	if k := s.c.knotOf[p]; k >= 0 {
		return s.x[s.c.knots[k].minus]
	}
	i := s.c.spanOf[p]
	sp := &s.c.spans[i]
	rails := s.c.plan.Strips[sp.strip].Rails
	a := rails.Plus / (rails.Plus + rails.Minus)
	middle := func(k int) float64 {
		n := &s.c.knots[k]
		return (1-a)*s.x[n.plus] + a*s.x[n.minus]
	}
	k := (p-sp.first)*sp.step + 1
	u := middle(sp.from)
	if sp.to >= 0 {
		u += (middle(sp.to) - u) * float64(k) / float64(sp.pixels+1)
	}
	return u - (1-a)*s.inner(i, k)
}

// At is the voltage of one pixel.
func (s *Solver) At(at Place) float64 {
	p := s.c.pixel(at)
	if k := s.c.knotOf[p]; k >= 0 {
		return s.knotVolts(k)
	}
	i := s.c.spanOf[p]
	return s.inner(i, (p-s.c.spans[i].first)*s.c.spans[i].step+1)
}

// Feed is the current in the plus wire of a feed in amperes, towards the strip.
func (s *Solver) Feed(i int) float64 {
	b := s.c.feeds[i]
	if b.g == 0 {
		return 0
	}
	return (s.potential(b.a) - s.potential(b.b)) * b.g
}

func (s *Solver) potential(n node) float64 {
	if n < 0 {
		return s.c.known[^n]
	}
	return s.x[n]
}

// Supply is the current that a supply gives in amperes, other loads included.
func (s *Solver) Supply(k int) float64 {
	sum := s.other[k]
	for i := range s.c.plan.Feeds {
		if s.c.plan.Feeds[i].Supply == k {
			sum += s.Feed(i)
		}
	}
	return sum
}

// Loss is the power in watts that rails, wires, connections and the supplies'
// outputs turn into heat: what the supplies make, less what pixels and other
// loads get.
func (s *Solver) Loss() float64 {
	sum := 0.0
	for k := range s.c.plan.Supplies {
		sum += s.c.plan.Supplies[k].Volts*s.Supply(k) - s.other[k]*s.potential(s.c.terms[k])
	}
	return sum - s.Light()
}

// Light is the power in watts that all pixels get.
func (s *Solver) Light() float64 {
	sum := 0.0
	if s.starved {
		for i := range s.c.plan.Strips {
			least, first := s.c.plan.Strips[i].Least, s.c.offset[i]
			for k := first; k < first+s.c.plan.Strips[i].Pixels; k++ {
				amps := float64(s.draw[k]) / Ampere
				if s.starve[k] {
					amps *= s.volts[k] / least
				}
				sum += s.volts[k] * amps
			}
		}
		return sum
	}
	for i := range s.c.knots {
		sum += s.knotVolts(i) * float64(s.draw[s.c.knots[i].pixel]) / Ampere
	}
	for i := range s.c.spans {
		sp := &s.c.spans[i]
		from, r := s.knotVolts(sp.from), s.c.loop(sp.strip)
		fall, back := r*s.ends[i].flow, r/Ampere
		part, at, k := 0.0, sp.first, 1.0
		for range sp.pixels {
			part += (from - fall*k + back*float64(s.run[at])) * float64(s.draw[at])
			at += sp.step
			k++
		}
		sum += part / Ampere
	}
	return sum
}

// Amps is what a pixel, counted over all strips, draws: less than its frame asks
// where it starves.
func (s *Solver) Amps(pixel int) float64 {
	amps := float64(s.draw[pixel]) / Ampere
	if s.starved && s.starve[pixel] {
		amps *= s.volts[pixel] / s.c.plan.Strips[s.c.Place(pixel).Strip].Least
	}
	return amps
}
