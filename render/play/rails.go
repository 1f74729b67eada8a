package play

import (
	"paneglow/render/power"
	"paneglow/render/table"
)

// rail is what the player knows of one supply.
type rail struct {
	table.Supply
	meter   *power.Meter
	inForce int64 // the budget now
	held    int64 // the budget that what the strips show was made for
	drawn   int64 // by what the strips show
	gain    uint32
	climbs  bool  // what the strips show was held back by the slew
	step    int64 // what a step of all codes draws; 0 where no part follows the law ceiling
}

func newRails(t *table.Table) []rail {
	var out []rail
	for i, s := range t.Supplies() {
		meter := t.Meter().Of(i)
		r := rail{Supply: s, meter: meter, inForce: s.Least, drawn: meter.Idle()}
		if meter.AnyCeiling() {
			r.step = meter.CodeStep()
		}
		out = append(out, r)
	}
	return out
}

// allow sets the budgets in force: down at once, up by the table's Raise.
func (p *Player) allow(step uint32) {
	for i := range p.rails {
		r := &p.rails[i]
		target := p.target(i)
		if target > r.inForce {
			target = min(target, r.inForce+r.Raise*int64(step)/1000)
		}
		r.inForce = target
	}
}

// target is the budget that a supply's loads leave and the state allows.
func (p *Player) target(supply int) int64 {
	r := &p.rails[supply]
	b := min(p.t.States[p.state].Limit(supply), r.Steady, r.Surge)
	if p.known != p.loads {
		b = min(b, r.Least)
	}
	var run, peak int64
	starts := false
	for i := range p.t.Loads {
		load, bit := &p.t.Loads[i], uint32(1)<<i
		if load.Supply != supply {
			continue
		}
		switch {
		case p.starting&bit != 0:
			run += load.Run
			peak += load.Start
			starts = true
		case p.running&bit != 0:
			run += load.Run
			peak += load.Run
		}
	}
	b = min(b, r.Steady-run)
	if starts {
		b = min(b, r.Surge-peak)
	}
	return b
}

// scale brings what is shown to the level, then as far down as the fullest of
// the supplies asks: one gain for the whole panel, so that strips keep their
// relation. Each supply is counted again with the codes that go out.
func (p *Player) scale(step uint32) {
	l := &p.last
	level := p.level()
	power.Scale(p.out, p.shown, level)
	gain := level
	l.Climbing = false
	for i := range p.rails {
		r := &p.rails[i]
		limit, climbing := r.inForce, false
		if r.Slew > 0 {
			if up := r.drawn + r.Slew*int64(step)/1000; up < limit {
				limit, climbing = up, true
			}
		}
		k := level
		if r.meter.Current(p.out) > limit {
			k = p.less(r, limit, level)
			l.Climbing = l.Climbing || climbing
		}
		r.climbs = climbing && k < level
		gain = min(gain, k)
	}
	if gain < level {
		power.Scale(p.out, p.shown, gain)
	}
	l.Gain, l.Current = gain, 0
	for i := range p.rails {
		r := &p.rails[i]
		r.held, r.gain = r.inForce, gain
		r.drawn = r.meter.Current(p.out)
		l.Current += r.drawn
	}
}

// less is a gain below most under which a supply draws no more than limit. It
// leaves p.out scaled by most, as it found it.
//
// Under the law ceiling the bound of ScaleBound lies far below the truth, and a
// light that climbs by it would come to rest on the way. There the gain of the
// refresh before is tried first, raised by what the limit leaves. The current
// of a frame is concave in its gain but for the rounding of codes, which costs
// less than one step of all of them: with that step added to what was drawn the
// try keeps the limit as long as the frame stays the same. The count decides. A
// slew of two steps a refresh (power.LeastSlew) makes every try a step upwards.
func (p *Player) less(r *rail, limit int64, most uint32) uint32 {
	bound, _ := r.meter.ScaleBound(r.meter.Numerator(p.shown), limit) // 0 when idle alone is too much
	bound = min(bound, most)
	light := r.drawn - r.meter.Idle()
	if r.step == 0 || !r.climbs || light <= 0 || limit <= r.drawn {
		return bound
	}
	try := min(int64(r.gain)*(limit-r.meter.Idle())/(light+r.step), int64(most))
	if try <= int64(bound) {
		return bound
	}
	power.Scale(p.out, p.shown, uint32(try))
	fits := r.meter.Current(p.out) <= limit
	power.Scale(p.out, p.shown, most)
	if fits {
		return uint32(try)
	}
	return bound
}
