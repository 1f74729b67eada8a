package table

import (
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Key frames come out of the controller's decoder as out of the Go one, from any
// frame on, with and without carried rounding errors, damaged ones too.
func TestControllerPlaysKeys(t *testing.T) {
	shows := []*Show{keysShow(40), cabinetFor(cabinet()), keysShow(40)}
	shows[2].FPS = 200
	var cs []*cDecoder
	for _, s := range shows {
		cs = append(cs, startC(t, s, 4096))
	}
	var one sync.Mutex
	refused := 0
	rapid.Check(t, func(t *rapid.T) {
		one.Lock()
		defer one.Unlock()
		i := rapid.IntRange(0, len(shows)-1).Draw(t, "show")
		s := shows[i]
		n := rapid.IntRange(1, 30).Draw(t, "frames")
		c := Clip{Name: "c", Frames: n, Channels: s.Channels(), Loop: rapid.Bool().Draw(t, "loop"), Smooth: &Smooth{}}
		c.Bytes = drawCodes(t, s, n)
		for k, v := range c.Bytes {
			c.Smooth.Fine = append(c.Smooth.Fine, uint16(v)*255+uint16(k*37%256))
		}
		meter, err := s.Meter()
		require.NoError(t, err)
		p := newKeys(s, meter, &c, rapid.IntRange(1, 9).Draw(t, "hop")).pack(Options{})
		require.NotNil(t, p)
		info := p.info(&c)
		if rapid.IntRange(0, 2).Draw(t, "damaged") == 0 {
			refused++
			for range rapid.IntRange(1, 3).Draw(t, "changes") {
				p.payload[rapid.IntRange(4, len(p.payload)-1).Draw(t, "at")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
			}
		}
		sameInC(t, cs[i], s, &info, p.payload, rapid.IntRange(0, n-1).Draw(t, "first"), 2*n+3, 0)
	})
	require.Positive(t, refused)
}
