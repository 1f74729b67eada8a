package main

import (
	"fmt"
	"strings"

	"paneglow/anim/finding"
	"paneglow/render/play"
	"paneglow/render/power"
	"paneglow/render/table"
)

// latched is a clip as the machine shows it: what render/play latched while
// the machine stayed in one state with all of that state's loads running.
type latched struct {
	state   string
	loads   []string
	frames  [][]uint8
	current []int64
	budget  int64 // of the state
}

// stateOf is the first state that shows a clip, or -1.
func stateOf(t *table.Table, clip int) int {
	for i := range t.States {
		if t.States[i].Clip == clip {
			return i
		}
	}
	return -1
}

// latch plays a state until it shows its clip alone from frame 0, and keeps
// one lap of it. A still state gives its one frame for the clip's length. A
// clip that follows a value is led through all of them.
func latch(t *table.Table, state int) (*latched, error) {
	st := &t.States[state]
	info := &t.Clips[st.Clip]
	p, err := play.NewPlayer(t, play.Options{First: state, KnownLoads: true, Stay: true})
	if err != nil {
		return nil, err
	}
	out := &latched{state: st.Name, budget: st.Budget}
	for i := range t.Loads {
		if st.Loads&(1<<i) != 0 {
			out.loads = append(out.loads, t.Loads[i].Name)
		}
	}
	if err := p.Tell(0, play.Event{Kind: play.Loads, Mask: st.Loads}); err != nil {
		return nil, err
	}
	codes := make([]uint8, t.Channels())
	// The black start, the hand-over and up to a lap to reach frame 0.
	patience := info.Frames*2 + t.FPS*int(st.Fade/1000+2) + t.FPS*4
	settled := 0
	for n := 0; len(out.frames) < info.Frames; n++ {
		if n > patience+info.Frames {
			return nil, fmt.Errorf("state %q does not come to show its clip", st.Name)
		}
		l := p.Next(codes)
		whole := l.Fade == 256 && l.State == state && l.Clip == st.Clip && n > 0
		if !whole {
			continue
		}
		settled++
		if len(out.frames) == 0 && l.Frame != 0 && !st.Still && !info.Value {
			continue
		}
		// The budget rises slowly after the start; a lap begins when it has.
		if l.Budget < st.Budget && settled < t.FPS*4 {
			continue
		}
		out.frames = append(out.frames, append([]uint8(nil), codes...))
		out.current = append(out.current, l.Current)
		if info.Value && len(out.frames) < info.Frames {
			if err := p.Tell(l.At, play.Event{Kind: play.Value, Value: len(out.frames)}); err != nil {
				return nil, err
			}
		}
	}
	return out, p.Err()
}

// who names a lap's circumstances.
func (l *latched) who() string {
	if len(l.loads) == 0 {
		return fmt.Sprintf("state %s, no load running", l.state)
	}
	return fmt.Sprintf("state %s, %s running", l.state, strings.Join(l.loads, " and "))
}

// proof counts the refreshes that were checked against the budget in force.
type proof struct {
	refreshes int
	closest   float64 // share of its budget that the fullest refresh draws
	where     string
}

// prove plays every state with its loads, and every change of state, and
// counts each refresh again with a meter of its own.
func (p *project) prove() (proof, map[int]*latched) {
	var pr proof
	laps := map[int]*latched{}
	meter := p.table.Meter()
	check := func(codes []uint8, budget int64, where string) {
		pr.refreshes++
		draws := meter.Current(codes)
		if draws > max(budget, meter.Idle()) {
			p.add(finding.Error, "power.over_budget", where, "please report this: the cap should have prevented it", "a refresh draws %s over its budget of %s", power.Amps(draws), power.Amps(budget))
		}
		if share := float64(draws) / float64(max(budget, 1)); share > pr.closest {
			pr.closest, pr.where = share, where
		}
	}
	for i := range p.table.States {
		l, err := latch(p.table, i)
		if err != nil {
			p.add(finding.Error, "table.unplayable", fmt.Sprintf("state %q", p.table.States[i].Name), "", "%v", err)
			continue
		}
		laps[i] = l
		for f, codes := range l.frames {
			check(codes, l.budget, fmt.Sprintf("state %q, frame %d", l.state, f))
		}
	}
	for a := range p.table.States {
		for b := range p.table.States {
			if a != b {
				p.proveChange(a, b, check)
			}
		}
	}
	return pr, laps
}

// proveChange plays a change of state with all loads of the new state asking
// to start at once.
func (p *project) proveChange(a, b int, check func([]uint8, int64, string)) {
	t := p.table
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
			p.add(finding.Error, "table.unplayable", where, "", "%v", err)
		}
	}
	tell(0, play.Event{Kind: play.Loads, Mask: t.States[a].Loads})
	var last play.Latched
	for range t.FPS {
		last = pl.Next(codes)
		check(codes, last.Budget, where)
		wires.see(codes)
	}
	tell(last.At, play.Event{Kind: play.State, Index: b})
	tell(last.At, play.Event{Kind: play.Loads, Mask: 0})
	for i := range t.Loads {
		if t.States[b].Loads&(1<<i) != 0 {
			tell(last.At, play.Event{Kind: play.Ask, Index: i})
		}
	}
	for range t.FPS * int(t.States[b].Fade+1500) / 1000 {
		last = pl.Next(codes)
		check(codes, last.Budget, where)
		wires.see(codes)
		for _, load := range last.Granted {
			tell(last.At, play.Event{Kind: play.Running, Index: load})
		}
	}
	wires.done()
}
