package render_test

import (
	"errors"
	"image"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/color"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render"
	"paneglow/render/drive"
	"paneglow/render/power"
)

// slowMomentary is Momentary by its words.
func slowMomentary(needs []uint32, window int, loop bool) []uint32 {
	n := len(needs)
	half := min(window, n) / 2
	if 2*half+1 > n {
		half = (n - 1) / 2
	}
	at := func(v []uint32, i int) uint32 {
		if loop {
			return v[((i%n)+n)%n]
		}
		return v[min(max(i, 0), n-1)]
	}
	least, out := make([]uint32, n), make([]uint32, n)
	for f := range n {
		least[f] = drive.FullGain
		for i := f - half; i <= f+half; i++ {
			least[f] = min(least[f], at(needs, i))
		}
	}
	for f := range n {
		sum := uint64(0)
		for i := f - half; i <= f+half; i++ {
			sum += uint64(at(least, i))
		}
		out[f] = uint32(sum / uint64(2*half+1))
	}
	return out
}

func TestMomentary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		needs := rapid.SliceOfN(rapid.Uint32Range(0, drive.FullGain), 1, 60).Draw(t, "needs")
		window, loop := rapid.IntRange(1, 80).Draw(t, "window"), rapid.Bool().Draw(t, "loop")
		got := render.Momentary(needs, window, loop)
		require.Equal(t, slowMomentary(needs, window, loop), got)
		half := min(window, len(needs)) / 2
		if 2*half+1 > len(needs) {
			half = (len(needs) - 1) / 2
		}
		most := int64(drive.FullGain)/int64(2*half+1) + 1 // rounded down on both sides
		for f, g := range got {
			require.LessOrEqual(t, g, needs[f], "never above its need")
			if f > 0 || loop {
				before := got[(f+len(got)-1)%len(got)]
				require.LessOrEqual(t, max(int64(g)-int64(before), int64(before)-int64(g)), most, "its change is bounded")
			}
		}
		for i := range needs {
			needs[i] = needs[0]
		}
		require.Equal(t, needs, render.Momentary(needs, window, loop), "a constant need is kept")
	})
}

// By hand: one frame of need a half in nine, a window of three: the least is a
// half for three frames, its average a half, 2/3 and 5/6 from there.
func TestMomentaryByHand(t *testing.T) {
	const full, half = drive.FullGain, drive.FullGain / 2
	needs := []uint32{full, full, full, full, half, full, full, full, full}
	require.Equal(t, []uint32{full, full, full - half/3 - 1, full - 2*half/3 - 1, half, full - 2*half/3 - 1, full - half/3 - 1, full, full}, render.Momentary(needs, 3, true))
}

// twoSupplies hangs the second half of the strip on a supply of its own.
func twoSupplies(tb require.TestingT, n int, law show.Law, order string) *render.Hardware {
	hw := hardware(tb, n, law, order)
	m := *hw.Machine
	m.Strips = append([]show.Strip{}, m.Strips...)
	first, second := m.Strips[0], m.Strips[0]
	first.Pixels, first.Path = n/2, [][2]unit.Length{{10, 10}, {unit.Length(10 + 1000.0/60*float64(n/2-1)), 10}}
	second.Name, second.Pixels, second.Path = "s2", n-n/2, [][2]unit.Length{{10, 15}, {unit.Length(10 + 1000.0/60*float64(n-n/2-1)), 15}}
	second.Supply = "b"
	m.Strips = []show.Strip{first, second}
	m.Lines = []show.Line{{Name: "a", Strips: []string{"s", "s2"}}}
	m.Further = []show.Supply{{Name: "b", Volts: 12_000_000, Amps: 2_000_000, Share: 800_000, Surge: 1_000_000}}
	hw, err := render.NewHardware(&m)
	require.NoError(tb, err)
	return hw
}

// recountOn is recount of the strips of one supply.
func recountOn(hw *render.Hardware, law show.Law, dies, supply int, codes []uint8) int64 {
	var of []uint8
	for _, st := range hw.Layout.Strips {
		if hw.Machine.SupplyIndex(hw.Machine.Strip(st.Name).Supply) == supply {
			from := hw.Layout.Pixels[st.First].Offset
			of = append(of, codes[from:from+st.Count*dies]...)
		}
	}
	return recount(law, dies, of)
}

// drawClip draws light that comes and goes, so that currents move.
func drawClip(t *rapid.T, n int) frames {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "light"), 3))
	src := make(frames, 1+r.IntN(24))
	level := r.Float32()
	for f := range src {
		if r.IntN(4) == 0 {
			level = r.Float32() * 1.2
		}
		src[f] = make([]color.Light, n)
		for i := range src[f] {
			for c := range src[f][i] {
				src[f][i][c] = level * (0.5 + 0.5*r.Float32())
			}
		}
	}
	return src
}

// Whatever the light, the laws, the budgets, the policy and the slew: by a
// count of its own no frame of any clip draws more from a supply than its
// budget, nor changes by more than its slew from the frame before, over the
// seam too; gains never rise above what the policy alone gives, and light that
// nothing asks to lower is left alone. How often each bites is asserted.
func TestPlansKeepBudgetAndSlew(t *testing.T) {
	shows, bites, slewed, split := 0, 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		law := show.Law(rapid.IntRange(0, 2).Draw(t, "law"))
		order := rapid.SampledFrom([]string{"GRB", "RGBW"}).Draw(t, "order")
		n := rapid.IntRange(2, 10).Draw(t, "pixels")
		hw := hardware(t, n, law, order)
		supplies := 1
		if rapid.Bool().Draw(t, "two") {
			hw, supplies = twoSupplies(t, n, law, order), 2
		}
		src := drawClip(t, n)
		clips := []render.Item{{Name: "a", Source: src}, {Name: "b", Source: drawClip(t, n), Follow: rapid.Bool().Draw(t, "follow")}}
		plan := render.Plan{Cap: show.Cap(rapid.IntRange(0, 2).Draw(t, "cap")), Window: rapid.IntRange(1, 12).Draw(t, "window"), Compare: rapid.Bool().Draw(t, "compare")}
		var b power.Budget
		white := make([]uint8, hw.Drive.Channels())
		for i := range white {
			white[i] = 255
		}
		for s := range supplies {
			of := hw.Meter.Of(s)
			light := of.Current(white) - of.Idle()
			one := power.Budget{Limit: of.Idle() + light*rapid.Int64Range(1, 130).Draw(t, "percent")/100}
			if s == 0 {
				b = one
			} else {
				b.Further = []power.Budget{one}
			}
			rise, fall := int64(0), int64(0)
			if rapid.Bool().Draw(t, "slew") {
				rise = of.LeastSlew(1) + light*rapid.Int64Range(0, 25).Draw(t, "rise")/100
				fall = rapid.SampledFrom([]int64{0, rise}).Draw(t, "fall")
			}
			plan.Rise, plan.Fall = append(plan.Rise, rise), append(plan.Fall, fall)
		}
		budgets := []power.Budget{b, b}
		got, err := render.FinishItems(clips, hw, budgets, plan, 1, nil)
		require.NoError(t, err)
		free := plan
		free.Rise, free.Fall = make([]int64, supplies), make([]int64, supplies)
		alone, err := render.FinishItems(clips, hw, budgets, free, 2, nil)
		require.NoError(t, err)
		shows++
		if supplies == 2 {
			split++
		}
		bit, held := false, false
		for i, c := range got {
			bit = bit || c.Bites() > 0
			for f := range c.Frames {
				before := (f + c.Frames - 1) % c.Frames
				for s := range supplies {
					ua := recountOn(hw, law, len(order), s, c.Frame(f))
					require.LessOrEqual(t, ua, b.At(s).Limit, "clip %d, frame %d", i, f)
					if clips[i].Follow {
						continue
					}
					was := recountOn(hw, law, len(order), s, c.Frame(before))
					if plan.Rise[s] > 0 {
						require.LessOrEqual(t, ua-was, plan.Rise[s], "clip %d rises at frame %d", i, f)
					}
					if plan.Fall[s] > 0 {
						require.LessOrEqual(t, was-ua, plan.Fall[s], "clip %d falls at frame %d", i, f)
					}
				}
				require.LessOrEqual(t, c.GainOf(f), alone[i].GainOf(f))
				held = held || c.GainOf(f) < alone[i].GainOf(f)
			}
			require.LessOrEqual(t, c.Light().Mean, alone[i].Light().Mean+1e-9)
			if plan.Cap == show.CapMoment || plan.Compare {
				require.GreaterOrEqual(t, alone[i].Costs[show.CapMoment].Mean, alone[i].Costs[show.CapClip].Mean-1e-9, "moment gives no less light than clip")
				require.GreaterOrEqual(t, alone[i].Costs[show.CapClip].Mean, alone[i].Costs[show.CapShow].Mean)
			}
			if c.Bites() == 0 && plan.Cap != show.CapShow {
				require.Equal(t, uint32(drive.FullGain), alone[i].Gain, "light that nothing asks to lower is left alone")
			}
		}
		if bit {
			bites++
		}
		if held {
			slewed++
		}
	})
	t.Logf("%d shows, %d on two supplies: the cap bit in %d, a slew in %d", shows, split, bites, slewed)
	require.GreaterOrEqual(t, float64(bites), 0.3*float64(shows))
	require.GreaterOrEqual(t, float64(slewed), 0.1*float64(shows))
	require.GreaterOrEqual(t, float64(split), 0.2*float64(shows))
}

// Where every frame needs the same, moment is clip.
func TestMomentAtConstantNeedIsClip(t *testing.T) {
	hw := hardware(t, 8, show.Sum, "GRB")
	src := make(frames, 30)
	for f := range src {
		src[f] = make([]color.Light, 8)
		for i := range src[f] {
			src[f][i] = color.Light{0.9, 0.9, 0.9}
		}
	}
	b := power.Budget{Limit: hw.Meter.Idle() + 60_000}
	clips := []render.Item{{Name: "a", Source: src}}
	clip, err := render.FinishItems(clips, hw, []power.Budget{b}, render.Plan{Cap: show.CapClip}, 1, nil)
	require.NoError(t, err)
	moment, err := render.FinishItems(clips, hw, []power.Budget{b}, render.Plan{Cap: show.CapMoment, Window: 10}, 1, nil)
	require.NoError(t, err)
	require.Less(t, clip[0].Gain, uint32(drive.FullGain))
	require.Equal(t, clip[0].Bytes, moment[0].Bytes)
	require.Zero(t, moment[0].Swing())
}

// A clip whose duties are not kept is rendered again for its slew, with the
// same codes.
func TestSlewOfLongClips(t *testing.T) {
	hw := hardware(t, 100, show.Sum, "GRB")
	blocks := func(n int) frames {
		src := make(frames, n)
		for f := range src {
			src[f] = make([]color.Light, 100)
			if f%500 >= 250 {
				for i := range src[f] {
					src[f][i] = color.Light{1, 1, 1}
				}
			}
		}
		return src
	}
	plan := render.Plan{Cap: show.CapClip, Rise: []int64{100_000}, Fall: []int64{200_000}}
	b := []power.Budget{{Limit: 1 << 40}}
	long, err := render.FinishItems([]render.Item{{Name: "a", Source: blocks(22_000)}}, hw, b, plan, 1, nil) // 26.4 MB of duties
	require.NoError(t, err)
	short, err := render.FinishItems([]render.Item{{Name: "a", Source: blocks(1000)}}, hw, b, plan, 1, nil)
	require.NoError(t, err)
	require.Equal(t, short[0].Bytes, long[0].Bytes[:len(short[0].Bytes)])
	require.Less(t, short[0].GainOf(250), uint32(drive.FullGain/10), "the step climbs")
	require.EqualValues(t, drive.FullGain, short[0].GainOf(499-40))
	require.Less(t, short[0].GainOf(499), uint32(drive.FullGain/4), "and is lowered ahead of its fall")
}

// Exact codes cannot be lowered: too steep ones are refused.
func TestExactSlew(t *testing.T) {
	hw := hardware(t, 4, show.Sum, "GRB")
	img := image.NewNRGBA(image.Rect(0, 0, 4, 3))
	for i := range 16 {
		img.Pix[16+i] = 200
	}
	clips := []render.Item{{Name: "x", Exact: img}}
	b := []power.Budget{{Limit: 1 << 40}}
	_, err := render.FinishItems(clips, hw, b, render.Plan{Rise: []int64{10_000_000}, Fall: []int64{0}}, 1, nil)
	require.NoError(t, err)
	var slope *render.SlewError
	_, err = render.FinishItems(clips, hw, b, render.Plan{Rise: []int64{100_000}, Fall: []int64{0}}, 1, nil)
	require.ErrorAs(t, err, &slope)
	require.Equal(t, 1, slope.Frame)
	_, err = render.FinishItems(clips, hw, b, render.Plan{Rise: []int64{0}, Fall: []int64{100_000}}, 1, nil)
	require.ErrorAs(t, err, &slope)
	require.Equal(t, 2, slope.Frame)
	require.ErrorContains(t, err, "exact picture's current changes by")
}

// A slew below a step of all codes never lets light rise: the clip stays at its
// darkest frame, or is refused where the laps do not end.
func TestTinySlewKeepsItsPromise(t *testing.T) {
	hw := hardware(t, 8, show.Sum, "GRB")
	src := make(frames, 40)
	for f := range src {
		src[f] = make([]color.Light, 8)
		for i := range src[f] {
			v := 0.2 + 0.7*float32(f%20)/20
			src[f][i] = color.Light{v, v, v}
		}
	}
	plan := render.Plan{Cap: show.CapClip, Rise: []int64{1}, Fall: []int64{1}}
	got, err := render.FinishItems([]render.Item{{Name: "a", Source: src}}, hw, []power.Budget{{Limit: 1 << 40}}, plan, 1, nil)
	var slope *render.SlewError
	if errors.As(err, &slope) {
		require.False(t, slope.Exact)
		return
	}
	require.NoError(t, err)
	for f, ua := range got[0].Current {
		require.LessOrEqual(t, ua-got[0].Current[(f+39)%40], int64(1))
	}
}

func TestPlanOf(t *testing.T) {
	s := &show.Show{FPS: 40, Cap: show.CapMoment, Window: 2_500_000_000}
	m := &show.Machine{Supply: show.Supply{Rise: 20_000_000, Fall: 1000}, Further: []show.Supply{{}}}
	require.Equal(t, render.Plan{Cap: show.CapMoment, Window: 100, Rise: []int64{500_000, 0}, Fall: []int64{25, 0}}, render.PlanOf(s, m))
}
