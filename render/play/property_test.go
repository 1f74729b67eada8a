package play

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/show"
	"paneglow/render/drive"
	"paneglow/render/power"
	"paneglow/render/table"
)

// drawTable draws a small show under any laws, of 3 and 4 dies, with loads,
// states, hand-overs, longest stays, levels and a host, and packs it.
func drawTable(t *rapid.T) *table.Table {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	s := &table.Show{Title: "drawn", FPS: 5 + r.IntN(60), Then: table.None, Lines: []string{"a"}}
	for i := range 1 + r.IntN(2) {
		p := table.Part{Name: string(rune('p' + i)), Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000}
		p.Part = power.Part{Dies: 3, Law: show.Law(r.IntN(3)), Idle: int64(r.IntN(2000)), Ceiling: 1 + int64(r.IntN(40_000))}
		if r.IntN(2) == 0 {
			p.Dies, p.Order = 4, "WGRB"
		}
		for c := range p.Dies {
			p.Channel[c] = int64(r.IntN(20_000))
		}
		s.Parts = append(s.Parts, p)
	}
	for i := range 1 + r.IntN(3) {
		st := table.Strip{Name: string(rune('a' + i)), Part: r.IntN(len(s.Parts)), Pixels: r.IntN(12)}
		for px := range st.Pixels {
			if r.IntN(8) == 0 {
				st.Missing = append(st.Missing, px)
			}
		}
		s.Strips = append(s.Strips, st)
	}
	meter, err := s.Meter()
	require.NoError(t, err)
	white := bytes.Repeat([]byte{255}, s.Channels())
	full := meter.Current(white)

	// A supply that is ample, tight, or too small even for the dark panel.
	s.Steady = meter.Idle() + int64(float64(full-meter.Idle())*(0.1+0.8*r.Float64()))
	if r.IntN(8) == 0 {
		s.Steady = meter.Idle() * int64(r.IntN(100)) / 100
	}
	s.Surge = s.Steady + int64(r.IntN(int(full/4)+1))
	s.Raise = 1 + int64(r.IntN(int(s.Surge/200)+1))
	for i := range r.IntN(4) {
		run := int64(r.IntN(int(s.Steady/4) + 1))
		s.Loads = append(s.Loads, table.Load{Name: string(rune('l' + i)), Run: run, Start: run + int64(r.IntN(int(s.Steady/4)+1))})
	}
	second := r.IntN(3) == 0
	if second { // some strips and loads hang on a supply of their own
		x := table.Supply{Name: "b", Steady: s.Steady * int64(50+r.IntN(100)) / 100}
		x.Surge, x.Raise = x.Steady+int64(r.IntN(int(full/4)+1)), 1+int64(r.IntN(int(s.Surge/200)+1))
		s.Further = []table.Supply{x}
		for i := range s.Strips {
			s.Strips[i].Supply = r.IntN(2)
		}
		for i := range s.Loads {
			s.Loads[i].Supply = r.IntN(2)
		}
	}
	if r.IntN(2) == 0 {
		s.Slew = 1 + int64(r.IntN(int(full/300)+1))
		if second {
			s.Further[0].Slew = int64(r.IntN(2)) * (1 + int64(r.IntN(int(full/300)+1)))
		}
	}
	clips := make([]table.Clip, 1+r.IntN(3))
	for i := range clips {
		c := &clips[i]
		*c = table.Clip{Name: string(rune('c' + i)), Frames: 1 + r.IntN(9), Channels: s.Channels(), Loop: r.IntN(3) > 0}
		if r.IntN(4) == 0 {
			c.Value, c.Frames, c.Loop = true, 256, false
		}
		most := 1 + r.IntN(256)
		for range c.Frames * c.Channels {
			c.Bytes = append(c.Bytes, uint8(r.IntN(most)))
		}
		dark(s, c.Bytes)
	}
	states := 1 + r.IntN(4)
	for i := range states {
		st := table.State{Name: string(rune('s' + i)), Clip: r.IntN(len(clips)), HandOver: show.HandOver(r.IntN(3)),
			Fade: int64(r.IntN(600)), Still: r.IntN(4) == 0, Then: table.None}
		if len(s.Loads) > 0 {
			st.Loads = uint32(r.IntN(1 << len(s.Loads)))
		}
		if r.IntN(3) == 0 {
			st.AtMost, st.Then = 1+int64(r.IntN(2000)), r.IntN(states)
		}
		st.Budget = stateBudget(s, 0, st.Loads)
		if i == 0 || st.Budget < s.Least {
			s.Least = st.Budget
		}
		if second {
			b := stateBudget(s, 1, st.Loads)
			st.Further = []int64{b}
			if i == 0 || b < s.Further[0].Least {
				s.Further[0].Least = b
			}
		}
		s.States = append(s.States, st)
	}
	if r.IntN(2) == 0 {
		s.Silence, s.Then = 1+int64(r.IntN(3000)), r.IntN(states)
	}
	if r.IntN(2) == 0 {
		s.Levels = []table.Level{{From: 6 * 3600, Days: 0x7f, Lightness: 1000}, {From: 22 * 3600, Days: 0x1f, Lightness: uint16(r.IntN(1001))}}
	}
	var out bytes.Buffer
	_, err = table.Write(&out, s, clips, table.Options{Workers: 1})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

func dark(s *table.Show, b []byte) {
	off := 0
	for _, st := range s.Strips {
		dies := s.Parts[st.Part].Dies
		for _, px := range st.Missing {
			for at := off + px*dies; at < len(b); at += s.Channels() {
				clear(b[at : at+dies])
			}
		}
		off += st.Pixels * dies
	}
}

// stateBudget is design arithmetic again: steady less all, surge less the
// worst start beside the others, of the loads on one supply.
func stateBudget(s *table.Show, supply int, loads uint32) int64 {
	var all, peak int64
	for i, l := range s.Loads {
		if loads>>i&1 != 0 && l.Supply == supply {
			all += l.Run
		}
	}
	for i, l := range s.Loads {
		if loads>>i&1 != 0 && l.Supply == supply {
			peak = max(peak, all-l.Run+l.Start)
		}
	}
	x := s.Supplies()[supply]
	return min(x.Steady-all, x.Surge-peak)
}

// recount is the current of codes from one supply straight from the table's
// parts, pixel by pixel, in a different order and by different means than the
// meter's.
func recount(s *table.Show, supply int, codes []byte) int64 {
	nums := make([]float64, len(s.Parts)) // whole numbers far below 2^53
	total, at := int64(0), 0
	for _, st := range s.Strips {
		p := s.Parts[st.Part]
		for px := range st.Pixels {
			missing := st.Supply != supply
			for _, m := range st.Missing {
				missing = missing || m == px
			}
			c := codes[at : at+p.Dies]
			at += p.Dies
			if missing {
				continue
			}
			total += p.Idle
			sum, biggest := 0.0, 0.0
			for d := range c {
				x := float64(c[d]) * float64(p.Channel[d])
				sum += x
				biggest = max(biggest, x)
			}
			switch p.Law {
			case show.Sum:
				nums[st.Part] += sum
			case show.Largest:
				nums[st.Part] += biggest
			default:
				nums[st.Part] += min(sum, float64(p.Ceiling)*255)
			}
		}
	}
	for _, n := range nums {
		total += int64(n) / 255
		if int64(n)%255 != 0 {
			total++
		}
	}
	return total
}

// facts keeps the machine's side of the story for the test: which loads may
// draw current, by what it told the player.
type facts struct {
	running, asked, known uint32
}

func (f *facts) budget(s *table.Show, state, supply int) int64 {
	x := s.Supplies()[supply]
	b := min(s.States[state].Limit(supply), x.Steady, x.Surge)
	if f.known != 1<<len(s.Loads)-1 {
		b = min(b, x.Least)
	}
	var run, start int64
	asked := false
	for i, l := range s.Loads {
		if l.Supply != supply {
			continue
		}
		if (f.running|f.asked)>>i&1 != 0 {
			run += l.Run
		}
		switch {
		case f.asked>>i&1 != 0:
			start += l.Start
			asked = true
		case f.running>>i&1 != 0:
			start += l.Run
		}
	}
	b = min(b, x.Steady-run)
	if asked {
		b = min(b, x.Surge-start)
	}
	return b
}

// Whatever the machine tells, no refresh draws more from a supply than its
// budget in force, nor rises faster than its slew; when the dark pixels alone
// draw more, the panel is dark. The generated shows
// are not harmless: the budget must bite in many and be hopeless in some.
func TestNoRefreshExceedsTheBudget(t *testing.T) {
	shows, bitten, hopeless, climbed := 0, 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		tab := drawTable(t)
		s := &tab.Show
		start := Tick(rapid.Uint32().Draw(t, "start"))
		p, err := NewPlayer(tab, Options{Start: start, Refreshes: rapid.IntRange(0, 3).Draw(t, "refreshes")})
		require.NoError(t, err)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "events"), 2))
		f := facts{}
		codes := make([]byte, tab.Channels())
		last := bytes.Repeat([]byte{0}, len(codes))
		at, state, awaited := start, 0, uint32(0)
		bit, over, climbs := false, false, false
		was := make([]int64, len(s.Supplies()))
		for n := range 60 {
			for r.IntN(3) == 0 {
				e := Event{Kind: Kind(r.IntN(int(Clock) + 1))}
				load := 0
				switch e.Kind {
				case State:
					e.Index = r.IntN(len(s.States))
					state = e.Index
				case Value:
					e.Value = r.IntN(256)
				case Ask, Running, Stopped:
					if len(s.Loads) == 0 {
						require.Error(t, p.Tell(at, e))
						continue
					}
					load = r.IntN(len(s.Loads))
					e.Index = load
					f.known |= 1 << load
					f.asked &^= 1 << load
					switch e.Kind {
					case Ask:
						f.asked |= 1 << load
						awaited |= 1 << load
					case Running:
						f.running |= 1 << load
					default:
						f.running &^= 1 << load
						awaited &^= 1 << load
					}
				case Loads:
					e.Mask = uint32(r.IntN(1 << len(s.Loads)))
					f.running, f.known, f.asked = e.Mask, 1<<len(s.Loads)-1, awaited
				case Level:
					e.Value = r.IntN(1001)
				case Clock:
					e.Index, e.Value = r.IntN(7), r.IntN(86400)
				}
				require.NoError(t, p.Tell(at, e))
			}
			l := p.Next(codes)
			require.NoError(t, p.Err())
			passed := int64(l.At.Since(at))
			at = l.At
			if l.State != state { // the player moved by itself
				state, f.known = l.State, 0
			}
			dark := bytes.Count(codes, []byte{0}) == len(codes)
			anyOver, total, budgets := false, int64(0), int64(0)
			for k, x := range s.Supplies() {
				d := l.Supplies[k]
				require.LessOrEqual(t, d.Budget, f.budget(s, state, k), "refresh %d: the budget in force", n)
				ua := recount(s, k, codes)
				require.Equal(t, ua, d.Current)
				total, budgets = total+ua, budgets+d.Budget
				if recount(s, k, make([]byte, len(codes))) > d.Budget {
					anyOver = true
					require.True(t, dark, "refresh %d: idle alone breaks the budget", n)
				} else {
					require.LessOrEqual(t, ua, d.Budget, "refresh %d", n)
				}
				if n > 0 && x.Slew > 0 && l.Sent {
					require.LessOrEqual(t, ua, was[k]+x.Slew*passed/1000, "refresh %d rises too fast", n)
				}
				was[k] = ua
			}
			require.Len(t, l.Supplies, len(s.Supplies()))
			require.Equal(t, total, l.Current)
			require.Equal(t, budgets, l.Budget)
			require.Equal(t, anyOver, l.Over)
			over, climbs = over || anyOver, climbs || l.Climbing
			bit = bit || l.Sent && l.Gain < p.level()
			if !l.Sent {
				require.Equal(t, last, codes, "nothing was sent: the strips keep what they show")
				require.Empty(t, l.Granted)
			}
			if n == 0 {
				require.True(t, l.Sent && dark, "black comes first")
			}
			var granted uint32
			for _, load := range l.Granted {
				granted |= 1 << load
			}
			require.Equal(t, awaited, granted, "every question is answered by the next refresh, and nothing else")
			awaited = 0
			copy(last, codes)
		}
		shows++
		if bit {
			bitten++
		}
		if over {
			hopeless++
		}
		if climbs {
			climbed++
		}
	})
	t.Logf("%d shows: the budget bit in %d, idle alone broke it in %d, the slew held light back in %d", shows, bitten, hopeless, climbed)
	require.GreaterOrEqual(t, float64(climbed), 0.10*float64(shows))
	require.GreaterOrEqual(t, float64(bitten), 0.30*float64(shows))
	require.GreaterOrEqual(t, float64(hopeless), 0.05*float64(shows))
}

// A frame that the budget affords goes out as it is, and black stays black.
func TestAffordableFramesAreUnchanged(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tab := drawTable(t)
		p, err := NewPlayer(tab, Options{KnownLoads: true})
		require.NoError(t, err)
		for i := range p.rails {
			p.rails[i].Slew = 0
		}
		codes := make([]byte, tab.Channels())
		for range 30 {
			for i := range p.rails {
				p.rails[i].inForce = p.target(i)
			}
			l := p.Next(codes)
			if !l.Sent {
				continue
			}
			fits := true
			for k, d := range l.Supplies {
				fits = fits && recount(&tab.Show, k, p.shown) <= d.Budget
			}
			if fits {
				require.EqualValues(t, drive.FullGain, l.Gain)
				require.Equal(t, p.shown, codes)
			}
			for i, c := range p.shown {
				require.LessOrEqual(t, codes[i], c)
			}
		}
	})
}
