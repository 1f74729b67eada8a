package play

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/table"
)

func TestBlackFirstThenTheHandOver(t *testing.T) {
	s := on(t, Options{KnownLoads: true})
	require.Zero(t, s.next())
	require.True(t, s.last.Sent)
	require.Equal(t, table.None, s.last.Clip)
	require.EqualValues(t, 4000, s.last.Current, "idle")
	// 400 ms are four refreshes: (0*(256-w) + code*w)/256 for w = 64 128 192 256.
	s.shows(2, 10, 22, 40, 10, 20, 30, 40, 10)
	require.EqualValues(t, 900_000, s.last.At)
}

func TestCrossfadeStartsFromTheFrozenFrame(t *testing.T) {
	s := calm(t, alarm)
	require.Equal(t, 210, s.next(), "a clip that does not loop keeps its last frame")
	s.tell(Event{Kind: State, Index: rest})
	// From 210, which stands still, to 10 20 30 40, which run.
	s.shows((210*192+10*64)/256, (210*128+20*128)/256)
	require.Equal(t, 128, s.last.Fade)
	// Broken off by another crossfade: from the mix that would have come next.
	s.tell(Event{Kind: State, Index: fault})
	mixed := (210*64 + 30*192) / 256
	s.shows((mixed*192+200*64)/256, (mixed*128+210*128)/256)
	// Broken off by a cut.
	s.tell(Event{Kind: State, Index: alarm})
	s.shows(200)
}

func TestCutIsImmediate(t *testing.T) {
	s := calm(t, rest)
	s.tell(Event{Kind: State, Index: alarm})
	s.shows(200, 210, 210)
}

func TestFinishPlaysToTheEnd(t *testing.T) {
	s := calm(t, rest)
	for s.next() != 20 {
	}
	s.tell(Event{Kind: State, Index: thanks})
	s.shows(30, 40, 80, 90, 100, 80)
	require.Equal(t, thanks, s.last.State)

	// From a clip that has run out, and from a value, at once.
	s = calm(t, alarm)
	s.tell(Event{Kind: State, Index: thanks})
	s.shows(80)
	s = calm(t, lift)
	s.tell(Event{Kind: State, Index: thanks})
	s.shows(80)

	// A cut breaks the finishing off.
	s = calm(t, rest)
	for s.next() != 20 {
	}
	s.tell(Event{Kind: State, Index: thanks})
	s.shows(30)
	s.tell(Event{Kind: State, Index: alarm})
	s.shows(200)
}

func TestStillRefreshesOnlyWhenOwed(t *testing.T) {
	s := calm(t, rest)
	s.tell(Event{Kind: State, Index: turning})
	sent := func() (n int) {
		for range 20 {
			s.next()
			if s.last.Sent {
				n++
			}
		}
		return n
	}
	s.next()
	require.True(t, s.last.Sent, "on entering")
	require.LessOrEqual(t, s.last.Current, int64(50_000))
	held := s.codes[0]
	require.Zero(t, sent())
	s.tell(Event{Kind: Ask, Index: 0})
	s.next()
	require.True(t, s.last.Sent, "the answer follows a latched frame")
	require.Equal(t, []int{0}, s.last.Granted)
	require.Zero(t, sent())
	s.tell(Event{Kind: Running, Index: 0})
	require.Equal(t, 1, sent(), "a load that started may have disturbed the strip")
	s.tell(Event{Kind: Stopped, Index: 0})
	require.Equal(t, 1, sent())
	require.Equal(t, held, s.codes[0])
}

func TestLongestStayLeadsOn(t *testing.T) {
	// The clock wraps meanwhile.
	s := on(t, Options{KnownLoads: true, First: turning, Start: math.MaxUint32 - 3_000_000})
	begin := Tick(math.MaxUint32 - 3_000_000)
	for s.next(); s.last.State == turning; s.next() {
		require.Less(t, s.last.At.Since(begin), int32(12_000_000))
	}
	require.EqualValues(t, 12_000_000, s.last.At.Since(begin))
	require.Equal(t, fault, s.last.State)
	require.EqualValues(t, 50_000, s.last.Budget, "what runs is not certain: the smallest budget")
	for range 20 {
		s.next()
		require.EqualValues(t, 50_000, s.last.Budget)
	}
	s.tell(Event{Kind: Stopped, Index: 0})
	s.next()
	require.EqualValues(t, 50_000, s.last.Budget, "one load of two is still unknown")
	s.tell(Event{Kind: Stopped, Index: 1})
	s.next()
	require.EqualValues(t, 60_000, s.last.Budget)
}

func TestRepeatedWishesDoNotProlongAStay(t *testing.T) {
	s := on(t, Options{KnownLoads: true, First: turning})
	n := 0
	for s.next(); s.last.State == turning; s.next() {
		n++
		s.tell(Event{Kind: State, Index: turning})
	}
	require.Equal(t, 120, n)
}

func TestSilentHost(t *testing.T) {
	s := on(t, Options{KnownLoads: true, First: alarm})
	s.quiet = true
	for n := range 100 {
		s.next()
		require.Equal(t, alarm, s.last.State)
		if n%40 == 0 {
			s.tell(Event{Kind: Host})
		}
	}
	// Last sign of life at 8.0 s: at 13.0 s the panel rests.
	for s.last.State == alarm {
		s.next()
	}
	require.EqualValues(t, 13_000_000, s.last.At)
	require.Equal(t, rest, s.last.State)
	s.tell(Event{Kind: State, Index: alarm})
	for range 100 {
		s.next()
		require.Equal(t, alarm, s.last.State, "a silence leads away only once")
	}
}
