package safety

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/layout"
)

func plain(pixels int) *Eye {
	l := &layout.Layout{Strips: []layout.Strip{{Count: pixels, Dies: 3}}}
	for i := range pixels {
		l.Pixels = append(l.Pixels, layout.Pixel{Index: i, Offset: 3 * i})
	}
	return NewPlainEye(l, 1)
}

// White that comes and goes ten times a second is held after three flashes; what
// changes slowly passes.
func TestLimiter(t *testing.T) {
	now := time.Unix(1, 0)
	on, off := bytes.Repeat([]uint8{255}, 12), make([]uint8, 12)
	l := NewLimiter(plain(4))
	shows, changes := off, 0
	for range 10 { // a second
		for _, c := range [][]uint8{off, on} {
			if l.Allow(c, now) && &c[0] != &shows[0] {
				shows = c
				changes++
			}
			now = now.Add(50 * time.Millisecond)
		}
	}
	require.Equal(t, 7, changes, "three flashes, and one change more")
	l = NewLimiter(plain(4))
	for i := range 300 {
		require.True(t, l.Allow(bytes.Repeat([]uint8{uint8(i)}, 12), now), "a slow rise")
		now = now.Add(20 * time.Millisecond)
	}
}

// Whatever comes whenever: what was let through, counted as the check counts it on a
// fine grid, never has more than three flashes in a second.
func TestLimiterHolds(t *testing.T) {
	e := plain(4)
	rapid.Check(t, func(rt *rapid.T) {
		l := NewLimiter(e)
		begin := time.Unix(100, 0)
		now := begin
		const grid = 120
		var shown [][]uint8
		last := make([]uint8, 12)
		n := rapid.IntRange(1, 150).Draw(rt, "frames")
		for range n {
			c := make([]uint8, 12)
			level := rapid.SampledFrom([]uint8{0, 30, 120, 255}).Draw(rt, "level")
			for i := range c {
				c[i] = level
			}
			if rapid.Bool().Draw(rt, "red") {
				for i := range 4 {
					c[3*i+1], c[3*i+2] = 0, 0
				}
			}
			if l.Allow(c, now) {
				last = c
			}
			slots := rapid.IntRange(1, 20).Draw(rt, "slots")
			for range slots {
				shown = append(shown, last)
			}
			now = now.Add(time.Duration(slots) * time.Second / grid)
		}
		for _, r := range e.Track(len(shown), func(f int) []uint8 { return shown[f] }).Once(grid) {
			w, _, kind := r.Worst()
			require.LessOrEqual(rt, w, Limit, "%s flashes on %s", kind, r.Region)
		}
	})
}

func BenchmarkLimiter(b *testing.B) {
	e := plain(240)
	l := NewLimiter(e)
	now := time.Unix(1, 0)
	c := make([]uint8, 720)
	for i := range b.N {
		for k := range c {
			c[k] = uint8(i + k)
		}
		l.Allow(c, now)
		now = now.Add(time.Second / 60)
	}
}
