package play

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim"
	"paneglow/anim/color"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render"
	"paneglow/render/drive"
	"paneglow/render/power"
	"paneglow/render/table"
	"paneglow/render/table/tabletest"
)

// lights is a source of given light.
type lights [][]color.Light

func (l lights) Frames() int        { return len(l) }
func (l lights) Start() anim.Cursor { return &lightCursor{l, 0} }

type lightCursor struct {
	l    lights
	next int
}

func (c *lightCursor) Seek(n int) error { c.next = n; return nil }
func (c *lightCursor) Next(dst []color.Light) error {
	copy(dst, c.l[c.next])
	c.next = (c.next + 1) % len(c.l)
	return nil
}

// drawMachine draws a machine of one or two strips on one or two supplies, with
// a motor on one of them, that its light overruns more or less.
func drawMachine(t *rapid.T, r *rand.Rand) *show.Machine {
	p := show.Part{Name: "p", Order: "GRB", Pitch: 60, LEDsPerPixel: 1, Law: show.Law(r.IntN(3)), Idle: unit.Current(r.IntN(1500)), Ceiling: unit.Current(8000 + r.IntN(20_000)), Spread: 80_000,
		Channel: [4]unit.Current{unit.Current(8000 + r.IntN(8000)), 12_000, 12_000, 16_000}}
	p.Light = [4]show.Die{{Wavelength: 622, Intensity: 400}, {Wavelength: 523, Intensity: 690}, {Wavelength: 466, Intensity: 190}, {Temperature: 6500, Intensity: 900}}
	if r.IntN(3) == 0 {
		p.Order = "GRBW"
	}
	if p.Law != show.Ceiling {
		p.Ceiling = 0
	}
	n := 2 + r.IntN(8)
	path := func(y unit.Length) [][2]unit.Length {
		return [][2]unit.Length{{10, y}, {unit.Length(10 + 1000.0/60*float64(n-1)), y}}
	}
	amps := unit.Current(n * (15_000 + r.IntN(40_000)))
	s := show.Supply{Volts: 12_000_000, Amps: amps, Share: 800_000, Surge: 1_000_000}
	m := &show.Machine{File: "machine.toml", Parts: []show.Part{p}, Supply: s,
		Lines:  []show.Line{{Name: "a", Strips: []string{"s", "t"}}},
		Strips: []show.Strip{{Name: "s", Part: "p", Pixels: n, Path: path(10)}, {Name: "t", Part: "p", Pixels: n, Path: path(20)}},
		Loads:  []show.Load{{Name: "motor", Amps: amps / 10, Start: amps / 4}}}
	if r.IntN(2) == 0 {
		m.Supply.Name = "x"
		s.Name, s.Amps = "y", unit.Current(n*(15_000+r.IntN(40_000)))
		m.Further = []show.Supply{s}
		m.Strips[1].Supply = "y"
		if r.IntN(2) == 0 {
			m.Loads[0].Supply, m.Loads[0].Amps, m.Loads[0].Start = "y", s.Amps/10, s.Amps/4
		}
	}
	m.Panel.Size = [2]unit.Length{unit.Length(40 + 1000.0/60*float64(n)), 40}
	m.Panel.Depth = 30
	return m
}

// Whole shows, from light through cap and slew into a table and the player:
// any law, any cap policy, one supply or two. While the machine stays in a state
// with its loads, what is stored is what is latched: the player scales nothing,
// and the slew holds nothing back within a loop. Through any change of state,
// load, level and value no refresh draws more than its budget or rises faster
// than its slew, by a count of its own.
func TestFinishedShowsKeepTheirPromise(t *testing.T) {
	shows, capped, slewed := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 6))
		m := drawMachine(t, r)
		hw, err := render.NewHardware(m)
		require.NoError(t, err)
		s := &show.Show{Title: "t", FPS: 10 + r.IntN(50), Cap: show.Cap(r.IntN(3)), Window: unit.Time(100e6 + r.IntN(1e9)),
			Clips:  []show.Clip{{Name: "a"}, {Name: "b"}, {Name: "v", Follow: "value"}},
			States: []show.State{{Name: "a", Clip: "a", HandOver: show.HandOver(r.IntN(3)), Fade: 300e6}, {Name: "b", Clip: "b", Loads: []string{"motor"}, HandOver: show.HandOver(r.IntN(3)), Fade: 200e6}, {Name: "v", Clip: "v"}}}
		for i, x := range m.Supplies() {
			if r.IntN(2) == 0 {
				x.Rise = unit.SlewRate(hw.Meter.Of(i).LeastSlew(s.FPS) * int64(100+r.IntN(300)) / 100)
				x.Fall = x.Rise * unit.SlewRate(r.IntN(2))
			}
		}
		require.Empty(t, power.CheckSlew(m, hw.Meter, s.FPS))
		var items []render.Item
		for i := range s.Clips {
			n := 1 + r.IntN(20)
			if s.Clips[i].Follow != "" {
				n = 256
			}
			src := make(lights, n)
			for f := range src {
				src[f] = make([]color.Light, len(hw.Layout.Pixels))
				level := r.Float32() * 1.1
				for k := range src[f] {
					src[f][k] = color.Light{level * r.Float32(), level, level * r.Float32()}
				}
			}
			items = append(items, render.Item{Name: s.Clips[i].Name, Source: src, Follow: s.Clips[i].Follow != ""})
		}
		budgets := power.ClipBudgets(s, m)
		done, err := render.FinishItems(items, hw, budgets, render.PlanOf(s, m), 1, nil)
		var idle *render.IdleError
		if err != nil {
			require.ErrorAs(t, err, &idle)
			return
		}
		ts, err := table.NewShow(s, m, hw.Layout)
		require.NoError(t, err)
		var clips []table.Clip
		held := false
		for i, c := range done {
			clips = append(clips, table.Clip{Name: items[i].Name, Frames: c.Frames, Channels: c.Channels, Bytes: c.Bytes, Current: c.Current, Loop: !items[i].Follow, Value: items[i].Follow})
			held = held || c.Held() > 0
			if c.Bites() > 0 && i == 0 {
				capped++
			}
		}
		shows++
		if held {
			slewed++
		}
		var out bytes.Buffer
		rep, err := table.Write(&out, ts, clips, table.Options{Workers: 1})
		require.NoError(t, err)
		tab := rep.Table

		// At rest in a state.
		for state := range 2 {
			p, err := NewPlayer(tab, Options{First: state, KnownLoads: true, Stay: true})
			require.NoError(t, err)
			require.NoError(t, p.Tell(0, Event{Kind: Loads, Mask: tab.States[state].Loads}))
			codes := make([]uint8, tab.Channels())
			var l Latched
			for n := 0; n < 4000 && (n < 4*s.FPS || l.Climbing || l.Fade < 256); n++ { // the budget has risen, the light has climbed
				l = p.Next(codes)
			}
			for range 2 * done[state].Frames {
				l = p.Next(codes)
				require.Equal(t, done[state].Frame(l.Frame), codes)
				require.EqualValues(t, drive.FullGain, l.Gain)
				require.False(t, l.Climbing)
			}
		}
		// Through anything.
		p, err := NewPlayer(tab, Options{Refreshes: 1 + r.IntN(2)})
		require.NoError(t, err)
		codes := make([]uint8, tab.Channels())
		was := make([]int64, len(tab.Supplies()))
		at := Tick(0)
		for n := range 100 {
			for r.IntN(4) == 0 {
				e := []Event{{Kind: State, Index: r.IntN(3)}, {Kind: Ask}, {Kind: Running}, {Kind: Stopped}, {Kind: Level, Value: r.IntN(1001)}, {Kind: Value, Value: r.IntN(256)}}[r.IntN(6)]
				require.NoError(t, p.Tell(at, e))
			}
			l := p.Next(codes)
			for k, x := range tab.Supplies() {
				ua := tabletest.Recount(&tab.Show, k, codes)
				require.LessOrEqual(t, ua, l.Supplies[k].Budget)
				if n > 0 && x.Slew > 0 {
					require.LessOrEqual(t, ua-was[k], x.Slew*int64(l.At.Since(at))/1000)
				}
				was[k] = ua
			}
			at = l.At
		}
	})
	t.Logf("%d shows: the cap bit in %d, the slew held frames back in %d", shows, capped, slewed)
	require.GreaterOrEqual(t, float64(capped), 0.2*float64(shows))
	require.GreaterOrEqual(t, float64(slewed), 0.2*float64(shows))
}
