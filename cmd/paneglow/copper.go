package main

import (
	"fmt"
	"math"

	"paneglow/anim/finding"
	"paneglow/render/power"
	"paneglow/render/power/wiring"
)

// copper is what feeds, wires and rails make of what the player latched.
type copper struct {
	panel   *wiring.Panel
	laps    []wiring.Lap  // of every state
	seen    []wiring.Seen // of the same states, and behind them of every change
	into    []int         // of every survey, the state that it is in or leads to
	loads   [][]float64   // of every survey, what other loads draw
	protect []wiring.Protection
	advice  *wiring.Advice // where pixels lack volts or feeds a fuse
}

// wire makes the panel's copper ready; what is wrong with it is told.
func (p *project) wire() {
	panel, err := wiring.NewPanel(p.machine, p.hw.Layout)
	if err != nil {
		p.take(err, p.machine.File)
		return
	}
	p.copper = &copper{panel: panel}
}

// loadsOf is what a set of loads draws from each supply at its worst: all run, and
// the one whose start asks most starts.
func (p *project) loadsOf(mask uint32) []float64 {
	supplies := len(p.machine.Supplies())
	run, more := make([]int64, supplies), make([]int64, supplies)
	for i := range p.machine.Loads {
		if l := &p.machine.Loads[i]; mask&(1<<i) != 0 {
			k := p.machine.SupplyIndex(l.Supply)
			r, s := power.LoadCurrents(l)
			run[k] += r
			more[k] = max(more[k], s-r)
		}
	}
	out := make([]float64, supplies)
	for k := range out {
		out[k] = float64(run[k]+more[k]) / 1e6
	}
	return out
}

// changeWatch looks at the refreshes of one change of state.
type changeWatch struct {
	p     *project
	b     int
	name  string
	loads []float64
	v     *wiring.Surveyor
	n     int
	err   error
}

// watchChange begins to look at a change, under the loads of both its states.
func (p *project) watchChange(a, b int) *changeWatch {
	w := &changeWatch{p: p, b: b, name: fmt.Sprintf("from state %q to %q", p.table.States[a].Name, p.table.States[b].Name)}
	if p.copper != nil {
		w.loads = p.loadsOf(p.table.States[a].Loads | p.table.States[b].Loads)
		w.v = p.copper.panel.Surveyor(w.loads)
	}
	return w
}

func (w *changeWatch) see(codes []uint8) {
	if w.v != nil && w.err == nil {
		w.err = w.v.See(codes, w.n)
		w.n++
	}
}

func (w *changeWatch) done() {
	if w.err != nil {
		w.p.add(finding.Error, "power.no_balance", w.name, noBalanceFix, "%v", w.err)
	} else if w.v != nil {
		w.p.copper.seen = append(w.p.copper.seen, wiring.Seen{Survey: w.v.Survey(), Where: w.name})
		w.p.copper.into = append(w.p.copper.into, w.b)
		w.p.copper.loads = append(w.p.copper.loads, w.loads)
	}
}

const noBalanceFix = "look for two supplies on one strip, and for a strip whose minus is lifted by another"

// measureWires surveys every state, tells what was found of the copper, and gives
// the lowest volts of each state of the table, the way into it included.
func (p *project) measureWires(laps map[int]*latched) []float64 {
	lowest := make([]float64, len(p.table.States))
	c := p.copper
	if c == nil {
		return lowest
	}
	for i := range p.table.States {
		st, l := &p.table.States[i], laps[i]
		if l == nil {
			continue // told already
		}
		lap := wiring.Lap{State: st.Name, Clip: p.table.Clips[st.Clip].Name, Frames: l.frames, Loads: p.loadsOf(st.Loads)}
		v, err := c.panel.Survey(&lap)
		if err != nil {
			p.add(finding.Error, "power.no_balance", fmt.Sprintf("state %q", st.Name), noBalanceFix, "%v", err)
			return lowest
		}
		c.laps = append(c.laps, lap)
		c.seen = append(c.seen, wiring.Seen{Survey: v, Where: fmt.Sprintf("state %q", st.Name), Clip: lap.Clip})
		c.into = append(c.into, i)
		c.loads = append(c.loads, lap.Loads)
	}
	least := make([]float64, len(lowest))
	for i := range c.seen {
		k, low := c.into[i], c.seen[i].Low
		if low.Pixel >= 0 && (lowest[k] == 0 || low.Margin() < least[k]) {
			lowest[k], least[k] = math.Floor(low.Volts*1000)/1000, low.Margin()
		}
	}
	p.tellWires()
	return lowest
}

// tellWires works out fuses and, where pixels lack volts, what would help.
func (p *project) tellWires() {
	c := p.copper
	var err error
	if c.protect, err = c.panel.Protect(c.panel.Loads(c.seen)); err != nil {
		p.take(err, p.machine.File)
		return
	}
	worst := wiring.Worst(c.seen)
	if worst >= 0 && c.seen[worst].Clip == "" {
		// A change of state is worse than every state: its worst refresh counts too.
		w := &c.seen[worst]
		c.laps = append(c.laps, wiring.Lap{State: w.Where, Frames: [][]uint8{w.Codes}, Loads: c.loads[worst]})
	}
	wanting := worst >= 0 && c.seen[worst].Low.Margin() < 0
	for i := range c.protect {
		wanting = wanting || c.protect[i].Advised == 0
	}
	if wanting {
		if c.advice, err = c.panel.Advise(c.laps); err != nil {
			p.take(err, p.machine.File)
			return
		}
	}
	p.found = append(p.found, c.panel.Findings(c.seen, c.protect, c.advice)...)
}
