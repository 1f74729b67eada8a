package play

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/drive"
)

// A still frame that a load had dimmed is sent once more when the budget has
// risen all the way, and not at every step there.
func TestStillBrightensWhenTheLoadHasStopped(t *testing.T) {
	tab := cabinet(t)
	tab.States[alarm].Still = true
	p, err := NewPlayer(tab, Options{KnownLoads: true, First: alarm})
	require.NoError(t, err)
	s := &stage{T: t, p: p, codes: make([]byte, tab.Channels())}
	for range 30 {
		s.next()
	}
	require.Equal(t, 200, s.next())
	s.tell(Event{Kind: Ask, Index: 0})
	require.Less(t, s.next(), 120)
	s.tell(Event{Kind: Stopped, Index: 0})
	var sent []int
	for n := range 30 {
		if s.next(); s.last.Sent {
			sent = append(sent, n)
		}
	}
	// 50 mA to 200 mA at 10 mA a refresh: all of it with the fifteenth.
	require.Equal(t, []int{0, 14}, sent)
	require.EqualValues(t, 200, s.codes[0])
}

func TestLoadLowersAtOnceAndRaisesSlowly(t *testing.T) {
	s := calm(t, alarm)
	s.next()
	// 4 pixels x 30 mA x 210/255 + 4 mA = 102.824 mA: affordable.
	require.EqualValues(t, 102_824, s.last.Current)
	require.EqualValues(t, drive.FullGain, s.last.Gain)
	s.tell(Event{Kind: Ask, Index: 0})
	s.next()
	// Start 200 mA of 250 mA surge: 50 mA are left; steady would leave 100 mA.
	require.EqualValues(t, 50_000, s.last.Budget)
	require.LessOrEqual(t, s.last.Current, int64(50_000))
	require.Greater(t, s.last.Current, int64(49_000), "and little is wasted")
	require.Equal(t, []int{0}, s.last.Granted)
	s.next()
	require.Empty(t, s.last.Granted, "one answer to one question")

	s.tell(Event{Kind: Running, Index: 0}) // 100 mA are left, after 50 mA at 100 uA/ms: 500 ms
	for _, want := range []int64{60_000, 70_000, 80_000, 90_000, 100_000, 100_000} {
		s.next()
		require.Equal(t, want, s.last.Budget)
		require.LessOrEqual(t, s.last.Current, want)
	}
	s.tell(Event{Kind: Stopped, Index: 0})
	s.next()
	require.EqualValues(t, 110_000, s.last.Budget)
}

// Loads that start together are added.
func TestTwoLoadsAskTogether(t *testing.T) {
	s := calm(t, alarm)
	s.tell(Event{Kind: Ask, Index: 0})
	s.tell(Event{Kind: Ask, Index: 1})
	s.next()
	require.EqualValues(t, 250_000-200_000-20_000, s.last.Budget)
	require.Equal(t, []int{0, 1}, s.last.Granted)
}
