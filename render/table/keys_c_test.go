package table

import (
	"slices"
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
	refused, fields := 0, 0
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
		var r *row
		if s.evenDies() && rapid.Bool().Draw(t, "field") {
			r = drawRow(t, s)
			fields++
		}
		p := newKeysOf(s, meter, &c, rapid.IntRange(1, 9).Draw(t, "hop"), r).pack(Options{})
		require.NotNil(t, p)
		info := p.info(&c)
		k, err := newKeyReader(s, &info, p.payload)
		require.NoError(t, err)
		require.Equal(t, k.work(), p.work)
		if rapid.IntRange(0, 2).Draw(t, "damaged") == 0 {
			refused++
			for range rapid.IntRange(1, 3).Draw(t, "changes") {
				p.payload[rapid.IntRange(4, len(p.payload)-1).Draw(t, "at")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
			}
		}
		sameInC(t, cs[i], s, &info, p.payload, rapid.IntRange(0, n-1).Draw(t, "first"), 2*n+3, 0)
	})
	require.Positive(t, refused)
	require.Positive(t, fields)
}

// drawRow is some tints in a row: few or as many as there may be.
func drawRow(t *rapid.T, s *Show) *row {
	r := &row{near: map[tint]uint8{}, loose: rapid.Bool().Draw(t, "loose")}
	for range rapid.SampledFrom([]int{1, 2, 5, 30, 256}).Draw(t, "tints") {
		var c tint
		for k := range s.mostDies() {
			c[k] = rapid.Byte().Draw(t, "sample")
		}
		if !slices.Contains(r.tints, c) {
			r.tints = append(r.tints, c)
		}
	}
	return r
}

// FuzzControllerKeys is any bytes at all as key frames and as a field: both
// decoders say the same.
func FuzzControllerKeys(f *testing.F) {
	s := keysShow(40)
	c := wave(40, 12, true, 3)
	meter, err := s.Meter()
	require.NoError(f, err)
	some := &row{near: map[tint]uint8{}, tints: []tint{{0, 0, 0}, {90, 60, 30}, {200, 120, 60}}}
	for _, r := range []*row{nil, some} {
		f.Add(r != nil, newKeysOf(s, meter, &c, 3, r).pack(Options{}).payload)
	}
	f.Add(false, []byte("\x03\x0100\xb41\x01\x00\x00\x01(@\x01x\x00Z\x00\xff\xff\xff\x80\v\xf0")) // the number reaches the range
	h := startC(f, s, 4096)
	f.Fuzz(func(t *testing.T, field bool, payload []byte) {
		if len(payload) > 1<<16 {
			return
		}
		info := &ClipInfo{Name: "c", Frames: 12, Kind: Keys, Loop: true}
		if field {
			info.Kind = Field
		}
		if r, err := newKeyReader(s, info, payload); err == nil && r.work() > 4096 {
			return
		}
		sameInC(t, h, s, info, payload, 0, 14, 0)
	})
}
