package stream

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// frames draws frames as shows have them, and some as none has.
func frames(r *rand.Rand, channels, n int) [][]uint8 {
	out := make([][]uint8, n)
	codes := make([]uint8, channels)
	for k := range out {
		switch r.IntN(6) {
		case 0:
			for i := range codes {
				codes[i] = uint8(r.IntN(256))
			}
		case 1:
			for i := range codes {
				codes[i] += uint8(r.IntN(16)) - 8
			}
		case 2:
			for i := range codes {
				codes[i] = codes[i%min(3, channels)]
			}
		case 3:
			copy(codes[channels/2:], codes)
		default:
			for i := r.IntN(channels); i < channels && r.IntN(20) > 0; i++ {
				codes[i] = uint8(r.IntN(256))
			}
		}
		out[k] = bytes.Clone(codes)
	}
	return out
}

// Decoding undoes encoding, and no frame takes more than 7 bytes beside its channels.
func TestDecodeUndoesAppend(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		channels := rapid.SampledFrom([]int{1, 2, 3, 4, 61, 62, 63, 64, 127, 318, 319, 320, 720, 1000}).Draw(t, "channels")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		e := NewEncoder(channels)
		got := make([]uint8, channels)
		for i, codes := range frames(r, channels, 8) {
			mark := None
			if i == 0 || r.IntN(5) == 0 {
				mark = r.IntN(64)
			}
			b := e.Append(nil, codes, mark)
			require.LessOrEqual(t, len(b), channels+7)
			require.Equal(t, len(b)-2, int(b[0])|int(b[1])<<8)
			m, err := Decode(got, b[2:])
			require.NoError(t, err)
			require.Equal(t, mark, m)
			require.Equal(t, codes, got)
			b = e.Same(nil)
			_, err = Decode(got, b[2:])
			require.NoError(t, err)
			require.Equal(t, codes, got)
		}
	})
}

// A raw frame of 240 pixels expands by less than 1 %.
func TestRawFramesHardlyExpand(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	codes := make([]uint8, 720)
	for i := range codes {
		codes[i] = uint8(r.IntN(256))
	}
	n := len(NewEncoder(720).Append(nil, codes, 0))
	require.LessOrEqual(t, float64(n), 720*1.01)
	require.Greater(t, n, 720)
}

// The planner's choice beside every way of putting operations together, on frames
// short enough to try them all: it is never better than the best, and within a byte
// of it but for the lengths that it does not weigh.
func TestPlanIsCloseToTheBest(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	worse := 0
	for range 300 {
		before, codes := make([]uint8, 9), make([]uint8, 9)
		for i := range codes {
			before[i] = uint8(r.IntN(40))
			codes[i] = before[i]
			if r.IntN(2) == 0 {
				codes[i] = uint8(r.IntN(40))
			}
			if i >= 3 && r.IntN(3) == 0 {
				codes[i] = codes[i-3]
			}
		}
		var p planner
		got := len(p.appendFrame(nil, codes, before, None, 0)) - 1
		want := shortest(codes, before, 0, map[int]int{})
		require.GreaterOrEqual(t, got, want)
		worse += got - want
	}
	require.Less(t, worse, 60, "bytes over 300 frames")
}

// shortest is the fewest bytes for the channels from x on.
func shortest(codes, before []uint8, x int, known map[int]int) int {
	if bytes.Equal(codes[x:], before[x:]) {
		return 0
	}
	if n, ok := known[x]; ok {
		return n
	}
	best := 1 << 20
	for n := 1; x+n <= len(codes); n++ {
		rest := shortest(codes, before, x+n, known)
		best = min(best, 1+n+rest)
		if bytes.Equal(codes[x:x+n], before[x:x+n]) {
			best = min(best, 1+rest)
		}
		small := true
		for i := x; i < x+n; i++ {
			small = small && codes[i]-before[i]+8 < 16
		}
		if small {
			best = min(best, 1+(n+1)/2+rest)
		}
		for back := 1; back <= x; back++ {
			same := true
			for i := x; i < x+n; i++ {
				same = same && codes[i] == codes[i-back]
			}
			if same {
				best = min(best, 2+rest)
			}
		}
	}
	known[x] = best
	return best
}

// FuzzDecode: whatever the bytes, an error or a frame, never a panic.
func FuzzDecode(f *testing.F) {
	e := NewEncoder(12)
	for _, codes := range frames(rand.New(rand.NewPCG(2, 1)), 12, 6) {
		f.Add(e.Append(nil, codes, 0)[2:])
		f.Add(e.Append(nil, codes, None)[2:])
	}
	f.Add([]byte{})
	f.Add([]byte{1, 0x7f, 0xff, 0xff})
	f.Add([]byte{1, 0x80, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		dst := bytes.Repeat([]byte{7}, 12)
		if mark, err := Decode(dst, b); err != nil {
			require.ErrorIs(t, err, ErrFrame)
		} else {
			require.GreaterOrEqual(t, mark, None)
			require.LessOrEqual(t, len(b), 17)
		}
	})
}

// Bytes that make no frame.
func TestDecodeRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		b    []byte
		want string
	}{
		{"nothing", nil, "1 to 17 bytes"},
		{"too long", make([]byte, 18), "1 to 17 bytes"},
		{"marked, and builds on the one before", []byte{2, 0}, "flags 02"},
		{"unknown flags", []byte{4}, "flags 04"},
		{"no state", []byte{3}, "the state is missing"},
		{"one channel too many", []byte{0, 12}, "13 channels, 12 are left"},
		{"no channel", []byte{0, 0x7f, 0, 0}, "0 channels"},
		{"a length that is cut off", []byte{0, 0x3f, 1}, "a length is cut off"},
		{"codes that are cut off", []byte{0, 0x41, 9}, "it takes 2 bytes, 1 are left"},
		{"changes that are cut off", []byte{0, 0xc2, 9}, "it takes 2 bytes, 1 are left"},
		{"from before the beginning", []byte{0, 0x40, 9, 0x80, 2}, "2 channels back from channel 1"},
		{"from where it stands", []byte{0, 0x40, 9, 0x80, 0}, "0 channels back"},
	} {
		_, err := Decode(make([]uint8, 12), c.b)
		require.ErrorIs(t, err, ErrFrame, c.name)
		require.ErrorContains(t, err, c.want, c.name)
	}
}

func BenchmarkAppend(b *testing.B) {
	e := NewEncoder(720)
	list := frames(rand.New(rand.NewPCG(1, 1)), 720, 64)
	e.Append(nil, list[0], 0)
	var buf []byte
	for i := 0; b.Loop(); i++ {
		buf = e.Append(buf[:0], list[i%64], None)
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N), "stream_encode_us")
}
