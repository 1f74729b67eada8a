package power

import (
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/drive"
)

// panel lays one strip of n pixels of a part out, without places.
func panel(part show.Part, n int) (*show.Machine, *layout.Layout) {
	l := &layout.Layout{Strips: []layout.Strip{{Name: "a", Count: n, Dies: part.Dies(), Order: part.Order}}, Pixels: make([]layout.Pixel, n)}
	for i := range l.Pixels {
		l.Pixels[i] = layout.Pixel{Index: i, Offset: i * part.Dies()}
	}
	return &show.Machine{Parts: []show.Part{part}}, l
}

func meter(t require.TestingT, part show.Part, n int) *Meter {
	m, l := panel(part, n)
	got, err := NewMeter(m, l)
	require.NoError(t, err)
	return got
}

func rgb(law show.Law, ua int64) show.Part {
	c := unit.Current(ua)
	return show.Part{Name: "p", Order: "RGB", LEDsPerPixel: 1, Law: law, Channel: [4]unit.Current{c, c, c}}
}

func fill(n int, px ...uint8) []uint8 {
	var b []uint8
	for range n {
		b = append(b, px...)
	}
	return b
}

// A worked example by hand: 150 x 3 x 0.018 A and 3 A / 8.1 A, by hand.
func TestFullWhite(t *testing.T) {
	m := meter(t, rgb(show.Sum, 18_000), 150)
	white := fill(150, 255, 255, 255)
	require.EqualValues(t, 8_100_000, m.Current(white))

	drives := make([]float32, len(white))
	for i := range drives {
		drives[i] = 1
	}
	scratch := make([]uint8, len(white))
	k, ok := m.Gain(drives, 3_000_000, scratch, drive.FullGain)
	require.True(t, ok)
	require.Equal(t, fill(150, 94, 94, 94), scratch, "a cap of 37.0 % is code 94")
	require.InDelta(t, 94.5/255, float64(k)/drive.FullGain, 1e-4, "the last gain that rounds to 94")
	require.EqualValues(t, 2_985_883, m.Current(scratch)) // ceil(8.1 A x 94/255)

	// The player's own scaling rounds down and ends at the same code.
	g, ok := m.ScaleBound(m.Numerator(white), 3_000_000)
	require.True(t, ok)
	Scale(scratch, white, g)
	require.Equal(t, fill(150, 94, 94, 94), scratch)

	// Meant as 150 LEDs, that is 50 pixels: no cap.
	m = meter(t, rgb(show.Sum, 18_000), 50)
	require.EqualValues(t, 2_700_000, m.Current(fill(50, 255, 255, 255)))
}

// A worked example by hand, direct sums: (60 x 335 + 90 x 90) x 18 mA / 255 =
// 1.99058.. A; (60 x 255 + 90 x 30) x 13.5 mA / 255 = 0.952941.. A.
func TestTwoLaws(t *testing.T) {
	frame := append(fill(60, 255, 80, 0), fill(90, 30, 30, 30)...)
	require.EqualValues(t, 1_990_589, meter(t, rgb(show.Sum, 18_000), 150).Current(frame))
	require.EqualValues(t, 952_942, meter(t, rgb(show.Largest, 13_500), 150).Current(frame))
}

func ceiling10() show.Part {
	p := rgb(show.Ceiling, 12_000) // 36 mA in sum
	p.Ceiling = 10_000
	return p
}

// The law ceiling is not in proportion: 200 pixels of 36 mA in sum and at most
// 10 mA draw 2.0 A at white, and still 2.0 A at a gain of 0.8.
func TestCeilingDoesNotScale(t *testing.T) {
	m := meter(t, ceiling10(), 200)
	white := fill(200, 255, 255, 255)
	require.EqualValues(t, 2_000_000, m.Current(white))
	scaled := make([]uint8, len(white))
	Scale(scaled, white, drive.FullGain*8/10)
	require.EqualValues(t, 2_000_000, m.Current(scaled))
	require.EqualValues(t, 7_200_000, m.Bound(white))

	// So the gain for 1.6 A is not 0.8 but 8/36, found on the recount.
	drives := make([]float32, len(white))
	for i := range drives {
		drives[i] = 1
	}
	k, ok := m.Gain(drives, 1_600_000, scaled, drive.FullGain)
	require.True(t, ok)
	require.InDelta(t, 8.0/36, float64(k)/drive.FullGain, 0.002)
	require.LessOrEqual(t, m.Current(scaled), int64(1_600_000))

	// And the player's bound is the plain sum.
	g, _ := m.ScaleBound(m.Numerator(white), 1_600_000)
	Scale(scaled, white, g)
	require.LessOrEqual(t, m.Bound(scaled), int64(1_600_000))
}

// Half-way between two frames of 1.0 A lie 2.0 A: the law ceiling is not
// convex, so a crossfade is counted, never averaged.
func TestCeilingHalfWayIsMore(t *testing.T) {
	m := meter(t, ceiling10(), 200)
	a := append(fill(100, 255, 255, 255), fill(100, 0, 0, 0)...)
	b := append(fill(100, 0, 0, 0), fill(100, 255, 255, 255)...)
	half := fill(200, 128, 128, 128)
	require.EqualValues(t, 1_000_000, m.Current(a))
	require.EqualValues(t, 1_000_000, m.Current(b))
	require.EqualValues(t, 2_000_000, m.Current(half))
}

// A spread is for data sheets: readings of an ammeter have none.
func TestSpreadCountsAtItsUpperEnd(t *testing.T) {
	p := rgb(show.Sum, 12_000)
	p.Idle, p.Spread = 1000, 80_000
	white := fill(100, 255, 255, 255)
	require.EqualValues(t, 100*(3*12_960+1080), meter(t, p, 100).Current(white))
	p.Fitted = true
	require.EqualValues(t, 100*(3*12_000+1000), meter(t, p, 100).Current(white))
	p.Fitted, p.Spread = false, 1 // one millionth of 12 mA is rounded up
	require.EqualValues(t, 100*(3*12_001+1001), meter(t, p, 100).Current(white))
}

// The ceiling is per LED, the channels per pixel.
func TestCeilingCountsLEDs(t *testing.T) {
	p := rgb(show.Ceiling, 12_000)
	p.Ceiling, p.LEDsPerPixel = 10_000, 3
	require.EqualValues(t, 30_000, meter(t, p, 1).Current([]uint8{255, 255, 255}))
}

func TestMissingDrawsNothingHiddenDrawsIdle(t *testing.T) {
	p := rgb(show.Sum, 10_000)
	p.Idle = 1000
	m, l := panel(p, 10)
	l.Pixels[0].Missing, l.Pixels[4].Missing, l.Pixels[9].Hidden = true, true, true
	got, err := NewMeter(m, l)
	require.NoError(t, err)
	require.EqualValues(t, 8000, got.Idle())
	require.EqualValues(t, 8000+8*30_000, got.Current(fill(10, 255, 255, 255)))
}

func TestRefusals(t *testing.T) {
	for name, change := range map[string]func(*show.Part){
		"ceiling without one": func(p *show.Part) { p.Law = show.Ceiling },
		"negative":            func(p *show.Part) { p.Channel[1] = -1 },
		"two dies":            func(p *show.Part) { p.Order = "RG" },
		"a kiloampere":        func(p *show.Part) { p.Channel[0] = 1e9 },
		"spread":              func(p *show.Part) { p.Spread = 2_000_000 },
	} {
		p := rgb(show.Sum, 1000)
		change(&p)
		m, l := panel(p, 2)
		_, err := NewMeter(m, l)
		require.ErrorContains(t, err, `part "p"`, name)
	}
	_, err := Build([]Part{{Dies: 3}}, []Run{{Offset: 3, Pixels: 3}}, 9)
	require.Error(t, err, "a run past the frame's end")
}

// slow counts one frame the obvious way, in big rationals.
func slow(m *Meter, codes []uint8, plain bool) int64 {
	total := new(big.Int)
	for p, part := range m.parts {
		num := new(big.Int)
		for _, r := range m.runs {
			if r.Part != p {
				continue
			}
			for px := range r.Pixels {
				sum, biggest := new(big.Int), new(big.Int)
				for c := range part.Dies {
					x := big.NewInt(int64(codes[r.Offset+px*part.Dies+c]))
					x.Mul(x, big.NewInt(part.Channel[c]))
					sum.Add(sum, x)
					if x.Cmp(biggest) > 0 {
						biggest = x
					}
				}
				most := big.NewInt(255 * part.Ceiling)
				switch {
				case plain || part.Law == show.Sum || part.Law == show.Ceiling && sum.Cmp(most) < 0:
					num.Add(num, sum)
				case part.Law == show.Largest:
					num.Add(num, biggest)
				default:
					num.Add(num, most)
				}
				total.Add(total, big.NewInt(part.Idle))
			}
		}
		q, rest := new(big.Int).QuoRem(num, big.NewInt(255), new(big.Int))
		if rest.Sign() > 0 {
			q.Add(q, big.NewInt(1))
		}
		total.Add(total, q)
	}
	return total.Int64()
}

// drawMeter draws a panel of one to three parts under any law, with gaps.
func drawMeter(t *rapid.T) *Meter {
	ua := rapid.Int64Range(0, 60_000)
	var parts []Part
	for range rapid.IntRange(1, 3).Draw(t, "parts") {
		p := Part{Dies: rapid.SampledFrom([]int{3, 4}).Draw(t, "dies"), Law: show.Law(rapid.IntRange(0, 2).Draw(t, "law")),
			Idle: rapid.Int64Range(0, 3000).Draw(t, "idle"), Ceiling: rapid.Int64Range(1, 80_000).Draw(t, "ceiling")}
		for c := range p.Dies {
			p.Channel[c] = ua.Draw(t, "channel")
		}
		parts = append(parts, p)
	}
	var runs []Run
	at := 0
	for range rapid.IntRange(1, 4).Draw(t, "runs") {
		at += rapid.IntRange(0, 5).Draw(t, "gap")
		r := Run{Part: rapid.IntRange(0, len(parts)-1).Draw(t, "part"), Offset: at, Pixels: rapid.IntRange(0, 40).Draw(t, "pixels")}
		runs = append(runs, r)
		at += r.Pixels * parts[r.Part].Dies
	}
	m, err := Build(parts, runs, at)
	require.NoError(t, err)
	return m
}

func drawFrame(t *rapid.T, n int) []uint8 {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
	most := rapid.IntRange(1, 256).Draw(t, "most")
	b := make([]uint8, n)
	for i := range b {
		b[i] = uint8(r.IntN(most))
	}
	return b
}

func TestCountMatchesSlowTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMeter(t)
		codes := drawFrame(t, m.Channels())
		require.Equal(t, slow(m, codes, false), m.Current(codes))
		require.Equal(t, slow(m, codes, true), m.Bound(codes))
		require.LessOrEqual(t, m.Current(codes), m.Bound(codes))
	})
}

// Lanes are emptied every 256 words: long bright strips walk over that edge.
func TestLongBrightStrips(t *testing.T) {
	for _, dies := range []int{3, 4} {
		for _, n := range []int{0, 1, 7, 8, 9, 511, 512, 513, 2047, 2048, 2049, 8192} {
			m, err := Build([]Part{{Dies: dies, Channel: [4]int64{MostPixelCurrent, 3, 5, 7}}}, []Run{{Pixels: n}}, n*dies)
			require.NoError(t, err)
			codes := make([]uint8, n*dies)
			for i := range codes {
				codes[i] = 255
			}
			require.Equal(t, slow(m, codes, false), m.Current(codes), "%d pixels of %d dies", n, dies)
		}
	}
}

func TestGainIsTheGreatestThatFits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMeter(t)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		drives := make([]float32, m.Channels())
		for i := range drives {
			drives[i] = r.Float32() * 1.1
		}
		full := make([]uint8, len(drives))
		drive.Round(full, drives, drive.FullGain)
		most := uint32(rapid.IntRange(0, drive.FullGain).Draw(t, "most"))
		limit := rapid.Int64Range(m.Idle()-2, m.Current(full)+2).Draw(t, "limit")
		scratch := make([]uint8, len(drives))
		k, ok := m.Gain(drives, limit, scratch, most)
		require.Equal(t, m.Idle() <= limit, ok)
		if !ok {
			require.Zero(t, k)
			return
		}
		require.LessOrEqual(t, slow(m, scratch, false), limit)
		again := make([]uint8, len(drives))
		drive.Round(again, drives, k)
		require.Equal(t, again, scratch, "scratch holds the codes of the gain")
		if k < most {
			drive.Round(again, drives, k+1)
			require.Greater(t, slow(m, again, false), limit, "one step more breaks it")
		}
	})
}

func TestScaleBoundHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMeter(t)
		codes := drawFrame(t, m.Channels())
		limit := rapid.Int64Range(m.Idle()-2, m.Bound(codes)+10).Draw(t, "limit")
		k, ok := m.ScaleBound(m.Numerator(codes), limit)
		require.Equal(t, m.Idle() <= limit, ok)
		if !ok {
			return
		}
		// Any smaller gain holds as well: a level may lower it further.
		k = uint32(rapid.IntRange(0, int(k)).Draw(t, "k"))
		scaled := make([]uint8, len(codes))
		Scale(scaled, codes, k)
		require.LessOrEqual(t, slow(m, scaled, false), limit)
	})
}

// Each part's current is rounded up for itself, so two parts of half a
// microampere draw two: the bound leaves room for every part's rounding.
func TestScaleBoundLeavesRoomForRounding(t *testing.T) {
	p := Part{Dies: 3, Channel: [4]int64{1, 1, 1}}
	m, err := Build([]Part{p, p}, []Run{{Pixels: 1}, {Part: 1, Offset: 3, Pixels: 1}}, 6)
	require.NoError(t, err)
	codes := []uint8{128, 0, 0, 128, 0, 0}
	require.EqualValues(t, 2, m.Current(codes))
	for limit := range int64(5) {
		k, ok := m.ScaleBound(m.Numerator(codes), limit)
		require.True(t, ok)
		scaled := make([]uint8, len(codes))
		Scale(scaled, codes, k)
		require.LessOrEqual(t, m.Current(scaled), limit, "limit %d", limit)
	}
}

func amps(a float64) unit.Current { return unit.Current(a*1e6 + 0.5) }

func cabinet() (*show.Show, *show.Machine) {
	m := &show.Machine{
		Supply: show.Supply{Amps: amps(8.3), Share: 800_000, Surge: 1_000_000},
		Loads: []show.Load{
			{Name: "carousel", Amps: amps(2.4), Start: amps(4.8)},
			{Name: "lock", Amps: amps(0.5), Start: amps(0.5), Stall: amps(1.5)},
			{Name: "fan", Amps: amps(0.3), Start: amps(0.9)},
		},
	}
	s := &show.Show{
		Clips: []show.Clip{{Name: "rest"}, {Name: "turning"}, {Name: "thanks"}, {Name: "spare"}},
		States: []show.State{
			{Name: "rest", Clip: "rest", Loads: []string{"fan"}, HandOver: show.Crossfade},
			{Name: "turning", Clip: "turning", Loads: []string{"carousel", "fan"}, AtMost: 12e9, Then: "stuck"},
			{Name: "thanks", Clip: "thanks", Loads: []string{"lock"}},
			{Name: "stuck", Clip: "rest"},
		},
	}
	return s, m
}

// Source: the two formulas by hand, in amperes.
func TestStateBudgets(t *testing.T) {
	s, m := cabinet()
	for i, want := range []Budget{
		// 6.64 - 0.3 = 6.34; 8.3 - 0.9 = 7.4
		{6_340_000, "8.3 A x 80 % less fan 0.3 A (running)", "fan", nil},
		// 6.64 - 2.7 = 3.94; 8.3 - (4.8 + 0.3) = 3.2; 8.3 - (0.9 + 2.4) = 5.0
		{3_200_000, "8.3 A x 100 % less carousel 4.8 A (start), fan 0.3 A (running)", "carousel", nil},
		// 6.64 - 1.5 = 5.14; 8.3 - 1.5 = 6.8
		{5_140_000, "8.3 A x 80 % less lock 1.5 A (stall)", "lock", nil},
		{6_640_000, "8.3 A x 80 %", "", nil},
	} {
		require.Equal(t, want, StateBudget(s, m, i), s.States[i].Name)
	}
	require.Equal(t, StateBudget(s, m, 1), ShowBudget(s, m))

	m.Supply.Surge = 500_000
	require.Equal(t, Budget{Limit: 4_150_000, Why: "8.3 A x 50 %"}, StateBudget(s, m, 3), "a surge below the share counts too")
	m.Supply.Amps = amps(2)
	require.Negative(t, StateBudget(s, m, 1).Limit, "loads that ask more than there is")
}

func TestClipBudgets(t *testing.T) {
	s, m := cabinet()
	got := ClipBudgets(s, m)
	limits := []int64{got[0].Limit, got[1].Limit, got[2].Limit, got[3].Limit}
	// rest is entered by a crossfade, so every clip may show beside the fan.
	require.Equal(t, []int64{6_340_000, 3_200_000, 5_140_000, 3_200_000}, limits)

	s.States[1].HandOver = show.Finish // now every clip may finish while the carousel turns
	for i, b := range ClipBudgets(s, m) {
		require.EqualValues(t, 3_200_000, b.Limit, s.Clips[i].Name)
	}
	require.Equal(t, []bool{true, false, false, true}, EnteredAlone(s))
	s.Host = show.Host{Silence: 5e9, Then: "thanks"}
	require.Equal(t, []bool{true, false, true, true}, EnteredAlone(s))
}

func TestAmps(t *testing.T) {
	for ua, want := range map[int64]string{0: "0 A", 1: "0.000001 A", 8_300_000: "8.3 A", -360_000: "-0.36 A", 12_000_000: "12 A"} {
		require.Equal(t, want, Amps(ua))
	}
}

// power_sum_ratio and its like: counting a frame of 300 pixels over a bare sum
// of its bytes, in the same run.
func BenchmarkCurrent(b *testing.B) {
	const n = 300
	codes := make([]uint8, 3*n)
	for i := range codes {
		codes[i] = uint8(i * 7)
	}
	var sink int64
	bare := 0.0
	b.Run("bare", func(b *testing.B) {
		for b.Loop() {
			sink += bareSum(codes)
		}
		bare = float64(b.Elapsed().Nanoseconds()) / float64(b.N)
	})
	for _, law := range []show.Law{show.Sum, show.Largest, show.Ceiling} {
		p := rgb(law, 12_000)
		p.Ceiling = 20_000
		m := meter(b, p, n)
		b.Run(law.String(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				sink += m.Current(codes)
			}
			ns := float64(b.Elapsed().Nanoseconds()) / float64(b.N)
			b.ReportMetric(ns, "power_"+law.String()+"_ns")
			if bare > 0 { // not alone
				b.ReportMetric(ns/bare, "power_"+law.String()+"_ratio")
			}
		})
	}
	_ = sink
}

//go:noinline
func bareSum(codes []uint8) (s int64) {
	for _, c := range codes {
		s += int64(c)
	}
	return s
}

func BenchmarkGain(b *testing.B) {
	m := meter(b, rgb(show.Sum, 12_000), 300)
	drives := make([]float32, m.Channels())
	for i := range drives {
		drives[i] = float32(i%97) / 97
	}
	scratch := make([]uint8, len(drives))
	for b.Loop() {
		m.Gain(drives, 1_000_000, scratch, drive.FullGain)
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N), "power_gain_us")
}
