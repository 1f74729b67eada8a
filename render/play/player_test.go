package play

import (
	"bytes"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/power"
	"paneglow/render/table"
)

func TestValueClip(t *testing.T) {
	s := calm(t, lift)
	for _, v := range []int{0, 7, 7, 200, 3, 255, 254} {
		s.tell(Event{Kind: Value, Value: v})
		s.next()
		require.Equal(t, v, s.last.Frame)
		require.Equal(t, v*int(s.last.Gain)>>16, int(s.codes[0]))
	}
}

func TestTellRefuses(t *testing.T) {
	s := on(t, Options{})
	for _, e := range []Event{
		{Kind: State, Index: 6}, {Kind: State, Index: -1}, {Kind: Ask, Index: 2}, {Kind: Value, Value: 256}, {Kind: Level, Value: 1001},
		{Kind: Loads, Mask: 4}, {Kind: Clock, Index: 7}, {Kind: Clock, Value: 86_400},
		{Kind: Service, Value: 3}, {Kind: Dead, Index: 4}, {Kind: Verified, Index: 4}, {Kind: Lost, Index: -1}, {Kind: Damaged + 1},
	} {
		require.Error(t, s.p.Tell(0, e), "%+v", e)
	}
	_, err := NewPlayer(cabinet(t), Options{First: 6})
	require.Error(t, err)
	_, err = NewPlayer(cabinet(t), Options{Refreshes: -1})
	require.Error(t, err)
}

// Refreshes of a rate that does not divide a second keep time: no drift.
func TestRefreshesKeepTime(t *testing.T) {
	tab := cabinet(t)
	tab.FPS = 7
	p, err := NewPlayer(tab, Options{Refreshes: 3})
	require.NoError(t, err)
	codes := make([]byte, tab.Channels())
	var l Latched
	for range 21*10 + 1 {
		l = p.Next(codes)
	}
	require.EqualValues(t, 10_000_000, l.At)
}

func TestPlayingAllocatesNothing(t *testing.T) {
	s := calm(t, rest)
	require.Zero(t, testing.AllocsPerRun(100, func() { s.p.Next(s.codes) }))
}

func BenchmarkNext(b *testing.B) {
	s := &table.Show{Title: "t", FPS: 40, Steady: 2_000_000, Surge: 2_000_000, Least: 2_000_000, Raise: 100, Then: table.None,
		Lines: []string{"a"},
		Parts: []table.Part{{Name: "p", Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}},
			Order: "GRB", Bit: 1250, Latch: 280_000}},
		Strips: []table.Strip{{Name: "a", Pixels: 300}},
		States: []table.State{{Name: "a", Then: table.None, Budget: 2_000_000}},
	}
	const frames = 200
	codes := make([]byte, 0, frames*900)
	for f := range frames {
		for px := range 300 {
			v := 60 + 50*math.Sin(2*math.Pi*(float64(px)/300-float64(f)/frames))
			codes = append(codes, uint8(v), uint8(v*0.7), uint8(v*0.4))
		}
	}
	var out bytes.Buffer
	_, err := table.Write(&out, s, []table.Clip{{Name: "a", Frames: frames, Channels: 900, Bytes: codes, Loop: true}}, table.Options{})
	require.NoError(b, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(b, err)
	p, err := NewPlayer(tab, Options{})
	require.NoError(b, err)
	dst := make([]byte, 900)
	b.ReportAllocs()
	for b.Loop() {
		p.Next(dst)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/1000/float64(b.N), "play_refresh_us")
}
