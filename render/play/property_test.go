package play

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/render/drive"
	"paneglow/render/table"
	"paneglow/render/table/tabletest"
)

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
	one := func(t *rapid.T) {
		tab := tabletest.Draw(t)
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
				ua := tabletest.Recount(s, k, codes)
				require.Equal(t, ua, d.Current)
				total += ua
				if tab.Meter().Of(k).Pixels() > 0 || len(s.Further) == 0 {
					budgets += d.Budget
				}
				if tabletest.Recount(s, k, make([]byte, len(codes))) > d.Budget {
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
	}
	// Few shows are hopeless: where chance drew too few of them, more are drawn.
	for round := 0; round == 0 || round < 4 && float64(hopeless) < 0.05*float64(shows); round++ {
		rapid.Check(t, one)
	}
	t.Logf("%d shows: the budget bit in %d, idle alone broke it in %d, the slew held light back in %d", shows, bitten, hopeless, climbed)
	require.GreaterOrEqual(t, float64(climbed), 0.10*float64(shows))
	require.GreaterOrEqual(t, float64(bitten), 0.30*float64(shows))
	require.GreaterOrEqual(t, float64(hopeless), 0.05*float64(shows))
}

// A frame that the budget affords goes out as it is, and black stays black.
func TestAffordableFramesAreUnchanged(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tab := tabletest.Draw(t)
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
				fits = fits && tabletest.Recount(&tab.Show, k, p.shown) <= d.Budget
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
