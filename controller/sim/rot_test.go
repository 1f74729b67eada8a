package sim

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/render/table"
)

// One bit of the table is wrong: in the clip of the rest, and it is never shown,
// the built-in still stands in for it; in the header, and the panel stays dark.
func TestAFlippedBitIsCaught(t *testing.T) {
	ready(t)
	t.Parallel()
	p := umbrella()
	require.NotNil(t, p.Table, p.Found)
	good := p.Table.ForController()
	first := p.Table.Clips[p.Table.States[0].Clip]
	for _, c := range []struct {
		name   string
		at     int
		header bool
	}{{"clip", int(first.Offset) + int(first.Length)/2, false}, {"header", 60, true}} {
		t.Run(c.name, func(t *testing.T) {
			b := append([]byte(nil), good...)
			b[c.at] ^= 0x10
			elf := toy(t, watched, p.Table, b)
			harness, err := Harness(t.TempDir())
			require.NoError(t, err)
			s := &Script{}
			s.Baud(115200)
			s.Watch("B7", Common)
			s.Send(1500*time.Millisecond, "panel\n")
			s.Until(1600 * time.Millisecond)
			r, err := Run(harness, elf, s, time.Minute)
			require.NoError(t, err)
			if c.header {
				require.Contains(t, lines(r)[0], "panel 0 3 0 ", "trouble 3, nothing sent")
				require.Empty(t, r.Waves[0].Refreshes)
				return
			}
			seen, _ := latched(t, p.Table, r, r.Waves[0].Refreshes)
			require.Greater(t, seen, 20)
			for _, w := range r.Waves[0].Refreshes {
				require.Equal(t, bytes.Repeat(w.Codes[:3], p.Table.Pixels()), []byte(w.Codes), "a still of one color")
			}
		})
	}
}

// A bit of the flash turns while its clip plays. When the decoder finds it the
// strips hold the last frame; when the bit is right again before the checksum is
// worked out the clip begins anew; when it is not, the rest stands in. What goes
// over the wire is the twin's all the while.
func TestABitTurnsDuringPlay(t *testing.T) {
	ready(t)
	t.Parallel()
	p := umbrella()
	require.NotNil(t, p.Table, p.Found)
	const waiting = 2
	at, mask := rots(t, p.Table, waiting)
	elf := toy(t, watched, p.Table, p.Table.ForController())
	play := func(flips ...time.Duration) *Result {
		harness, err := Harness(t.TempDir())
		require.NoError(t, err)
		s := &Script{}
		s.Baud(115200)
		s.Watch("B7", Common)
		s.Send(2*time.Second, fmt.Sprintf("alive\nstate %d\n", waiting))
		for _, f := range flips {
			s.Flip(f, 0x10000+at, mask)
		}
		s.Until(6500 * time.Millisecond)
		r, err := Run(harness, elf, s, time.Minute)
		require.NoError(t, err)
		return r
	}
	clip := byte(p.Table.States[waiting].Clip)
	found := func(r *Result, what byte, after Cycles) Cycles {
		for i := 0; i+6 <= len(r.Marks); i += 6 {
			if m := r.Marks[i]; m.Value == what && r.Marks[i+1].Value == clip && m.At > after {
				return m.At
			}
		}
		return 0
	}
	r := play(2200 * time.Millisecond)
	fell := found(r, lost, 0)
	require.Positive(t, fell, "the decoder finds it")
	given := found(r, damaged, fell)
	require.Positive(t, given)
	held(t, r, fell, given)
	seen, _ := latched(t, p.Table, r, r.Waves[0].Refreshes)
	require.Greater(t, seen, 150)

	r = play(2200*time.Millisecond, fell.Of()+2*time.Millisecond)
	require.Equal(t, fell, found(r, lost, 0))
	again := found(r, verified, fell)
	require.Positive(t, again)
	require.Zero(t, found(r, damaged, 0))
	held(t, r, fell, again)
	seen, _ = latched(t, p.Table, r, r.Waves[0].Refreshes)
	require.Greater(t, seen, 150)
	t.Logf("lost at %v, given up or found right after %v and %v", fell.Of(), (given - fell).Of(), (again - fell).Of())
}

// held wants no refresh to begin between two times, but the one under way.
func held(t *testing.T, r *Result, from, to Cycles) {
	t.Helper()
	require.Greater(t, to-from, Cycles(Hz/40), "more than a frame")
	for _, w := range r.Waves[0].Refreshes {
		require.False(t, w.At > from && w.At < to, "a refresh at %v while the strips should hold", w.At.Of())
	}
}

// rots finds a bit of a state's clip that, turned, is found by the decoder before
// it has unpacked one wrong frame, after the fortieth.
func rots(t *testing.T, good *table.Table, state int) (at int, mask byte) {
	b := append([]byte(nil), good.ForController()...)
	tab, err := table.Read(b, table.Limits{})
	require.NoError(t, err)
	n := tab.States[state].Clip
	c := tab.Clips[n]
	got, want := make([]byte, tab.Channels()), make([]byte, tab.Channels())
	for at = int(c.Offset) + int(c.Length)/3; at < int(c.Offset+c.Length); at++ {
		for mask = 1; mask != 0; mask <<= 1 {
			b[at] ^= mask
			d, twin := tab.Clip(n).Start(), good.Clip(n).Start()
			for f := range c.Frames {
				require.NoError(t, twin.Next(want))
				if err := d.Next(got); err != nil {
					if f > 40 {
						return at, mask
					}
					break
				}
				if !bytes.Equal(got, want) {
					break
				}
			}
			b[at] ^= mask
		}
	}
	require.Fail(t, "no such bit")
	return 0, 0
}
