package table

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drawShow draws strips of three and four dies, with missing pixels.
func drawShow(t *rapid.T) *Show {
	s := cabinet()
	s.States, s.Silence, s.Then, s.Strips = nil, 0, None, nil
	for i := range rapid.IntRange(0, 4).Draw(t, "strips") {
		st := Strip{Name: string(rune('a' + i)), Part: rapid.IntRange(0, 1).Draw(t, "part"), Pixels: rapid.IntRange(0, 40).Draw(t, "pixels")}
		for px := range st.Pixels {
			if px%13 == 5 {
				st.Missing = append(st.Missing, px)
			}
		}
		s.Strips = append(s.Strips, st)
	}
	return s
}

// drawCodes draws frames that move, jump, repeat and sparkle.
func drawCodes(t *rapid.T, s *Show, frames int) []byte {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
	n := s.Channels()
	b := make([]byte, 0, n*frames)
	last := make([]byte, n)
	for range frames {
		next := bytes.Clone(last)
		switch r.IntN(7) {
		case 0: // the same
		case 1:
			for i := range next {
				next[i] = uint8(r.IntN(256))
			}
		case 2, 3:
			d := r.IntN(5) - 2
			for i := range next {
				next[i] += uint8(d + r.IntN(2))
			}
		case 4:
			copy(next[min(3, n):], last)
		case 5:
			copy(next, last[min(4, n):])
		case 6:
			if n > 0 {
				next[r.IntN(n)] ^= 1 << r.IntN(8)
			}
		}
		dark(s, next)
		b = append(b, next...)
		last = next
	}
	return b
}

// Every table drawn comes back, in every kind, for any number of workers with
// the same bytes, and hardly larger than its codes.
func TestTablesComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawShow(t)
		n := s.Channels()
		var clips []Clip
		raw := 0
		for i := range rapid.IntRange(0, 4).Draw(t, "clips") {
			c := Clip{Name: string(rune('c' + i)), Channels: n, Loop: rapid.Bool().Draw(t, "loop")}
			c.Frames = rapid.IntRange(1, 20).Draw(t, "frames")
			if rapid.IntRange(0, 9).Draw(t, "value") == 0 {
				c.Value, c.Frames = true, 256
			}
			c.Bytes = drawCodes(t, s, c.Frames)
			raw += len(c.Bytes)
			clips = append(clips, c)
		}
		pack := Pack(rapid.IntRange(0, 1).Draw(t, "pack"))
		var one, many bytes.Buffer
		_, err := Write(&one, s, clips, Options{Pack: pack, Workers: 1})
		require.NoError(t, err)
		_, err = Write(&many, s, clips, Options{Pack: pack, Workers: 7})
		require.NoError(t, err)
		require.True(t, bytes.Equal(one.Bytes(), many.Bytes()))
		tab, err := Read(one.Bytes(), Limits{})
		require.NoError(t, err)
		got := make([]byte, n)
		for i, c := range clips {
			d := tab.Clip(i).Start()
			for f := range c.Frames {
				require.NoError(t, d.Next(got))
				require.True(t, bytes.Equal(c.Bytes[f*n:(f+1)*n], got))
				require.Equal(t, (tab.Meter().Current(got)+999)/1000, tab.Currents(i)[f])
			}
			require.LessOrEqual(t, tab.Clips[i].Length, len(c.Bytes))
		}
	})
}
