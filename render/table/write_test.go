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
		Loads:  []Load{{"carousel", 2_400_000, 6_000_000}},
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
