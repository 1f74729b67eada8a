package twin

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/render/play"
	"paneglow/render/table"
	"paneglow/render/table/tabletest"
)

// pair plays one table on both sides.
type pair struct {
	t    require.TestingT
	h    *host
	tab  *table.Table
	p    *play.Player
	at   play.Tick
	dead map[int]bool
	dst  []byte
	seen int // refreshes
	sent int

	found []play.Event // of clips before the last refresh
	lost  map[int]bool // clips, at some time
	held  bool         // it was not sent, for the strips hold what they show

	last   latch       // the C player's refresh
	before func(latch) // the twin makes its refresh, where there is more to tell it
}

func newPair(t require.TestingT, h *host, tab *table.Table, o play.Options) *pair {
	c := config()
	o.Unverified, o.Still, o.Work = true, c.Still, c.Service
	p, err := play.NewPlayer(tab, o)
	require.NoError(t, err)
	h.begin(t, tab.ForController(), o)
	return &pair{t: t, h: h, tab: tab, p: p, at: o.Start, dead: map[int]bool{}, dst: make([]byte, tab.Channels()), lost: map[int]bool{}}
}

func (w *pair) tell(e play.Event) {
	require.NoError(w.t, w.p.Tell(w.at, e), "%+v", e)
	if e.Kind == play.Dead {
		w.dead[e.Index] = e.Value != 0
	}
	w.h.tell(w.at, e)
}

// next makes one refresh on both sides and compares all of it. What the C player
// has verified or lost meanwhile is an event for the twin.
func (w *pair) next(idle int) play.Latched { return w.after(w.h.next(w.t, idle)) }

func (w *pair) after(got latch) play.Latched {
	require.Zero(w.t, got.trouble, "the table plays")
	for _, e := range got.found {
		require.NoError(w.t, w.p.Tell(w.at, e))
	}
	w.found, w.held, w.last = got.found, got.holds != 0, got
	if w.before != nil {
		w.before(got)
	}
	l := w.p.Next(w.dst)
	where := fmt.Sprintf("refresh %d after\n%s", w.seen, w.h.sent.String())
	require.Equal(w.t, l.Sent, got.sent, where)
	require.EqualValues(w.t, l.At, got.at, where)
	require.Equal(w.t, l.State, got.state, where)
	require.Equal(w.t, l.Over, got.over != 0, where)
	if l.Clip != table.None {
		require.Equal(w.t, l.Clip, got.clip, where)
	}
	granted := uint32(0)
	for _, i := range l.Granted {
		granted |= 1 << i
	}
	if l.Sent {
		require.Equal(w.t, granted, got.granted, where)
		require.Equal(w.t, wire(&w.tab.Show, w.dst, w.dead), got.wires, where)
	} else {
		require.Zero(w.t, got.granted, where)
	}
	require.Equal(w.t, l.Current, got.current, where)
	require.Equal(w.t, l.Gain, got.gain, where)
	require.Equal(w.t, l.Climbing, got.climbing != 0, where)
	for i, d := range l.Supplies {
		require.Equal(w.t, d, got.rails[i], "supply %d of %s", i, where)
	}
	w.at = l.At
	w.seen++
	if l.Sent {
		w.sent++
	}
	return l
}

// event draws what a machine may tell.
func event(r *rand.Rand, s *table.Show) play.Event {
	e := play.Event{Kind: play.Kind(r.IntN(int(play.Dead) + 1))}
	switch e.Kind {
	case play.State:
		e.Index = r.IntN(len(s.States))
	case play.Value:
		e.Value = r.IntN(256)
	case play.Ask, play.Running, play.Stopped:
		if len(s.Loads) == 0 {
			return play.Event{Kind: play.Host}
		}
		e.Index = r.IntN(len(s.Loads))
	case play.Loads:
		e.Mask = uint32(r.IntN(1 << len(s.Loads)))
	case play.Level:
		e.Value = r.IntN(1001)
	case play.Clock:
		e.Index, e.Value = r.IntN(7), []int{0, 21599, 79199, 86399, r.IntN(86400)}[r.IntN(5)]
	case play.Service:
		e.Value = r.IntN(3)
		if r.IntN(3) > 0 {
			e.Value = 0
		}
	case play.Dead:
		e.Index, e.Value = r.IntN(s.Pixels()), r.IntN(2)
	}
	return e
}

// panels are the seeds of the panels that the player is built for: parts of three
// and four dies, all laws, one and two supplies and lines, missing pixels.
var panels = []uint64{14, 15, 24, 48}

// The panels cover what they are said to.
func TestPanelsCoverWhatAPanelMayBe(t *testing.T) {
	seen := map[string]bool{}
	for _, seed := range panels {
		s := tabletest.Panel(rand.New(rand.NewPCG(seed, 9)))
		seen[fmt.Sprint("supplies ", 1+len(s.Further))] = true
		seen[fmt.Sprint("lines ", len(s.Lines))] = true
		for _, st := range s.Strips {
			p := s.Parts[st.Part]
			if st.Pixels > 0 {
				seen[fmt.Sprint("law ", p.Law)] = true
				seen[fmt.Sprint("dies ", p.Dies)] = true
				seen[fmt.Sprint("supply ", st.Supply)] = true
				seen[fmt.Sprint("line ", st.Line)] = true
			}
			if len(st.Missing) > 0 {
				seen["missing"] = true
			}
		}
	}
	for _, want := range []string{"supplies 1", "supplies 2", "supply 1", "lines 1", "lines 2", "line 1", "law sum", "law largest", "law ceiling", "dies 3", "dies 4", "missing"} {
		require.True(t, seen[want], "%s among %v", want, seen)
	}
}

// Whatever happens, both latch the same; also when clips rot while they play, and
// out of a stream.
func TestPlayerLatchesWhatTheTwinLatches(t *testing.T) {
	live := streams{seen: map[string]int{}}
	t.Cleanup(func() { live.had(t) })
	var n rots
	t.Cleanup(func() { n.check(t) })
	for _, seed := range panels {
		t.Run(fmt.Sprint("panel ", seed), func(t *testing.T) {
			t.Parallel()
			panel := tabletest.Panel(rand.New(rand.NewPCG(seed, 9)))
			if panel.Pixels() == 0 {
				t.Fatal("a panel without pixels tests nothing")
			}
			program := build(t, panel)
			h := start(t, program)
			rapid.Check(t, func(t *rapid.T) { drive(t, h, panel, rapid.Uint64().Draw(t, "seed"), nil) })
			rapid.Check(t, func(t *rapid.T) { drive(t, h, panel, rapid.Uint64().Draw(t, "seed"), &n) })
			live.check(t, h, panel)
			require.NoError(t, h.stop(), h.err.String())
		})
	}
}

// strip finds a pixel's strip and its number there.
func strip(s *table.Show, pixel int) (*table.Strip, int) {
	for i := range s.Strips {
		if pixel < s.Strips[i].Pixels {
			return &s.Strips[i], pixel
		}
		pixel -= s.Strips[i].Pixels
	}
	panic("no such pixel")
}

// drive plays a drawn show of a panel with drawn events; with rot, its clips rot too.
func drive(t require.TestingT, h *host, panel *table.Show, seed uint64, rot *rots) {
	r := rand.New(rand.NewPCG(seed, 2))
	show := *panel
	show.Strips = append([]table.Strip{}, panel.Strips...)
	pack := []table.Pack{table.Plain, table.Plain, table.Quick}[r.IntN(3)]
	if rot != nil {
		pack = table.Quick // no other clip is ever found bad
	}
	tab := tabletest.Fill(t, r, &show, pack)
	w := newPair(t, h, tab, play.Options{Start: play.Tick(r.Uint32()), First: r.IntN(len(tab.States)),
		Refreshes: 1 + r.IntN(3), Seed: r.Uint32()})
	many := r.IntN(3)
	dead := 0
	for range 40 {
		for range r.IntN(2 + many) {
			e := event(r, &tab.Show)
			if e.Kind == play.Dead {
				st, px := strip(&tab.Show, e.Index)
				for _, m := range st.Missing {
					if m == px {
						e = play.Event{Kind: play.Host} // the C player refuses, the twin has nothing to do
					}
				}
				if e.Kind == play.Dead && !w.dead[e.Index] && e.Value != 0 {
					if dead == config().Dead {
						continue
					}
					dead++
				} else if e.Kind == play.Dead && w.dead[e.Index] && e.Value == 0 {
					dead--
				}
			}
			w.tell(e)
		}
		if rot != nil {
			rot.next(w, r)
		}
		w.next([]int{0, 1, 3, 100000}[r.IntN(4)])
	}
}
