package table

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestDecodingAllocatesNothing(t *testing.T) {
	tab, err := Read(sample(t), Limits{})
	require.NoError(t, err)
	dst := make([]uint8, tab.Channels())
	for i := range tab.Clips {
		d := tab.Clip(i).Start()
		require.Zero(t, testing.AllocsPerRun(1, func() {
			if err := d.Seek(0); err != nil {
				t.Fatal(err)
			}
			for range tab.Clips[i].Frames {
				if err := d.Next(dst); err != nil {
					t.Fatal(err)
				}
			}
		}))
	}
}

// What a packer knows of its frames' costs comes back in units of the notes,
// and a record that says otherwise is refused.
func TestCyclesReadBack(t *testing.T) {
	s := cabinetFor(cabinet())
	n := s.Channels()
	c := Clip{Name: "c", Frames: 3, Channels: n, Bytes: ramp(s, 3)}
	meter, err := s.Meter()
	require.NoError(t, err)
	var currents []int64
	for f := range 3 {
		currents = append(currents, meter.Current(c.Bytes[f*n:(f+1)*n]))
	}
	build := func(worst uint32) []byte {
		p := packed{payload: c.Bytes, kind: Raw, work: 77, cycles: []uint32{1, 256, 70_001}}
		h := &Header{Show: *s, Version: Version, Panel: s.PanelSum(), Clips: []ClipInfo{p.info(&c)}}
		for _, ua := range currents {
			h.Clips[0].Peak = max(h.Clips[0].Peak, ua)
		}
		h.Clips[0].Cycles = worst
		h.HeaderLength = len(h.marshal())
		h.Clips[0].Offset = h.HeaderLength
		h.NotesOffset = h.HeaderLength + len(p.payload) + 4
		notes := h.notes([][]int64{currents}, [][]uint32{p.cycles})
		h.TableLength = h.NotesOffset + len(notes)
		return append(append(h.marshal(), sealed(p.payload)...), notes...)
	}
	tab, err := Read(build(70_001), Limits{})
	require.NoError(t, err)
	require.Equal(t, []int64{256, 256, 274 * 256}, tab.Cycles(0))
	require.Equal(t, 77, tab.Work())
	require.EqualValues(t, 70_001, tab.Clips[0].Cycles)
	_, err = Read(build(60_000), Limits{})
	require.ErrorIs(t, err, ErrData)
	require.ErrorContains(t, err, "takes at most 60000 cycles a frame by its record and 70144 by the notes")
}

// Without notes a table plays and counts the same; names are numbers.
func TestBareTable(t *testing.T) {
	whole, err := Read(sample(t), Limits{})
	require.NoError(t, err)
	require.False(t, whole.Bare)
	bare, err := Read(whole.ForController(), Limits{})
	require.NoError(t, err)
	require.True(t, bare.Bare)
	require.Empty(t, bare.Title)
	require.Equal(t, "1", bare.States[1].Name)
	require.Equal(t, "3", bare.Clips[3].Name)
	require.Equal(t, whole.Panel, bare.PanelSum())
	for i := range whole.Clips {
		require.Equal(t, whole.Currents(i), bare.Currents(i))
	}
	h, err := ReadHeader(whole.Bytes())
	require.NoError(t, err)
	require.Equal(t, bare.Header, h)
}
