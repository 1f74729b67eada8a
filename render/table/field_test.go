package table

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// A clip whose colours lie on one curve is kept as a field, which takes fewer bytes
// than key frames of every die, and differs no more than it may.
func TestField(t *testing.T) {
	for _, loop := range []bool{true, false} {
		s := keysShow(40)
		c := wave(40, 121, loop, 7)
		var b bytes.Buffer
		rep, err := Write(&b, s, []Clip{c}, Options{Pack: Best})
		require.NoError(t, err)
		got := rep.Clips[0]
		t.Logf("loop %v: %d bytes, mean %.3f, 95 %% %.3f: %s", loop, got.Bytes, got.Mean, got.High, got.Why)
		require.Equal(t, Field, got.Kind)
		require.LessOrEqual(t, got.Mean, SmoothError)
		meter, err := s.Meter()
		require.NoError(t, err)
		for _, hop := range hops[:6] {
			if x := newKeys(s, meter, &c, hop).pack(Options{Pack: Best}); x != nil {
				require.Less(t, got.Bytes, len(x.payload), "key frames, one every %d frames", hop)
			}
		}
		tab, err := Read(b.Bytes(), Limits{})
		require.NoError(t, err)
		d := tab.Clip(0).Start()
		codes := make([]uint8, 120)
		for f := range c.Frames {
			require.NoError(t, d.Next(codes))
			for i := range codes {
				require.InDelta(t, float64(c.Smooth.Fine[f*120+i])/256, float64(codes[i]), 4, "frame %d, channel %d", f, i)
			}
		}
	}
}

// The same formula, in real numbers and whole (docs/table-format.md, section 4.5).
func TestBetweenMapped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Byte().Draw(t, "a"), rapid.Byte().Draw(t, "b")
		w, top := rapid.IntRange(0, 255).Draw(t, "w"), rapid.IntRange(0, FineFull).Draw(t, "top")
		m := func(s uint8) int { return int(KeyCurve()[s]) * top / 65536 }
		var got [1]uint16
		betweenMapped(got[:], []uint8{a}, []uint8{b}, uint32(w), uint32(top))
		require.Equal(t, uint16((m(a)*(256-w)+m(b)*w)/256), got[0])
		real := (float64(KeyCurve()[a])*float64(256-w) + float64(KeyCurve()[b])*float64(w)) / 256 * float64(top) / 65536
		require.InDelta(t, real, float64(got[0]), 2)
	})
}

// drawnCurve is tints along a winding line: open, closed, or there and back beside
// itself.
func drawnCurve(seed uint64) (tints []weighed) {
	r := rand.New(rand.NewPCG(seed, 5))
	var phase, amp, turns [3]float64
	for k := range phase {
		phase[k], amp[k], turns[k] = r.Float64(), 40+80*r.Float64(), 0.5+r.Float64()/2
	}
	seen := map[tint]bool{}
	for i := range 4000 {
		var c tint
		for k := range 3 {
			c[k] = uint8(128 + amp[k]*math.Sin(2*math.Pi*(turns[k]*float64(i)/4000+phase[k])))
		}
		if !seen[c] {
			seen[c] = true
			tints = append(tints, weighed{c, 1 + r.IntN(9)})
		}
	}
	return tints
}

// Colours on a curve are found to lie on one: a row of 256 tints is near to all of
// them, and goes on from each to one near by.
func TestCurveThrough(t *testing.T) {
	for seed := range uint64(40) {
		tints := drawnCurve(seed)
		line := curveThrough(tints)
		require.NotNil(t, line, seed)
		r := line.rowOf(256, tints)
		sum := 0.0
		for i := range tints {
			sum += math.Sqrt(float64(tints[i].tint.apart(r.tints[r.nearest(tints[i].tint)])))
		}
		along := line.along()
		step := along[len(along)-1] / 256
		require.LessOrEqual(t, sum/float64(len(tints)), 1+step/2, "seed %d: of %d tints", seed, len(tints))
		far := 0
		for i := 1; i < len(r.tints); i++ {
			if math.Sqrt(float64(r.tints[i].apart(r.tints[i-1]))) > 4*step+4 {
				far++
			}
		}
		require.LessOrEqual(t, far, 6, "seed %d: jumps in a row of %d", seed, len(r.tints))
	}
}

// A cloud of colours and a single one are no curve; and a clip of colours on a
// surface is not kept as a field.
func TestNoCurve(t *testing.T) {
	require.Nil(t, curveThrough([]weighed{{tint{9, 9, 9}, 100}}))
	r := rand.New(rand.NewPCG(1, 2))
	samples := make([]uint8, 3*(mostTints+5000))
	for i := range samples {
		samples[i] = uint8(r.Uint32())
	}
	require.Nil(t, countTints(samples, 3), "too many")
	s := keysShow(40)
	c := waves(40, 121, true, 7, true)
	f := newFields(s, &c, SmoothError)
	require.Empty(t, f.rows)
	uneven := cabinetFor(cabinet())
	require.False(t, uneven.evenDies())
	require.Empty(t, newFields(uneven, &Clip{Frames: 1, Channels: uneven.Channels(), Smooth: &Smooth{Fine: make([]uint16, uneven.Channels()), Differ: farOff}}, 1).rows)
}

// A field on strips of different pixels, one without a map, and key frames with
// one, are refused.
func TestFieldRefused(t *testing.T) {
	s := keysShow(3)
	c := wave(3, 20, true, 1)
	meter, err := s.Meter()
	require.NoError(t, err)
	r := &row{near: map[tint]uint8{}, tints: []tint{{1, 2, 3}, {90, 80, 70}}}
	p := newKeysOf(s, meter, &c, 4, r).pack(Options{})
	info := p.info(&c)
	require.Equal(t, Field, info.Kind)
	_, err = newDecoder(s, &info, p.payload)
	require.NoError(t, err)
	asKeys := info
	asKeys.Kind = Keys
	_, err = newDecoder(s, &asKeys, p.payload)
	require.ErrorIs(t, err, ErrData)
	plain := newKeys(s, meter, &c, 4).pack(Options{})
	asField := plain.info(&c)
	asField.Kind = Field
	_, err = newDecoder(s, &asField, plain.payload)
	require.ErrorIs(t, err, ErrData)
	uneven := cabinetFor(cabinet())
	_, err = newDecoder(uneven, &info, p.payload)
	require.ErrorIs(t, err, ErrData)
}

// The page's worked numbers.
func TestWorkedField(t *testing.T) {
	s := keysShow(1)
	c := Clip{Name: "c", Frames: 3, Channels: 3, Smooth: &Smooth{}}
	curve := KeyCurve()
	require.Equal(t, [3]uint16{5666, 2593, 899}, [3]uint16{curve[90], curve[60], curve[30]})
	r := &row{near: map[tint]uint8{}, tints: []tint{{0, 0, 0}, {90, 60, 30}}}
	c.Smooth.Fine = make([]uint16, 9)
	meter, err := s.Meter()
	require.NoError(t, err)
	k := newKeysOf(s, meter, &c, 2, r)
	k.top = FineFull // the clip's own would be lower
	k.samples = []uint8{0, 0, 0, 90, 60, 30}
	p := k.pack(Options{})
	info := p.info(&c)
	d, err := newDecoder(s, &info, p.payload)
	require.NoError(t, err)
	fine := make([]uint16, 3)
	betweenMapped(fine, make([]uint8, 3), []uint8{90, 60, 30}, 128, FineFull)
	require.Equal(t, []uint16{2821, 1291, 447}, fine)
	var got []uint8
	codes := make([]uint8, 3)
	for range 3 {
		require.NoError(t, d.Next(codes))
		got = append(got, codes...)
	}
	require.Equal(t, []uint8{0, 0, 0, 11, 5, 2, 22, 10, 3}, got)
}
