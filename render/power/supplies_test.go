package power

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/drive"
)

// Source: straight lines between the points, by hand.
func TestDerating(t *testing.T) {
	s := show.Supply{Amps: amps(8.3), Share: 800_000, Surge: 1_000_000}
	require.EqualValues(t, 8_300_000, Derated(&s))
	s.Derate = []show.Derate{{At: 50, Share: 1_000_000}, {At: 60, Share: 800_000}, {At: 70, Share: 500_000}}
	for at, want := range map[unit.Celsius]int64{-10: 1_000_000, 50: 1_000_000, 55: 900_000, 60: 800_000, 65: 650_000, 70: 500_000, 51.5: 970_000} {
		s.Temperature = at
		require.Equal(t, want, derating(&s), "%v", at)
		require.Equal(t, 8_300_000*want/1_000_000, Derated(&s))
	}
	s.Temperature = 50.001
	require.EqualValues(t, 999_980, derating(&s), "rounded down")

	s.Temperature = 60
	w, m := cabinet()
	m.Supply = s
	// 8.3 x 0.8 = 6.64; 6.64 x 0.8 - 0.3 = 5.012; 6.64 - 0.9 = 5.74
	b := StateBudget(w, m, 0)
	require.EqualValues(t, 5_012_000, b.Limit)
	require.Equal(t, "8.3 A x 80 % at 60 degC x 80 % less fan 0.3 A (running)", b.Why)
}

// The load to blame is the one without which most would be left, not the one
// with the largest figure in the sum: without the pump's start the drum's start
// would bind.
func TestBlamesTheRightLoad(t *testing.T) {
	s := &show.Show{States: []show.State{{Name: "on", Loads: []string{"drum", "pump"}}}}
	m := &show.Machine{
		Supply: show.Supply{Amps: amps(8), Share: 800_000, Surge: 1_000_000},
		Loads:  []show.Load{{Name: "drum", Amps: amps(3)}, {Name: "pump", Amps: amps(1), Start: amps(3.5)}},
	}
	// 6.4 - 4 = 2.4; 8 - (3.5 + 3) = 1.5. Without drum: min(6.4 - 1, 8 - 3.5) = 4.5;
	// without pump: min(6.4 - 3, 8 - 3) = 3.4.
	require.Equal(t, Budget{Limit: 1_500_000, Why: "8 A x 100 % less drum 3 A (running), pump 3.5 A (start)", Load: "drum"}, StateBudget(s, m, 0))
}

func TestLoadsOverTheSupply(t *testing.T) {
	s, m := cabinet()
	require.Empty(t, CheckLoads(s, m))
	m.Loads[0].Start = amps(8.2)
	found := CheckLoads(s, m)
	require.Error(t, found.Err())
	require.Len(t, found, 1)
	require.Equal(t, `the loads of state "turning" alone ask for more than there is: 8.3 A x 100 % less carousel 8.2 A (start), fan 0.3 A (running) leaves -0.2 A`, found[0].Message)
	require.Contains(t, found[0].Fix, `"carousel"`)
}

// Two supplies: strips and loads count on their own one alone.
func TestTwoSupplies(t *testing.T) {
	s, m := cabinet()
	m.Supply.Name = "light"
	m.Further = []show.Supply{{Name: "motors", Amps: amps(6), Share: 800_000, Surge: 1_000_000}}
	m.Loads[0].Supply, m.Loads[1].Supply = "motors", "motors"
	b := StateBudget(s, m, 1) // carousel and fan
	require.Equal(t, []int64{6_340_000, 1_200_000}, b.Limits())
	require.Equal(t, "supply light: 8.3 A x 80 % less fan 0.3 A (running)", b.Why)
	require.Equal(t, "supply motors: 6 A x 100 % less carousel 4.8 A (start)", b.At(1).Why)
	require.Equal(t, "carousel", b.At(1).Load)
	least := ShowBudget(s, m)
	require.Equal(t, []int64{6_340_000, 1_200_000}, least.Limits())
	for i, c := range ClipBudgets(s, m) {
		require.Equal(t, 2, c.Supplies(), s.Clips[i].Name)
	}

	// A frame of two strips, one on each.
	p := rgb(show.Sum, 10_000)
	p.Idle = 1000
	m.Parts = []show.Part{p}
	m.Strips = []show.Strip{{Name: "a", Part: "p", Pixels: 10}, {Name: "b", Part: "p", Pixels: 20, Supply: "motors"}}
	_, l := panel(p, 30)
	l.Strips[0].Count = 10
	second := l.Strips[0]
	second.Name, second.First, second.Count = "b", 10, 20
	l.Strips[0].Name = "a"
	l.Strips = append(l.Strips, second)
	meter, err := NewMeter(m, l)
	require.NoError(t, err)
	white := fill(30, 255, 255, 255)
	require.EqualValues(t, 30*31_000, meter.Current(white))
	require.EqualValues(t, 10*31_000, meter.Of(0).Current(white))
	require.EqualValues(t, 20*31_000, meter.Of(1).Current(white))
	require.EqualValues(t, 20*1000, meter.Of(1).Idle())
	require.EqualValues(t, 0, meter.Of(2).Current(white), "nothing hangs on it")
	require.EqualValues(t, 30*30_000/255+1, meter.CodeStep())

	drives := make([]float32, len(white))
	for i := range drives {
		drives[i] = 1
	}
	scratch := make([]uint8, len(white))
	k, ok := meter.Gains(drives, []int64{155_000, 310_000}, scratch, drive.FullGain)
	require.True(t, ok)
	require.InDelta(t, 145.0/300, float64(k)/drive.FullGain, 0.003, "the first supply asks for less light than the second")
	_, ok = meter.Gains(drives, []int64{155_000, 19_000}, scratch, drive.FullGain)
	require.False(t, ok, "idle alone breaks the second")

	// At power-up the first carries its strip and the second does not.
	m.Further[0].Amps, m.Further[0].Surge = 600_000, 1_000_000
	found := BootFlash(m, meter)
	require.Len(t, found, 1)
	require.Equal(t, finding.Warning, found[0].Severity)
	require.Contains(t, found[0].Message, "0.62 A, and the supply gives 0.6 A")
	m.Further[0].RailSwitch = true
	require.Empty(t, BootFlash(m, meter))
	// 0.31 A of 0.9 A leave too little for the fan's start, and 0.31 A of 1.3 A enough.
	m.Supply.Amps = amps(0.9)
	found = BootFlash(m, meter)
	require.Len(t, found, 1)
	require.Equal(t, finding.Note, found[0].Severity)
	require.Contains(t, found[0].Message, `0.31 A of 0.9 A, which leaves too little for load "fan" to start with 0.9 A`)
	m.Supply.Amps = amps(1.3)
	require.Empty(t, BootFlash(m, meter))
}

// However strips are shared out, the supplies' counts add up to the panel's,
// but for what each rounds up; the gain for all limits fits each.
func TestSuppliesAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMeter(t)
		runs := append([]Run(nil), m.runs...)
		n := rapid.IntRange(1, MostSupplies).Draw(t, "supplies")
		for i := range runs {
			runs[i].Supply = rapid.IntRange(0, n-1).Draw(t, "supply")
		}
		split, err := Build(m.parts, runs, m.channels)
		require.NoError(t, err)
		codes := drawFrame(t, m.channels)
		sum := int64(0)
		for s := range MostSupplies {
			sum += split.Of(s).Current(codes)
		}
		require.Equal(t, sum, split.Current(codes))
		require.GreaterOrEqual(t, sum, m.Current(codes))
		require.LessOrEqual(t, sum, m.Current(codes)+int64(n*len(m.parts)))
		require.Equal(t, m.idle, split.Idle())

		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		drives := make([]float32, m.channels)
		for i := range drives {
			drives[i] = r.Float32()
		}
		var limits []int64
		for s := range n {
			limits = append(limits, split.Of(s).Idle()+rapid.Int64Range(-1, 200_000).Draw(t, "limit"))
		}
		scratch := make([]uint8, m.channels)
		k, ok := split.Gains(drives, limits, scratch, drive.FullGain)
		fits := func(k uint32) bool {
			drive.Round(scratch, drives, k)
			for s, limit := range limits {
				if slow(split.Of(s), scratch, false) > limit {
					return false
				}
			}
			return true
		}
		require.Equal(t, ok, fits(0))
		if ok {
			require.True(t, fits(k))
			require.True(t, k == drive.FullGain || !fits(k+1), "one step more breaks one of them")
		}
	})
}

// Under sum and largest, scaling a frame down never raises its current, and
// halves it at half the gain, but for the rounding of codes and currents. The
// counter-examples of ceiling are TestCeilingDoesNotScale and
// TestCeilingHalfWayIsMore.
func TestScalingDownNeverRaises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMeter(t)
		codes := drawFrame(t, m.channels)
		a := uint32(rapid.IntRange(0, drive.FullGain).Draw(t, "gain"))
		b := uint32(rapid.IntRange(0, int(a)).Draw(t, "less"))
		more, less := make([]uint8, len(codes)), make([]uint8, len(codes))
		Scale(more, codes, a)
		Scale(less, codes, b)
		require.LessOrEqual(t, slow(m, less, false), slow(m, more, false), "under every law")
		for i := range m.parts {
			if m.parts[i].Law == show.Ceiling {
				return
			}
		}
		light := func(c []uint8) int64 { return m.Current(c) - m.Idle() }
		require.LessOrEqual(t, light(less)*drive.FullGain, light(codes)*int64(b)+int64(len(m.parts)+1)*drive.FullGain, "in proportion")
	})
}
