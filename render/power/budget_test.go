package power

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/anim/unit"
)

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
