package prove

import (
	"fmt"
	"strings"

	"paneglow/anim/finding"
	"paneglow/render"
	"paneglow/render/play"
	"paneglow/render/power"
	"paneglow/render/table"
)

// Latched is a clip as the machine shows it: what render/play latched while
// the machine stayed in one state with all of that state's loads running.
type Latched struct {
	State   string
	Loads   []string
	Frames  [][]uint8
	Current []int64
	Budget  int64   // of the state, all supplies that feed pixels together
	Limits  []int64 // the same supply by supply
}

// StateOf is the first state that shows a clip, or -1.
func StateOf(t *table.Table, clip int) int {
	for i := range t.States {
		if t.States[i].Clip == clip {
			return i
		}
	}
	return -1
}

// Latch plays a state until it shows its clip alone from frame 0, and keeps
// one lap of it. A still state gives its one frame for the clip's length. A
// clip that follows a value is led through all of them.
func Latch(t *table.Table, state int) (*Latched, error) {
	st := &t.States[state]
	info := &t.Clips[st.Clip]
	p, err := play.NewPlayer(t, play.Options{First: state, KnownLoads: true, Stay: true})
	if err != nil {
		return nil, err
	}
	out := &Latched{State: st.Name}
	for k := range t.Supplies() {
		out.Limits = append(out.Limits, st.Limit(k))
		if t.Meter().Of(k).Pixels() > 0 {
			out.Budget += st.Limit(k)
		}
	}
	for i := range t.Loads {
		if st.Loads&(1<<i) != 0 {
			out.Loads = append(out.Loads, t.Loads[i].Name)
		}
	}
	if err := p.Tell(0, play.Event{Kind: play.Loads, Mask: st.Loads}); err != nil {
		return nil, err
	}
	codes := make([]uint8, t.Channels())
	// The black start, the hand-over and up to a lap to reach frame 0.
	patience := info.Frames*2 + t.FPS*int(st.Fade/1000+2) + t.FPS*4
	settled := 0
	for n := 0; len(out.Frames) < info.Frames; n++ {
		if n > patience+info.Frames {
			return nil, fmt.Errorf("state %q does not come to show its clip", st.Name)
		}
		l := p.Next(codes)
		whole := l.Fade == 256 && l.State == state && l.Clip == st.Clip && n > 0
		if !whole {
			continue
		}
		settled++
		if len(out.Frames) == 0 && l.Frame != 0 && !st.Still && !info.Value {
			continue
		}
		// The budget rises slowly after the start, and the light may climb; a lap
		// begins when both have.
		if (l.Rising(out.Limits) || l.Climbing) && settled < t.FPS*4 {
			continue
		}
		out.Frames = append(out.Frames, append([]uint8(nil), codes...))
		out.Current = append(out.Current, l.Current)
		if info.Value && len(out.Frames) < info.Frames {
			if err := p.Tell(l.At, play.Event{Kind: play.Value, Value: len(out.Frames)}); err != nil {
				return nil, err
			}
		}
	}
	return out, p.Err()
}

// Who names a lap's circumstances.
func (l *Latched) Who() string {
	if len(l.Loads) == 0 {
		return fmt.Sprintf("state %s, no load running", l.State)
	}
	return fmt.Sprintf("state %s, %s running", l.State, strings.Join(l.Loads, " and "))
}

// tally counts the refreshes that were checked against the budget in force.
type tally struct {
	refreshes int
	closest   float64 // share of its budget that the fullest refresh draws
	where     string
	climbs    int // refreshes that the light takes longest to climb after a change of state
	climbsAt  string
	falls     int64 // the largest drop at a change of state over a supply's fall limit, in microamperes
	fallsAt   string
	fallsMost int64 // what that limit allows from refresh to refresh
}

// Prove plays every state with its loads, and every change of state, and
// counts each refresh again with meters of its own, supply by supply.
func (p *Project) Prove() (tally, map[int]*Latched) {
	var pr tally
	laps := map[int]*Latched{}
	for i := range p.Table.States {
		l, err := Latch(p.Table, i)
		if err != nil {
			p.Add(finding.Error, "table.unplayable", fmt.Sprintf("state %q", p.Table.States[i].Name), "", "%v", err)
			continue
		}
		laps[i] = l
		for f, codes := range l.Frames {
			p.within(&pr, codes, l.Limits, func() string { return fmt.Sprintf("state %q, frame %d", l.State, f) })
		}
	}
	p.proveChanges(&pr)
	p.tellSlew(&pr)
	return pr, laps
}

// proveChanges proves every change of state on all processors; what is told and
// counted stands in the order of the states.
func (p *Project) proveChanges(pr *tally) {
	n := len(p.Table.States)
	type result struct {
		q  Project
		pr tally
	}
	all := make([]result, n*n)
	each(n*n, func(i int) {
		a, b := i/n, i%n
		if a == b {
			return
		}
		q := &all[i].q
		*q = *p
		q.Found = nil
		if p.Copper != nil {
			q.Copper = &Copper{Panel: p.Copper.Panel}
		}
		q.proveChange(&all[i].pr, a, b)
	})
	for i := range all {
		q, x := &all[i].q, &all[i].pr
		p.Found = append(p.Found, q.Found...)
		if p.Copper != nil && q.Copper != nil {
			p.Copper.Seen = append(p.Copper.Seen, q.Copper.Seen...)
			p.Copper.into = append(p.Copper.into, q.Copper.into...)
			p.Copper.loads = append(p.Copper.loads, q.Copper.loads...)
		}
		pr.refreshes += x.refreshes
		if x.closest > pr.closest {
			pr.closest, pr.where = x.closest, x.where
		}
		if x.climbs > pr.climbs {
			pr.climbs, pr.climbsAt = x.climbs, x.climbsAt
		}
		if x.falls > pr.falls {
			pr.falls, pr.fallsMost, pr.fallsAt = x.falls, x.fallsMost, x.fallsAt
		}
	}
}

// within counts one refresh against the budgets of all supplies.
func (p *Project) within(pr *tally, codes []uint8, limits []int64, where func() string) {
	pr.refreshes++
	for k, budget := range limits {
		meter := p.Table.Meter().Of(k)
		draws := meter.Current(codes)
		if draws > max(budget, meter.Idle()) {
			p.Add(finding.Error, "power.over_budget", where(), "please report this: the cap should have prevented it", "a refresh draws %s over its budget of %s", power.Amps(draws), power.Amps(budget))
		}
		if draws == 0 {
			continue // a supply without strips
		}
		if share := float64(draws) / float64(max(budget, 1)); share > pr.closest {
			pr.closest, pr.where = share, where()
		}
	}
}

// proveChange plays a change of state with all loads of the new state asking
// to start at once.
func (p *Project) proveChange(pr *tally, a, b int) {
	t := p.Table
	pl, err := play.NewPlayer(t, play.Options{First: a, KnownLoads: true})
	if err != nil {
		p.take(err, "")
		return
	}
	where := fmt.Sprintf("from %q to %q", t.States[a].Name, t.States[b].Name)
	codes := make([]uint8, t.Channels())
	wires := p.watchChange(a, b)
	tell := func(at play.Tick, e play.Event) {
		if err := pl.Tell(at, e); err != nil {
			p.Add(finding.Error, "table.unplayable", where, "", "%v", err)
		}
	}
	limits := make([]int64, len(t.Supplies()))
	was := make([]int64, len(limits))
	var last play.Latched
	next := func() {
		for k := range last.Supplies {
			was[k] = last.Supplies[k].Current
		}
		last = pl.Next(codes)
		for k, d := range last.Supplies {
			limits[k] = d.Budget
		}
		p.within(pr, codes, limits, func() string { return where })
		wires.see(codes)
	}
	tell(0, play.Event{Kind: play.Loads, Mask: t.States[a].Loads})
	for range t.FPS {
		next()
	}
	tell(last.At, play.Event{Kind: play.State, Index: b})
	tell(last.At, play.Event{Kind: play.Loads, Mask: 0})
	for i := range t.Loads {
		if t.States[b].Loads&(1<<i) != 0 {
			tell(last.At, play.Event{Kind: play.Ask, Index: i})
		}
	}
	climbs := 0
	falls := render.PlanOf(p.Show, p.Machine).Fall
	for n := range t.FPS * int(t.States[b].Fade+1500) / 1000 {
		next()
		if last.Climbing {
			climbs = n + 1
		}
		for k, most := range falls {
			if drop := was[k] - last.Supplies[k].Current; most > 0 && drop > max(most, pr.falls) {
				pr.falls, pr.fallsMost, pr.fallsAt = drop, most, where
			}
		}
		for _, load := range last.Granted {
			tell(last.At, play.Event{Kind: play.Running, Index: load})
		}
	}
	wires.done()
	if climbs > pr.climbs {
		pr.climbs, pr.climbsAt = climbs, where
	}
}

// tellSlew says what a slew does to changes of state.
func (p *Project) tellSlew(pr *tally) {
	if pr.climbs > 0 {
		p.Add(finding.Note, "power.slew_climbs", pr.climbsAt, "",
			"the supply's slew lets the light climb: up to %.0f ms after a change of state", 1000*float64(pr.climbs)/float64(p.Show.FPS))
	}
	if pr.falls > 0 {
		p.Add(finding.Warning, "power.slew_falls", pr.fallsAt, "hand over by a crossfade: a cut drops the light at once, and a budget that falls does not wait",
			"the light's current drops by %s from one refresh to the next, and slew.fall allows %s", power.Amps(pr.falls), power.Amps(pr.fallsMost))
	}
}
