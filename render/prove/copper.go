package prove

import (
	"fmt"
	"math"

	"paneglow/anim/finding"
	"paneglow/render/power"
	"paneglow/render/power/wiring"
)

// Copper is what feeds, wires and rails make of what the player latched.
type Copper struct {
	Panel   *wiring.Panel
	Laps    []wiring.Lap  // of every state
	Seen    []wiring.Seen // of the same states, and behind them of every change
	Protect []wiring.Protection
	Advice  *wiring.Advice // where pixels lack volts or feeds a fuse
	into    []int          // of every survey, the state that it is in or leads to
	loads   [][]float64    // of every survey, what other loads draw
}

// wire makes the panel's copper ready; what is wrong with it is told.
func (p *Project) wire() {
	panel, err := wiring.NewPanel(p.Machine, p.On.Layout)
	if err != nil {
		p.take(err, p.Machine.File)
		return
	}
	p.Copper = &Copper{Panel: panel}
}

// loadsOf is what a set of loads draws from each supply at its worst: all run, and
// the one whose start asks most starts.
func (p *Project) loadsOf(mask uint32) []float64 {
	supplies := len(p.Machine.Supplies())
	run, more := make([]int64, supplies), make([]int64, supplies)
	for i := range p.Machine.Loads {
		if l := &p.Machine.Loads[i]; mask&(1<<i) != 0 {
			k := p.Machine.SupplyIndex(l.Supply)
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
	p     *Project
	b     int
	name  string
	loads []float64
	v     *wiring.Surveyor
	n     int
	err   error
}

// watchChange begins to look at a change, under the loads of both its states.
func (p *Project) watchChange(a, b int) *changeWatch {
	w := &changeWatch{p: p, b: b, name: fmt.Sprintf("from state %q to %q", p.Table.States[a].Name, p.Table.States[b].Name)}
	if p.Copper != nil {
		w.loads = p.loadsOf(p.Table.States[a].Loads | p.Table.States[b].Loads)
		w.v = p.Copper.Panel.Surveyor(w.loads)
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
		w.p.Add(finding.Error, "power.no_balance", w.name, noBalanceFix, "%v", w.err)
	} else if w.v != nil {
		w.p.Copper.Seen = append(w.p.Copper.Seen, wiring.Seen{Survey: w.v.Survey(), Where: w.name})
		w.p.Copper.into = append(w.p.Copper.into, w.b)
		w.p.Copper.loads = append(w.p.Copper.loads, w.loads)
	}
}

const noBalanceFix = "look for two supplies on one strip, and for a strip whose minus is lifted by another"

// measureWires surveys every state, tells what was found of the copper, and gives
// the lowest volts of each state of the table, the way into it included.
func (p *Project) measureWires(laps map[int]*Latched) []float64 {
	lowest := make([]float64, len(p.Table.States))
	c := p.Copper
	if c == nil {
		return lowest
	}
	for i := range p.Table.States {
		st, l := &p.Table.States[i], laps[i]
		if l == nil {
			continue // told already
		}
		lap := wiring.Lap{State: st.Name, Clip: p.Table.Clips[st.Clip].Name, Frames: l.Frames, Loads: p.loadsOf(st.Loads)}
		v, err := c.Panel.Survey(&lap)
		if err != nil {
			p.Add(finding.Error, "power.no_balance", fmt.Sprintf("state %q", st.Name), noBalanceFix, "%v", err)
			return lowest
		}
		c.Laps = append(c.Laps, lap)
		c.Seen = append(c.Seen, wiring.Seen{Survey: v, Where: fmt.Sprintf("state %q", st.Name), Clip: lap.Clip})
		c.into = append(c.into, i)
		c.loads = append(c.loads, lap.Loads)
	}
	least := make([]float64, len(lowest))
	for i := range c.Seen {
		k, low := c.into[i], c.Seen[i].Low
		if low.Pixel >= 0 && (lowest[k] == 0 || low.Margin() < least[k]) {
			lowest[k], least[k] = math.Floor(low.Volts*1000)/1000, low.Margin()
		}
	}
	p.tellWires()
	return lowest
}

// tellWires works out fuses and, where pixels lack volts, what would help.
func (p *Project) tellWires() {
	c := p.Copper
	var err error
	if c.Protect, err = c.Panel.Protect(c.Panel.Loads(c.Seen)); err != nil {
		p.take(err, p.Machine.File)
		return
	}
	worst := wiring.Worst(c.Seen)
	if worst >= 0 && c.Seen[worst].Clip == "" {
		// A change of state is worse than every state: its worst refresh counts too.
		w := &c.Seen[worst]
		c.Laps = append(c.Laps, wiring.Lap{State: w.Where, Frames: [][]uint8{w.Codes}, Loads: c.loads[worst]})
	}
	wanting := worst >= 0 && c.Seen[worst].Low.Margin() < 0
	for i := range c.Protect {
		wanting = wanting || c.Protect[i].Advised == 0
	}
	if wanting {
		if c.Advice, err = c.Panel.Advise(c.Laps); err != nil {
			p.take(err, p.Machine.File)
			return
		}
	}
	p.Found = append(p.Found, c.Panel.Findings(c.Seen, c.Protect, c.Advice)...)
}
