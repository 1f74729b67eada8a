package proof

import (
	"fmt"
	"hash/crc32"
	"slices"

	"paneglow/anim/show"
	"paneglow/render/drive"
	"paneglow/render/play"
	"paneglow/render/power"
	"paneglow/render/table"
)

// maker gathers a certificate.
type maker struct {
	t      *table.Table
	c      *Certificate
	meters []*power.Meter // one for every supply
	names  []string       // of the supplies
	sets   []loads
	frames [][][]uint8         // of every clip
	full   [][][]int64         // [clip][supply][frame] at full level
	mixes  []int64             // by supply: greatest numerator of what can be mixed
	memo   map[string][]answer // of a clip under a level and budgets
}

// loads is one condition of the machine's loads.
type loads struct {
	known             bool
	running, starting uint32 // bits; a load that starts does not run yet
}

// answer is the greatest current of a clip from one supply.
type answer struct {
	frame int
	draws int64
	exact bool
}

func newMaker(t *table.Table) *maker {
	m := &maker{t: t, memo: map[string][]answer{}, c: &Certificate{Version: 1, Title: t.Title, Bytes: len(t.Bytes()),
		CRC: fmt.Sprintf("%08x", crc32.ChecksumIEEE(t.Bytes())), Levels: []int{drive.FullGain}, Clips: []Clip{}}}
	for i, s := range t.Supplies() {
		m.meters = append(m.meters, t.Meter().Of(i))
		m.names = append(m.names, s.Name)
	}
	for _, lv := range t.Levels {
		if k := int(play.Linear(int(lv.Lightness))); !slices.Contains(m.c.Levels, k) {
			m.c.Levels = append(m.c.Levels, k)
		}
	}
	slices.Sort(m.c.Levels)
	m.enumerateLoads()
	m.decode()
	return m
}

// decode keeps every frame with its currents and the greatest numerators of
// the clips that some state shows.
func (m *maker) decode() {
	m.mixes = make([]int64, len(m.meters))
	for i := range m.t.Clips {
		info := &m.t.Clips[i]
		d := m.t.Clip(i).Start()
		var frames [][]uint8
		full := make([][]int64, len(m.meters))
		for range info.Frames {
			f := make([]uint8, m.t.Channels())
			if err := d.Next(f); err != nil {
				panic(err) // Read has decoded every frame
			}
			frames = append(frames, f)
			for s, meter := range m.meters {
				full[s] = append(full[s], meter.Current(f))
			}
		}
		m.frames, m.full = append(m.frames, frames), append(m.full, full)
		for s := range m.meters {
			m.c.Clips = append(m.c.Clips, Clip{info.Name, m.names[s], full[s]})
		}
		for f := range m.shown(i) {
			for s, meter := range m.meters {
				m.mixes[s] = max(m.mixes[s], meter.Numerator(frames[f]))
			}
		}
	}
}

// shown is how many frames of a clip can come to be shown: all, the first one
// where still states alone show it, none where no state does.
func (m *maker) shown(clip int) int {
	n := 0
	for i := range m.t.States {
		if st := &m.t.States[i]; st.Clip == clip {
			n = max(n, m.reach(st))
		}
	}
	return n
}

// reach is how many frames of its own clip a state shows.
func (m *maker) reach(st *table.State) int {
	if st.Still && !m.t.Clips[st.Clip].Value {
		return 1
	}
	return m.t.Clips[st.Clip].Frames
}

// enumerateLoads lists every condition of the loads, and the one that none of
// them is known.
func (m *maker) enumerateLoads() {
	m.sets = []loads{{}}
	all := uint32(1) << len(m.t.Loads)
	for running := range all {
		for starting := range all {
			if running&starting == 0 {
				m.sets = append(m.sets, loads{true, running, starting})
			}
		}
	}
}

// budgets are those in force in a state beside loads, by supply: the player's
// target.
func (m *maker) budgets(state int, l loads) []int64 {
	var out []int64
	for s, x := range m.t.Supplies() {
		b := min(m.t.States[state].Limit(s), x.Steady, x.Surge)
		if !l.known {
			b = min(b, x.Least)
		}
		var run, peak int64
		starts := false
		for i, load := range m.t.Loads {
			switch bit := uint32(1) << i; {
			case load.Supply != s:
			case l.starting&bit != 0:
				run, peak, starts = run+load.Run, peak+load.Start, true
			case l.running&bit != 0:
				run, peak = run+load.Run, peak+load.Run
			}
		}
		b = min(b, x.Steady-run)
		if starts {
			b = min(b, x.Surge-peak)
		}
		out = append(out, b)
	}
	return out
}

// state writes the rows of one state.
func (m *maker) state(i int) error {
	st := &m.t.States[i]
	for s, meter := range m.meters {
		if b := st.Limit(s); meter.Idle() > b {
			return fmt.Errorf("proof: state %q: the dark panel alone draws %s of %s", st.Name, power.Amps(meter.Idle()), power.Amps(b))
		}
	}
	for _, l := range m.sets {
		budgets := m.budgets(i, l)
		row := func(by, clip string, level int, answers []answer) {
			for s, a := range answers {
				m.c.Rows = append(m.c.Rows, Row{State: st.Name, By: by, Shows: clip, Known: l.known, Running: m.loadNames(l.running), Starting: m.loadNames(l.starting),
					Level: level, Supply: m.names[s], Frame: a.frame, Draws: a.draws, Exact: a.exact, Budget: budgets[s], Dark: m.dark(budgets)})
			}
		}
		row("start", "", drive.FullGain, m.black())
		own := m.t.Clips[st.Clip].Name
		for _, level := range m.c.Levels {
			row("clip", own, level, m.clip(st.Clip, m.reach(st), level, budgets))
		}
		row("clip", own, AnyLevel, m.any(st.Clip, m.reach(st), budgets))
		if st.Still || st.HandOver == show.Cut {
			continue
		}
		if st.HandOver == show.Finish {
			for c := range m.t.Clips {
				if !m.finishes(c) {
					continue
				}
				name, n := m.t.Clips[c].Name, m.t.Clips[c].Frames
				for _, level := range m.c.Levels {
					row("finish", name, level, m.clip(c, n, level, budgets))
				}
				row("finish", name, AnyLevel, m.any(c, n, budgets))
			}
		}
		for _, level := range m.c.Levels {
			row("mix", "", level, m.mix(level, budgets))
		}
		row("mix", "", AnyLevel, m.mix(drive.FullGain, budgets))
	}
	return nil
}

// finishes tells whether a clip may play to its end in another state: one that
// is shown in a state that is not still, and that has an end.
func (m *maker) finishes(clip int) bool {
	for i := range m.t.States {
		if st := &m.t.States[i]; st.Clip == clip && !st.Still && !m.t.Clips[clip].Value {
			return true
		}
	}
	return false
}

func (m *maker) loadNames(bits uint32) []string {
	out := []string{}
	for i := range m.t.Loads {
		if bits>>i&1 != 0 {
			out = append(out, m.t.Loads[i].Name)
		}
	}
	return out
}
