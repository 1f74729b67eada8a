package table

import (
	"bytes"
	"io"
	"testing"

	"github.com/stretchr/testify/require"
)

// The smooth clips of the corpus pack to less than an eighth, each alone to
// less than a quarter; noise never grows by more than the table's own bytes.
func TestPackRatio(t *testing.T) {
	s := doorway()
	const frames = 160
	all := corpus(frames)
	for _, pack := range []Pack{Quick, Best} {
		raw, packed := 0, 0
		for name, codes := range all {
			rep, err := Write(io.Discard, cabinetFor(s), []Clip{{Name: name, Frames: frames, Channels: 900, Bytes: codes, Loop: true}}, Options{Pack: pack, Workers: 1})
			require.NoError(t, err)
			c := rep.Clips[0]
			t.Logf("%d %-8s %v %7d -> %6d  %5.1f:1  %s", pack, name, c.Kind, c.Raw, c.Bytes, float64(c.Raw)/float64(c.Bytes), c.Why)
			require.LessOrEqual(t, c.Bytes, c.Raw+4)
			for _, n := range smooth {
				if n == name {
					raw += c.Raw
					packed += c.Bytes
				}
			}
		}
		ratio := float64(raw) / float64(packed)
		t.Logf("pack %d: smooth clips %.2f:1", pack, ratio)
		require.Greater(t, ratio, 8.0)
	}
}

// cabinetFor takes the states away: the clips alone count.
func cabinetFor(s *Show) *Show {
	c := *s
	c.States, c.Silence, c.Then = nil, 0, None
	return &c
}

// write time: everything that Write does to a frame of 900 channels, on one
// worker: currents, packing, unpacking again, comparing.
func BenchmarkWrite(b *testing.B) {
	s := cabinetFor(doorway())
	const frames = 160
	all := corpus(frames)
	for _, pack := range []Pack{Quick, Best} {
		b.Run([]string{"quick", "best"}[pack], func(b *testing.B) {
			var clips []Clip
			for _, name := range smooth {
				clips = append(clips, Clip{Name: name, Frames: frames, Channels: 900, Bytes: all[name]})
			}
			b.ReportAllocs()
			for b.Loop() {
				_, err := Write(io.Discard, s, clips, Options{Pack: pack, Workers: 1})
				require.NoError(b, err)
			}
			key := []string{"table_write_us", "table_write_best_us"}[pack]
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(frames*len(clips)), key)
		})
	}
}

func BenchmarkDecode(b *testing.B) {
	s := cabinetFor(doorway())
	const frames = 160
	all := corpus(frames)
	var clips []Clip
	for _, name := range smooth {
		clips = append(clips, Clip{Name: name, Frames: frames, Channels: 900, Bytes: all[name]})
	}
	var out bytes.Buffer
	_, err := Write(&out, s, clips, Options{})
	require.NoError(b, err)
	tab, err := Read(out.Bytes(), Limits{})
	require.NoError(b, err)
	dst := make([]uint8, 900)
	for b.Loop() {
		for i := range clips {
			d := tab.Clip(i).Start()
			for range frames {
				if err := d.Next(dst); err != nil {
					b.Fatal(err)
				}
			}
		}
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(frames*len(clips)), "table_decode_us")
}
