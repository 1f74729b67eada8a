package table

import (
	"bytes"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/render/power"
)

// cabinet is a small invented panel: two strips of three dies, one of four.
func cabinet() *Show {
	return &Show{
		Title: "Umbrella cabinet", FPS: 40, Steady: 6_640_000, Surge: 8_300_000, Least: 640_000, Raise: 8300,
		Silence: 5000, Then: 0,
		Lines: []string{"a"},
		Parts: []Part{
			{Name: "bright12", Part: power.Part{Dies: 3, Idle: 1080, Channel: [4]int64{12960, 12960, 12960}}, Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000},
			{Name: "white12", Part: power.Part{Dies: 4, Law: show.Ceiling, Idle: 1000, Channel: [4]int64{12000, 12000, 12000, 15000}, Ceiling: 20000}, Order: "GRBW", Bit: 1250, Latch: 280_000, Gap: 5000},
		},
		Strips: []Strip{{Name: "left", Pixels: 5, Missing: []int{2}}, {Name: "top", Part: 1, Pixels: 3}, {Name: "right", Pixels: 6}},
		Loads:  []Load{{Name: "carousel", Run: 2_400_000, Start: 6_000_000}},
		States: []State{
			{Name: "rest", HandOver: show.Crossfade, Fade: 400, Then: None, Budget: 6_640_000},
			{Name: "turning", Clip: 1, Loads: 1, Still: true, AtMost: 12_000, Then: 0, Budget: 640_000},
		},
		Levels: []Level{{From: 79_200, Days: 0x7f, Lightness: 600}},
	}
}

// ramp makes frames that move by one code.
func ramp(t *Show, frames int) []byte {
	n := t.Channels()
	b := make([]byte, n*frames)
	for f := range frames {
		for i := range n {
			b[f*n+i] = uint8(f + 3*i)
		}
	}
	dark(t, b)
	return b
}

// dark puts out the missing pixels.
func dark(t *Show, b []byte) {
	n := t.Channels()
	for at := 0; at < len(b); at += n {
		off := at
		for _, st := range t.Strips {
			dies := t.Parts[st.Part].Dies
			for _, px := range st.Missing {
				clear(b[off+px*dies : off+(px+1)*dies])
			}
			off += st.Pixels * dies
		}
	}
}

func TestWriteReadsBack(t *testing.T) {
	s := cabinet()
	n := s.Channels()
	clips := []Clip{
		{Name: "rest", Frames: 50, Channels: n, Bytes: ramp(s, 50), Loop: true},
		{Name: "turning", Frames: 7, Channels: n, Bytes: bytes.Repeat(ramp(s, 1), 7)},
	}
	var out bytes.Buffer
	rep, err := Write(&out, s, clips, Options{})
	require.NoError(t, err)
	require.Equal(t, out.Len(), rep.Bytes)
	require.Equal(t, Still, rep.Clips[1].Kind)

	tab, err := Read(out.Bytes(), Limits{})
	require.NoError(t, err)
	require.Equal(t, *s, tab.Show)
	for i := range clips {
		d := tab.Clip(i).Start()
		got := make([]byte, n)
		for f := 0; f < clips[i].Frames; f++ {
			require.NoError(t, d.Next(got))
			require.Equal(t, clips[i].Bytes[f*n:(f+1)*n], got)
		}
		require.ErrorIs(t, d.Next(got), io.EOF)
	}
}

// Every supply is one more record, and every state has a budget from it.
func TestSuppliesReadBack(t *testing.T) {
	plain := cabinet()
	n := plain.Channels()
	clips := []Clip{{Name: "rest", Frames: 5, Channels: n, Bytes: ramp(plain, 5), Loop: true}, {Name: "turning", Frames: 2, Channels: n, Bytes: ramp(plain, 2)}}
	slew := cabinet()
	slew.Slew = 20_000
	both := cabinet()
	both.Slew = 20_000
	both.Further = []Supply{{"motors", 5_000_000, 6_000_000, -200_000, 6000, 0}}
	both.Strips[2].Supply, both.Loads[0].Supply = 1, 1
	for i := range both.States {
		both.States[i].Further = []int64{5_000_000 - int64(i)*5_200_000}
	}
	length := written(t, plain, clips).HeaderLength
	for i, s := range []*Show{plain, slew, both} {
		tab := written(t, s, clips)
		require.Equal(t, *s, tab.Show)
		if i < 2 {
			require.Equal(t, length, tab.HeaderLength)
			require.Equal(t, written(t, plain, clips).Panel, tab.Panel, "the panel does not know its supply's slew")
			continue
		}
		require.Equal(t, length+supplyRecord+2*budgetRecord, tab.HeaderLength)
		require.NotEqual(t, written(t, plain, clips).Panel, tab.Panel)
		require.Equal(t, 2, len(tab.Supplies()))
		require.EqualValues(t, 1080*10+1000*3, tab.Meter().Idle())
		require.EqualValues(t, 1080*6, tab.Meter().Of(1).Idle())
		require.EqualValues(t, -200_000, tab.States[1].Limit(1))
	}

	for name, change := range map[string]func(s *Show){
		"a strip on a third":    func(s *Show) { s.Strips[0].Supply = 2 },
		"a load on a third":     func(s *Show) { s.Loads[0].Supply = 2 },
		"a budget too few":      func(s *Show) { s.States[0].Further = nil },
		"five supplies":         func(s *Show) { s.Further = append(s.Further, s.Further[0], s.Further[0], s.Further[0]) },
		"a nameless one":        func(s *Show) { s.Further[0].Name = "" },
		"one that never rises":  func(s *Show) { s.Further[0].Raise = 0 },
		"a slew below nothing":  func(s *Show) { s.Slew = -1 },
		"a budget out of range": func(s *Show) { s.States[0].Further = []int64{MostCurrent + 1} },
	} {
		bad := *both
		bad.Strips, bad.Loads, bad.States = append([]Strip{}, both.Strips...), append([]Load{}, both.Loads...), append([]State{}, both.States...)
		bad.Further = append([]Supply{}, both.Further...)
		change(&bad)
		_, err := Write(io.Discard, &bad, clips, Options{})
		require.ErrorIs(t, err, ErrData, name)
	}
}

func TestWriterRefuses(t *testing.T) {
	n := cabinet().Channels()
	good := func() (*Show, []Clip) {
		s := cabinet()
		return s, []Clip{{Name: "rest", Frames: 4, Channels: n, Bytes: ramp(s, 4)}, {Name: "turning", Frames: 1, Channels: n, Bytes: ramp(s, 1)}}
	}
	for name, spoil := range map[string]func(*Show, []Clip) []Clip{
		"a byte too few":         func(s *Show, c []Clip) []Clip { c[0].Bytes = c[0].Bytes[1:]; return c },
		"other channels":         func(s *Show, c []Clip) []Clip { c[0].Channels--; return c },
		"a lit missing pixel":    func(s *Show, c []Clip) []Clip { c[0].Bytes[6] = 1; return c },
		"a wrong current":        func(s *Show, c []Clip) []Clip { c[1].Current = []int64{5}; return c },
		"currents too few":       func(s *Show, c []Clip) []Clip { c[0].Current = []int64{5}; return c },
		"a short value clip":     func(s *Show, c []Clip) []Clip { c[0].Value = true; return c },
		"a state without a clip": func(s *Show, c []Clip) []Clip { return c[:1] },
		"a nameless clip":        func(s *Show, c []Clip) []Clip { c[0].Name = ""; return c },
		"no frames":              func(s *Show, c []Clip) []Clip { c[0].Frames, c[0].Bytes = 0, nil; return c },
		"an unknown order":       func(s *Show, c []Clip) []Clip { s.Parts[0].Order = "GGB"; return c },
		"a stay without a goal":  func(s *Show, c []Clip) []Clip { s.States[1].Then = None; return c },
		"a load of no machine":   func(s *Show, c []Clip) []Clip { s.States[1].Loads = 2; return c },
		"a missing pixel twice":  func(s *Show, c []Clip) []Clip { s.Strips[0].Missing = []int{2, 2}; return c },
		"an unknown law":         func(s *Show, c []Clip) []Clip { s.Parts[0].Law = show.Ceiling + 1; return c },
	} {
		s, clips := good()
		clips = spoil(s, clips)
		var out bytes.Buffer
		_, err := Write(&out, s, clips, Options{})
		require.ErrorIs(t, err, ErrData, name)
		require.Zero(t, out.Len(), "%s: nothing is written", name)
	}
	// Frames as given are never changed, spare capacity included.
	s, clips := good()
	room := append(bytes.Clone(clips[1].Bytes), 1, 2, 3, 4)
	clips[1].Bytes = room[:n]
	_, err := Write(io.Discard, s, clips, Options{})
	require.NoError(t, err)
	require.Equal(t, []byte{1, 2, 3, 4}, room[n:])
}
