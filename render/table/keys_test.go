package table

import (
	"bytes"
	"io"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Source: CIE 15:2018, Y as a function of L*, in floating point.
func TestKeyCurve(t *testing.T) {
	c := KeyCurve()
	for s, got := range c {
		l := 100 * float64(s) / 255
		y := l * 27 / 24389
		if l > 8 {
			y = math.Pow((l+16)/116, 3)
		}
		require.Equal(t, uint16(math.Floor(y*65535+0.5)), got, s)
	}
	require.Equal(t, uint16(0), c[0])
	require.Equal(t, uint16(65535), c[255])
}

// farOff is a stand-in for a colour difference: how far light is apart on the scale of
// lightness, in per cent.
func farOff(dst []float64, a, b []float32) []float64 {
	scale := func(y float32) float64 { return 116*math.Cbrt(float64(y)) - 16 }
	for i := range a {
		dst = append(dst, math.Abs(scale(a[i]+0.01)-scale(b[i]+0.01)))
	}
	return dst
}

// wave is a clip of slow waves, as duties and as codes: all its colours lie on one
// closed curve.
func wave(pixels, n int, loop bool, seed uint64) Clip { return waves(pixels, n, loop, seed, false) }

// waves apart go different ways in blue: their colours lie on a surface.
func waves(pixels, n int, loop bool, seed uint64, apart bool) Clip {
	r := rand.New(rand.NewPCG(seed, 1))
	phase, amp := make([]float64, 3), make([]float64, 3)
	for i := range phase {
		phase[i], amp[i] = r.Float64(), 40+60*r.Float64()
	}
	c := Clip{Name: "wave", Frames: n, Channels: pixels * 3, Loop: loop, Smooth: &Smooth{Differ: farOff}}
	for f := range n {
		for i := range pixels * 3 {
			place := float64(i/3) / float64(pixels)
			if apart && i%3 == 2 {
				place *= -2
			}
			x := amp[i%3] * (1 - math.Cos(2*math.Pi*(float64(f)/float64(n)+place+phase[i%3]))) / 2
			c.Smooth.Fine = append(c.Smooth.Fine, uint16(x*256))
			c.Bytes = append(c.Bytes, uint8(x+0.5))
		}
	}
	return c
}

func keysShow(pixels int) *Show {
	s := cabinetFor(cabinet())
	s.Parts, s.Strips = s.Parts[:1], []Strip{{Name: "a", Pixels: pixels}}
	return s
}

func TestKeys(t *testing.T) {
	for _, loop := range []bool{true, false} {
		s := keysShow(40)
		c := waves(40, 121, loop, 7, true)
		exact := c
		exact.Smooth = nil
		var a, b bytes.Buffer
		plain, err := Write(&a, s, []Clip{exact}, Options{Pack: Best})
		require.NoError(t, err)
		rep, err := Write(&b, s, []Clip{c}, Options{Pack: Best})
		require.NoError(t, err)
		got := rep.Clips[0]
		t.Logf("loop %v: %d bytes exact, %d smooth, mean %.3f, 95 %% %.3f: %s", loop, plain.Clips[0].Bytes, got.Bytes, got.Mean, got.High, got.Why)
		require.Equal(t, Keys, got.Kind)
		require.Less(t, got.Bytes, plain.Clips[0].Bytes)
		require.LessOrEqual(t, got.Mean, SmoothError)
		require.Positive(t, got.Mean)
		require.GreaterOrEqual(t, got.High, got.Mean)

		tab, err := Read(b.Bytes(), Limits{})
		require.NoError(t, err)
		d := tab.Clip(0).Start()
		codes := make([]uint8, 120)
		for f := range c.Frames {
			require.NoError(t, d.Next(codes))
			for i := range codes {
				require.InDelta(t, float64(c.Smooth.Fine[f*120+i])/256, float64(codes[i]), 2, "frame %d, channel %d", f, i)
			}
		}
	}
}

// Light goes in straight lines from key to key, whatever order frames are asked
// for in; with the rounding error carried, a die's codes add up to its duties.
func TestKeysBetweenAndSeek(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, hop := rapid.IntRange(1, 40).Draw(t, "frames"), rapid.IntRange(1, 16).Draw(t, "hop")
		loop := rapid.Bool().Draw(t, "loop")
		s := keysShow(3)
		s.FPS = rapid.SampledFrom([]int{40, 179, 180, 300}).Draw(t, "fps")
		c := wave(3, n, loop, rapid.Uint64().Draw(t, "seed"))
		meter, err := s.Meter()
		require.NoError(t, err)
		var r *row
		if rapid.Bool().Draw(t, "field") {
			r = drawRow(t, s)
		}
		k := newKeysOf(s, meter, &c, hop, r)
		p := k.pack(Options{})
		require.NotNil(t, p)
		info := p.info(&c)
		d, err := newDecoder(s, &info, p.payload)
		require.NoError(t, err)
		// The obvious twin.
		want := make([][]uint8, 0, n)
		rest := make([]int, 9)
		k.each(func(f int, fine []uint16) {
			codes := make([]uint8, 9)
			for i, v := range fine {
				if s.FPS < 180 || f%hop == 0 || !loop && f == n-1 {
					rest[i] = 128
				}
				x := int(v) + rest[i]
				codes[i], rest[i] = uint8(x/256), x%256
			}
			want = append(want, codes)
		})
		require.Len(t, want, n)
		codes := make([]uint8, 9)
		look := func(f int) {
			require.NoError(t, d.Next(codes))
			require.Equal(t, want[f], codes, "frame %d", f)
		}
		for f := range n {
			look(f)
		}
		for range 6 {
			f := rapid.IntRange(0, n-1).Draw(t, "seek")
			require.NoError(t, d.Seek(f))
			for ; f < n; f++ {
				look(f)
			}
		}
	})
}

// A key between two frames under the budget may be over it by rounding: then the
// whole clip is lowered, never a refresh over the limit.
func TestKeysStayWithin(t *testing.T) {
	s := keysShow(40)
	meter, err := s.Meter()
	require.NoError(t, err)
	c := wave(40, 60, true, 3)
	peak := int64(0)
	for f := range c.Frames {
		peak = max(peak, meter.Current(c.Bytes[f*120:(f+1)*120]))
	}
	c.Smooth.Limits = []int64{peak * 95 / 100}
	k := newKeys(s, meter, &c, 4)
	require.True(t, k.lowered)
	codes := make([]uint8, 120)
	most := int64(0)
	k.each(func(_ int, fine []uint16) {
		for i, v := range fine {
			codes[i] = uint8((int(v) + 128) >> 8)
		}
		most = max(most, meter.Current(codes))
	})
	require.LessOrEqual(t, most, peak*95/100)
	require.Greater(t, most, peak*90/100)
	p := k.pack(Options{})
	info := p.info(&c)
	d, err := newDecoder(s, &info, p.payload)
	require.NoError(t, err)
	for range c.Frames {
		require.NoError(t, d.Next(codes))
		require.LessOrEqual(t, meter.Current(codes), peak*95/100)
	}
}

func TestKeysRefused(t *testing.T) {
	s := keysShow(3)
	c := wave(3, 20, true, 1)
	meter, err := s.Meter()
	require.NoError(t, err)
	p := newKeys(s, meter, &c, 4).pack(Options{})
	info := p.info(&c)
	for _, bad := range []func(b []byte) []byte{
		func(b []byte) []byte { return b[:3] },
		func(b []byte) []byte { b[0] = 0; return b },
		func(b []byte) []byte { b[1] ^= 1; return b },
		func(b []byte) []byte { b[1] |= 4; return b },
		func(b []byte) []byte { return b[:5] },
	} {
		_, err := newDecoder(s, &info, bad(bytes.Clone(p.payload)))
		require.ErrorIs(t, err, ErrData)
	}
	value := c
	value.Value = true
	_, _, _, err = packSmooth(s, meter, &value, Options{})
	require.ErrorContains(t, err, "every frame equal")
	short := c
	short.Smooth = &Smooth{Fine: c.Smooth.Fine[:5], Differ: farOff}
	_, _, _, err = packSmooth(s, meter, &short, Options{})
	require.ErrorIs(t, err, ErrData)
}

// Key frames that take more cycles than a frame has are not written: every frame
// equal is, and says so.
func TestKeysWithoutTime(t *testing.T) {
	s := keysShow(40)
	c := waves(40, 121, true, 7, true)
	c.Smooth.Error = 5
	for _, cycles := range []int{0, 60_000, 9000} {
		limit := cycles
		if limit == 0 {
			limit = DefaultCycles
		}
		rep, err := Write(io.Discard, s, []Clip{c}, Options{Cycles: cycles})
		require.NoError(t, err)
		got := rep.Clips[0]
		t.Logf("%d cycles: %v, up to %d: %s", cycles, got.Kind, got.Cycles, got.Why)
		if cycles == 9000 {
			require.NotEqual(t, Keys, got.Kind)
			require.Contains(t, got.Why, "more memory or cycles")
			continue
		}
		require.Equal(t, Keys, got.Kind)
		require.LessOrEqual(t, int(got.Cycles), limit)
	}
}
