package table

import (
	"bytes"
	"io"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"
)

// With what was packed before the bytes are the same, and only what the last
// Write asked for is kept.
func TestKept(t *testing.T) {
	s := cabinetFor(doorway())
	all := corpus(40)
	clip := func(name string) Clip {
		return Clip{Name: name, Frames: 40, Channels: 900, Bytes: all[name], Loop: true}
	}
	var kept Kept
	write := func(o Options, names ...string) []byte {
		var clips []Clip
		for _, n := range names {
			clips = append(clips, clip(n))
		}
		var plain, out bytes.Buffer
		_, err := Write(&plain, s, clips, o)
		require.NoError(t, err)
		o.Kept = &kept
		rep, err := Write(&out, s, clips, o)
		require.NoError(t, err)
		require.True(t, bytes.Equal(plain.Bytes(), out.Bytes()))
		// What the writer gives back plays what a reader unpacks.
		tab, err := Read(out.Bytes(), Limits{})
		require.NoError(t, err)
		a, b := make([]uint8, 900), make([]uint8, 900)
		for i := range names {
			was, is := rep.Table.Clip(i).Start(), tab.Clip(i).Start()
			require.NoError(t, was.Seek(7))
			require.NoError(t, is.Seek(7))
			for range 33 {
				require.NoError(t, was.Next(a))
				require.NoError(t, is.Next(b))
				require.Equal(t, b, a)
			}
			require.Equal(t, is.Next(b), was.Next(a), "both have ended")
		}
		return out.Bytes()
	}
	write(Options{}, "drops", "breath")
	require.Len(t, kept.now, 2)
	write(Options{}, "drops", "fill")
	require.Len(t, kept.now, 2)
	require.Len(t, kept.last, 2)
	write(Options{Cycles: 60_000}, "fill")
	require.Len(t, kept.now, 1, "another limit is another clip")
	write(Options{Cycles: 60_000}, "fill")
	require.Len(t, kept.now, 1)
}

// Progress comes to all frames.
func TestProgress(t *testing.T) {
	s := cabinetFor(doorway())
	all := corpus(12)
	var clips []Clip
	for _, name := range smooth {
		clips = append(clips, Clip{Name: name, Frames: 12, Channels: 900, Bytes: all[name], Loop: true})
	}
	var told atomic.Int64
	_, err := Write(io.Discard, s, clips, Options{Progress: func(n int) { told.Add(int64(n)) }})
	require.NoError(t, err)
	require.EqualValues(t, 12*len(clips), told.Load())
}
