package table

import (
	"fmt"
	"slices"
	"sort"

	"paneglow/anim/finding"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/power"
)

// Version is the format's version written here.
const Version = 2

// None marks an absent reference to a state or clip.
const None = -1

// Most of everything that a table can hold.
const (
	MostParts  = 15
	MostLines  = 15
	MostStrips = 64
	MostLoads  = 16
	MostStates = 64
	MostClips  = 64
	MostLevels = 64
	MostPixels = 8192 // of all strips
	MostFrames = 1 << 20
	MostName   = 63     // bytes
	MostWork   = 65_535 // bytes of memory beside the frame
	// MostCurrent is the largest budget, in microamperes (2,000 A).
	MostCurrent = 2_000_000_000
)

// Show is what a table holds besides its frames: the design's states and the
// machine's currents, as plain numbers.
type Show struct {
	Title string
	FPS   int // frames a second of every clip, 1..1000

	Steady int64 // microamperes: the supply for good, its share taken
	Surge  int64 // microamperes: the supply for the second a load starts
	Least  int64 // smallest budget of all states, microamperes; may be negative
	Raise  int64 // how fast a budget may rise again, microamperes per millisecond
	Slew   int64 // how fast the lights' current may rise, microamperes per millisecond; 0: at once

	// Further are more supplies beside the one above, which is the first: strips,
	// loads and budgets say which of them they belong to.
	Further []Supply

	Silence int64 // milliseconds without the host until Then; 0: never
	Then    int   // state, or None

	Lines  []string
	Parts  []Part
	Strips []Strip // in data order
	Loads  []Load
	States []State
	Levels []Level
}

// Supply is one supply's limits, as the show's own fields hold them for the
// first: microamperes, and microamperes per millisecond.
type Supply struct {
	Name                              string
	Steady, Surge, Least, Raise, Slew int64
}

// Supplies are the limits of all supplies, the first one without its name.
func (t *Show) Supplies() []Supply {
	return append([]Supply{{Steady: t.Steady, Surge: t.Surge, Least: t.Least, Raise: t.Raise, Slew: t.Slew}}, t.Further...)
}

// Part is one kind of strip: its currents, order and timing on the wire.
type Part struct {
	Name string
	power.Part
	Order string // on the data line, a permutation of RGB or RGBW
	Bit   int64  // nanoseconds
	Latch int64  // nanoseconds
	Gap   int64  // nanoseconds, longest pause inside a frame that the part forgives
}

// Strip is one run of pixels.
type Strip struct {
	Name    string
	Part    int
	Line    int
	Pixels  int
	Missing []int // bridged: no address on the wire; ascending
	Supply  int   // 0: the first
}

// Load is something else on the supply.
type Load struct {
	Name  string
	Run   int64 // microamperes while it may run (stall amps when it can jam)
	Start int64 // microamperes while it starts, its running current included

	Supply int // that it hangs on, 0: the first
}

// State is what the machine does and what the panel shows meanwhile.
type State struct {
	Name     string
	Clip     int
	HandOver show.HandOver
	Fade     int64   // of a crossfade, milliseconds, at most 65535
	Loads    uint32  // bit i: load i may run or start
	Still    bool    // one frame, refreshed only on entering and after each load start and stop
	AtMost   int64   // longest stay, milliseconds; 0: no limit
	Then     int     // state after the longest stay, or None
	Budget   int64   // microamperes; may be negative
	Further  []int64 // the same of the further supplies, one for each
}

// Limit is the state's budget from one supply, 0 the first.
func (st *State) Limit(supply int) int64 {
	if supply == 0 {
		return st.Budget
	}
	return st.Further[supply-1]
}

// Level lowers the show from a time of day on.
type Level struct {
	From      int64  // seconds since midnight
	Days      uint8  // bit 0 Monday .. bit 6 Sunday
	Lightness uint16 // per mille of the show's lightness, 0..1000
}

// RaiseTime is the time in which a budget rises from nothing to the supply's
// surge current: slow enough to be no flash, fast enough to be forgotten.
const RaiseTime = 1000 // milliseconds

// NewShow gathers a show's states and a machine's currents. Names must be
// known (the files' own check sees to it); what a table cannot hold is refused
// with its place and limit, all findings at once.
func NewShow(s *show.Show, m *show.Machine, l *layout.Layout) (*Show, error) {
	var bad finding.List
	refuse := func(p show.Pos, what, fix string) {
		bad = append(bad, finding.At(p, finding.Error, "table.limit", what, fix))
	}
	if n := len(l.Pixels); n > MostPixels {
		refuse(m.Strips[0].Pos, fmt.Sprintf("the strips have %d pixels together, a frame table holds at most %d", n, MostPixels), "share the panel between several controllers")
		return nil, bad
	}
	least := power.ShowBudget(s, m)
	var supplies []Supply
	for i, x := range m.Supplies() {
		y := Supply{Name: x.Name, Steady: power.Steady(x), Surge: power.Surge(x), Least: least.At(i).Limit}
		y.Raise = max(y.Surge/RaiseTime, 1)
		if x.Rise > 0 {
			y.Slew = max(int64(x.Rise)/1000, 1)
		}
		supplies = append(supplies, y)
	}
	t := &Show{
		Title: s.Title, FPS: s.FPS, Then: None,
		Steady: supplies[0].Steady, Surge: supplies[0].Surge, Least: supplies[0].Least, Raise: supplies[0].Raise, Slew: supplies[0].Slew,
	}
	if len(supplies) > 1 {
		t.Further = supplies[1:]
	}
	states := map[string]int{}
	for i := range s.States {
		states[s.States[i].Name] = i
	}
	if s.Host.Silence > 0 {
		to, ok := states[s.Host.Then]
		if !ok {
			refuse(s.Host.Pos, fmt.Sprintf("the silent host leads to %q, which is no state", s.Host.Then), "name a state")
		} else {
			t.Silence, t.Then = millis(s.Host.Silence), to
		}
	}
	for i := range l.Lines {
		t.Lines = append(t.Lines, l.Lines[i].Name)
	}
	for i := range m.Parts {
		p := &m.Parts[i]
		t.Parts = append(t.Parts, Part{Name: p.Name, Part: power.PartOf(p), Order: p.Order,
			Bit: int64(p.Data.Bit), Latch: int64(p.Data.Latch), Gap: int64(p.Data.Gap)})
	}
	order := make([]int, len(l.Strips))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return l.Strips[order[a]].First < l.Strips[order[b]].First })
	for _, i := range order {
		st := &l.Strips[i]
		out := Strip{Name: st.Name, Part: st.Part, Line: st.Line, Pixels: st.Count}
		if x := m.Strip(st.Name); x != nil {
			out.Supply = m.SupplyIndex(x.Supply)
		}
		for p := st.First; p < st.First+st.Count; p++ {
			if l.Pixels[p].Missing {
				out.Missing = append(out.Missing, p-st.First)
			}
		}
		t.Strips = append(t.Strips, out)
	}
	loads := map[string]int{}
	for i := range m.Loads {
		run, start := power.LoadCurrents(&m.Loads[i])
		loads[m.Loads[i].Name] = i
		t.Loads = append(t.Loads, Load{m.Loads[i].Name, run, start, m.SupplyIndex(m.Loads[i].Supply)})
	}
	clips := map[string]int{}
	for i := range s.Clips {
		clips[s.Clips[i].Name] = i
	}
	for i := range s.States {
		st := &s.States[i]
		clip, ok := clips[st.Clip]
		if !ok {
			refuse(st.Pos, fmt.Sprintf("state %q shows clip %q, which is not in the show", st.Name, st.Clip), "name a clip of the show")
		}
		out := State{Name: st.Name, Clip: clip, HandOver: st.HandOver, Fade: millis(st.Fade),
			Still: st.Still, AtMost: millis(st.AtMost), Then: None}
		budget := power.StateBudget(s, m, i)
		out.Budget, out.Further = budget.Limit, budget.Limits()[1:]
		if len(out.Further) == 0 {
			out.Further = nil
		}
		for _, name := range st.Loads {
			if k, ok := loads[name]; ok && k < MostLoads {
				out.Loads |= 1 << k
			} else {
				refuse(st.Pos, fmt.Sprintf("state %q lets load %q run, which the machine does not have", st.Name, name), "name a load of the machine")
			}
		}
		if st.AtMost > 0 {
			if out.Then, ok = states[st.Then]; !ok {
				refuse(st.Pos, fmt.Sprintf("state %q leads to %q, which is no state", st.Name, st.Then), "name a state")
			}
		}
		if st.Fade > 65_535*1_000_000 {
			refuse(st.Pos, "a crossfade of more than 65.535 s", "shorten it")
		}
		t.States = append(t.States, out)
	}
	for i := range s.Levels {
		lv := &s.Levels[i]
		out := Level{From: int64(lv.From) / 1_000_000_000, Lightness: uint16(min(max(int64(lv.Level)/1000, 0), 1000))}
		for _, d := range lv.Days {
			for bit, name := range [7]string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"} {
				if d == name {
					out.Days |= 1 << bit
				}
			}
		}
		if len(lv.Days) == 0 {
			out.Days = 0x7f
		}
		t.Levels = append(t.Levels, out)
	}
	if err := bad.Err(); err != nil {
		return nil, err
	}
	if err := t.check(); err != nil {
		return nil, err
	}
	return t, nil
}

// millis rounds a time to milliseconds, a positive one to at least one.
func millis(t unit.Time) int64 {
	ms := (int64(t) + 500_000) / 1_000_000
	if ms == 0 && t > 0 {
		ms = 1
	}
	return ms
}

// Channels is the length of a frame of codes.
func (t *Show) Channels() int {
	n := 0
	for i := range t.Strips {
		n += t.Strips[i].Pixels * t.Parts[t.Strips[i].Part].Dies
	}
	return n
}

// Pixels counts all pixels, hidden and missing ones included.
func (t *Show) Pixels() int {
	n := 0
	for i := range t.Strips {
		n += t.Strips[i].Pixels
	}
	return n
}

// Meter makes the meter of the table's own currents: what the firmware holds.
func (t *Show) Meter() (*power.Meter, error) { return t.MeterWithout(nil) }

// MeterWithout is Meter for a panel on which further pixels, numbered over all
// strips and ascending, have no address any more.
func (t *Show) MeterWithout(dead []int) (*power.Meter, error) {
	parts := make([]power.Part, len(t.Parts))
	for i := range t.Parts {
		parts[i] = t.Parts[i].Part
	}
	var runs []power.Run
	off, first := 0, 0
	for i := range t.Strips {
		st := &t.Strips[i]
		dies := t.Parts[st.Part].Dies
		from := 0
		gaps := append([]int{}, st.Missing...)
		for _, px := range dead {
			if px >= first && px < first+st.Pixels {
				gaps = append(gaps, px-first)
			}
		}
		slices.Sort(gaps)
		first += st.Pixels
		for _, gap := range append(gaps, st.Pixels) {
			if gap > from {
				runs = append(runs, power.Run{Part: st.Part, Offset: off + from*dies, Pixels: gap - from, Supply: st.Supply})
			}
			from = max(from, gap+1)
		}
		off += st.Pixels * dies
	}
	return power.Build(parts, runs, off)
}
