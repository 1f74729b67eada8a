package table

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// travelling is a clip whose every strip moves round by some pixels every few
// frames, otherwise as drawn.
func travelling(t *rapid.T, s *Show) (c Clip, period int) {
	n := s.Channels()
	period = rapid.IntRange(1, 6).Draw(t, "period")
	c = Clip{Name: "c", Channels: n, Frames: period*rapid.IntRange(2, 5).Draw(t, "laps") + rapid.IntRange(0, 5).Draw(t, "more"), Loop: true}
	first := drawCodes(t, s, period)
	if rapid.Bool().Draw(t, "few colours") {
		for i := range first {
			first[i] &= 0x40
		}
	}
	var by []int
	for i := range s.Strips {
		by = append(by, rapid.IntRange(0, max(s.Strips[i].Pixels-1, 0)).Draw(t, "by"))
	}
	for f := range c.Frames {
		c.Bytes = append(c.Bytes, slowTurned(s, first[f%period*n:][:n], by, f/period)...)
	}
	return c, period
}

// slowTurned moves every strip by some pixels, once a lap.
func slowTurned(s *Show, frame []uint8, by []int, laps int) []uint8 {
	out := bytes.Clone(frame)
	at := 0
	for i := range s.Strips {
		dies := s.Parts[s.Strips[i].Part].Dies
		size := s.Strips[i].Pixels * dies
		for range laps * by[i] {
			if size == 0 {
				break
			}
			last := bytes.Clone(out[at+size-dies : at+size])
			copy(out[at+dies:at+size], out[at:at+size-dies])
			copy(out[at:at+dies], last)
		}
		at += size
	}
	return out
}

// A clip that comes again at another place is found to, comes back as it was from
// any frame on, and out of the controller's decoder too, damaged or not.
func TestTravelling(t *testing.T) {
	shows := []*Show{keysShow(30), cabinetFor(cabinet())}
	var cs []*cDecoder
	for _, s := range shows {
		for i := range s.Strips {
			s.Strips[i].Missing = nil
		}
		cs = append(cs, startC(t, s, 8192))
	}
	t.Run("keys", func(t *testing.T) { travellingKeys(t, shows[0], cs[0]) })
	turned, refused := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		i := rapid.IntRange(0, len(shows)-1).Draw(t, "show")
		s := shows[i]
		c, period := travelling(t, s)
		x := packCoded(s, &c, codedLimits{work: 8192, best: rapid.Bool().Draw(t, "best")})
		require.NotNil(t, x)
		info := &ClipInfo{Name: "c", Frames: c.Frames, Kind: Coded, Loop: true}
		require.NoError(t, prove(s, info, x.payload, &c))
		if x.k.turns != nil {
			turned++
			require.LessOrEqual(t, x.k.period, period)
			d, err := newDecoder(s, info, x.payload)
			require.NoError(t, err)
			codes := make([]uint8, c.Channels)
			for range 4 {
				f := rapid.IntRange(0, c.Frames-1).Draw(t, "seek")
				require.NoError(t, d.Seek(f))
				for ; f < min(c.Frames, 30); f++ {
					require.NoError(t, d.Next(codes))
					require.Equal(t, c.Bytes[f*c.Channels:(f+1)*c.Channels], codes, "frame %d", f)
				}
			}
		}
		payload := x.payload
		if rapid.Bool().Draw(t, "damaged") {
			payload[rapid.IntRange(0, min(len(payload)-1, 40)).Draw(t, "at")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
			if k, _, err := parseCoded(s, info, payload); err == nil && k.work() > 8192 {
				return
			}
			if _, err := newDecoder(s, info, payload); err != nil {
				refused++
			}
		}
		sameInC(t, cs[i], s, info, payload, rapid.IntRange(0, c.Frames-1).Draw(t, "first"), 2*c.Frames+3, rapid.SampledFrom([]Kind{0, jumping}).Draw(t, "jumps"))
	})
	require.Positive(t, turned)
	require.Positive(t, refused)
}

// travellingKeys is the same of key frames and of fields.
func travellingKeys(t *testing.T, s *Show, h *cDecoder) {
	meter, err := s.Meter()
	require.NoError(t, err)
	turned := 0
	rapid.Check(t, func(t *rapid.T) {
		c, _ := travelling(t, s)
		c.Smooth = &Smooth{}
		for _, v := range c.Bytes {
			c.Smooth.Fine = append(c.Smooth.Fine, uint16(v)<<8)
		}
		var r *row
		if rapid.Bool().Draw(t, "field") {
			r = drawRow(t, s)
		}
		p := newKeysOf(s, meter, &c, rapid.IntRange(1, 4).Draw(t, "hop"), r).pack(Options{Work: 8192})
		require.NotNil(t, p)
		info := p.info(&c)
		k, err := newKeyReader(s, &info, p.payload)
		require.NoError(t, err)
		if k.coded.m.k.turns != nil {
			turned++
		}
		if k.work() > 8192 {
			return
		}
		sameInC(t, h, s, &info, p.payload, rapid.IntRange(0, c.Frames-1).Draw(t, "first"), 2*c.Frames+3, 0)
	})
	require.Positive(t, turned)
}
