package play

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/render/power"
	"paneglow/render/table"
)

// States of the cabinet below.
const (
	rest = iota
	turning
	thanks
	alarm
	lift
	fault
)

// cabinet is an invented panel of four pixels of 10 mA a die and 1 mA idle, at
// 10 frames a second, on a supply of 200 mA beside a carousel.
func cabinet(t testing.TB) *table.Table {
	s := &table.Show{
		Title: "cabinet", FPS: 10, Steady: 200_000, Surge: 250_000, Least: 50_000, Raise: 100,
		Silence: 5000, Then: rest,
		Lines: []string{"a"},
		Parts: []table.Part{{Name: "p", Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{10_000, 10_000, 10_000}},
			Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000}},
		Strips: []table.Strip{{Name: "left", Pixels: 4}},
		Loads:  []table.Load{{Name: "carousel", Run: 100_000, Start: 200_000}, {Name: "fan", Run: 10_000, Start: 20_000}},
		States: []table.State{
			rest:    {Name: "rest", Clip: 0, HandOver: show.Crossfade, Fade: 400, Then: table.None, Budget: 200_000},
			turning: {Name: "turning", Clip: 1, Loads: 1, Still: true, AtMost: 12_000, Then: fault, Budget: 50_000},
			thanks:  {Name: "thanks", Clip: 1, HandOver: show.Finish, Then: table.None, Budget: 200_000},
			alarm:   {Name: "alarm", Clip: 2, Then: table.None, Budget: 200_000},
			lift:    {Name: "lift", Clip: 3, Then: table.None, Budget: 200_000},
			fault:   {Name: "fault", Clip: 2, HandOver: show.Crossfade, Fade: 400, Then: table.None, Budget: 200_000},
		},
	}
	n := s.Channels()
	level := func(codes ...uint8) (b []byte) {
		for _, c := range codes {
			b = append(b, bytes.Repeat([]byte{c}, n)...)
		}
		return b
	}
	var values []uint8
	for v := range 256 {
		values = append(values, uint8(v))
	}
	clips := []table.Clip{
		{Name: "rest", Frames: 4, Channels: n, Bytes: level(10, 20, 30, 40), Loop: true},
		{Name: "turning", Frames: 3, Channels: n, Bytes: level(80, 90, 100), Loop: true},
		{Name: "alarm", Frames: 2, Channels: n, Bytes: level(200, 210)},
		{Name: "lift", Frames: 256, Channels: n, Bytes: level(values...), Value: true},
	}
	var out bytes.Buffer
	_, err := table.Write(&out, s, clips, table.Options{})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

type stage struct {
	*testing.T
	p     *Player
	codes []byte
	last  Latched
	quiet bool // the host is silent
}

func on(t *testing.T, o Options) *stage {
	tab := cabinet(t)
	p, err := NewPlayer(tab, o)
	require.NoError(t, err)
	return &stage{T: t, p: p, codes: make([]byte, tab.Channels()), last: Latched{At: o.Start}}
}

func (s *stage) tell(e Event) {
	s.Helper()
	require.NoError(s, s.p.Tell(s.last.At, e))
}

// next makes a refresh and gives the one code that all dies have.
func (s *stage) next() int {
	s.Helper()
	if !s.quiet {
		s.tell(Event{Kind: Host})
	}
	s.last = s.p.Next(s.codes)
	for _, c := range s.codes {
		require.Equal(s, s.codes[0], c)
	}
	return int(s.codes[0])
}

// shows expects these codes, refresh by refresh.
func (s *stage) shows(codes ...int) {
	s.Helper()
	for i, want := range codes {
		require.Equal(s, want, s.next(), "refresh %d of %v", i, codes)
	}
}

// calm brings the player into a state where the whole budget is in force.
func calm(t *testing.T, first int) *stage {
	s := on(t, Options{KnownLoads: true, First: first})
	for range 30 {
		s.next()
	}
	require.EqualValues(t, s.p.t.States[first].Budget, s.last.Budget)
	return s
}
