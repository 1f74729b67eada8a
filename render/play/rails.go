package play

import (
	"paneglow/render/power"
	"paneglow/render/table"
)

// rail is what the player knows of one supply.
type rail struct {
	table.Supply
	meter   *power.Meter
	inForce int64    // the budget now
	held    int64    // the budget that what the strips show was made for
	drawn   int64    // by what the strips show
	ceiling bool     // a part follows the law ceiling
	spans   [][2]int // of a frame's codes: the strips that hang on it
}

func newRails(t *table.Table) []rail {
	var out []rail
	for i, s := range t.Supplies() {
		meter := t.Meter().Of(i)
		r := rail{Supply: s, meter: meter, inForce: s.Least, drawn: meter.Idle(), ceiling: meter.AnyCeiling()}
		at := 0
		for k := range t.Strips {
			st := &t.Strips[k]
			from := at
			if at += st.Pixels * t.Parts[st.Part].Dies; st.Supply == i {
				r.spans = append(r.spans, [2]int{from, at})
			}
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
	if p.known != p.loads || p.service.on != ServiceOff {
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
// relation. Where a slew holds the light of a supply back its strips are scaled
// further for a moment, by themselves: two supplies that had to wait for each
// other could wait for ever. Each supply is counted again with the codes that
// go out.
func (p *Player) scale(step uint32) {
	l := &p.last
	level := p.level()
	p.scaleAll(level)
	gain := level
	for i := range p.rails {
		r := &p.rails[i]
		if r.meter.Current(p.out) > r.inForce {
			k, _ := r.meter.ScaleBound(r.meter.Numerator(p.shown), r.inForce) // 0 when idle alone is too much
			gain = min(gain, k)
		}
	}
	if gain < level {
		p.scaleAll(gain)
	}
	l.Gain, l.Current, l.Climbing = gain, 0, false
	for i := range p.rails {
		r := &p.rails[i]
		if r.Slew > 0 {
			if up := r.drawn + r.Slew*int64(step)/1000; r.meter.Current(p.out) > up {
				l.Gain, l.Climbing = min(l.Gain, p.climb(r, up, gain)), true
			}
		}
		r.held, r.drawn = r.inForce, r.meter.Current(p.out)
		l.Current += r.drawn
	}
}

// climb scales the strips of a supply until they draw no more than limit, and
// gives their gain, less than most. p.out holds them scaled by most.
//
// Under the law ceiling the bound of ScaleBound lies far below the truth, and a
// light that climbs by it could come to rest on the way; so there the gap to
// most is halved nine times by counting. That leaves 1/512, half a step of all
// codes, to the greatest gain, and rounding to codes takes one step more: a
// slew of two steps a refresh (power.LeastSlew) lifts every refresh above the
// one before, whatever it shows, until nothing holds it.
func (p *Player) climb(r *rail, limit int64, most uint32) uint32 {
	low, _ := r.meter.ScaleBound(r.meter.Numerator(p.shown), limit) // limit is not below idle: drawn never is
	low, high := min(low, most), most
	for n := 0; r.ceiling && n < 9; n++ {
		mid := (low + high) / 2
		p.scaleOf(r, mid)
		if r.meter.Current(p.out) <= limit {
			low = mid
		} else {
			high = mid
		}
	}
	p.scaleOf(r, low)
	return low
}

// scaleOf scales the strips of one supply.
func (p *Player) scaleOf(r *rail, gain uint32) {
	for _, s := range r.spans {
		power.Scale(p.out[s[0]:s[1]], p.shown[s[0]:s[1]], gain)
	}
	p.hide(p.out)
}

// scaleAll scales the whole panel.
func (p *Player) scaleAll(gain uint32) {
	power.Scale(p.out, p.shown, gain)
	p.hide(p.out)
}
