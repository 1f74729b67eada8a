package power

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/drive"
)

// panel lays one strip of n pixels of a part out, without places.
func panel(part show.Part, n int) (*show.Machine, *layout.Layout) {
	l := &layout.Layout{Strips: []layout.Strip{{Name: "a", Count: n, Dies: part.Dies(), Order: part.Order}}, Pixels: make([]layout.Pixel, n)}
	for i := range l.Pixels {
		l.Pixels[i] = layout.Pixel{Index: i, Offset: i * part.Dies()}
	}
	return &show.Machine{Parts: []show.Part{part}}, l
}

func meter(t require.TestingT, part show.Part, n int) *Meter {
	m, l := panel(part, n)
	got, err := NewMeter(m, l)
	require.NoError(t, err)
	return got
}

func rgb(law show.Law, ua int64) show.Part {
	c := unit.Current(ua)
	return show.Part{Name: "p", Order: "RGB", LEDsPerPixel: 1, Law: law, Channel: [4]unit.Current{c, c, c}}
}

func fill(n int, px ...uint8) []uint8 {
	var b []uint8
	for range n {
		b = append(b, px...)
	}
	return b
}

// A worked example by hand: 150 x 3 x 0.018 A and 3 A / 8.1 A, by hand.
func TestFullWhite(t *testing.T) {
	m := meter(t, rgb(show.Sum, 18_000), 150)
	white := fill(150, 255, 255, 255)
	require.EqualValues(t, 8_100_000, m.Current(white))

	drives := make([]float32, len(white))
	for i := range drives {
		drives[i] = 1
	}
	scratch := make([]uint8, len(white))
	k, ok := m.Gain(drives, 3_000_000, scratch, drive.FullGain)
	require.True(t, ok)
	require.Equal(t, fill(150, 94, 94, 94), scratch, "a cap of 37.0 % is code 94")
	require.InDelta(t, 94.5/255, float64(k)/drive.FullGain, 1e-4, "the last gain that rounds to 94")
	require.EqualValues(t, 2_985_883, m.Current(scratch)) // ceil(8.1 A x 94/255)

	// The player's own scaling rounds down and ends at the same code.
	g, ok := m.ScaleBound(m.Numerator(white), 3_000_000)
	require.True(t, ok)
	Scale(scratch, white, g)
	require.Equal(t, fill(150, 94, 94, 94), scratch)

	// Meant as 150 LEDs, that is 50 pixels: no cap.
	m = meter(t, rgb(show.Sum, 18_000), 50)
	require.EqualValues(t, 2_700_000, m.Current(fill(50, 255, 255, 255)))
}

// A worked example by hand, direct sums: (60 x 335 + 90 x 90) x 18 mA / 255 =
// 1.99058.. A; (60 x 255 + 90 x 30) x 13.5 mA / 255 = 0.952941.. A.
func TestTwoLaws(t *testing.T) {
	frame := append(fill(60, 255, 80, 0), fill(90, 30, 30, 30)...)
	require.EqualValues(t, 1_990_589, meter(t, rgb(show.Sum, 18_000), 150).Current(frame))
	require.EqualValues(t, 952_942, meter(t, rgb(show.Largest, 13_500), 150).Current(frame))
}

func ceiling10() show.Part {
	p := rgb(show.Ceiling, 12_000) // 36 mA in sum
	p.Ceiling = 10_000
	return p
}

// The law ceiling is not in proportion: 200 pixels of 36 mA in sum and at most
// 10 mA draw 2.0 A at white, and still 2.0 A at a gain of 0.8.
func TestCeilingDoesNotScale(t *testing.T) {
	m := meter(t, ceiling10(), 200)
	white := fill(200, 255, 255, 255)
	require.EqualValues(t, 2_000_000, m.Current(white))
	scaled := make([]uint8, len(white))
	Scale(scaled, white, drive.FullGain*8/10)
	require.EqualValues(t, 2_000_000, m.Current(scaled))
	require.EqualValues(t, 7_200_000, m.Bound(white))

	// So the gain for 1.6 A is not 0.8 but 8/36, found on the recount.
	drives := make([]float32, len(white))
	for i := range drives {
		drives[i] = 1
	}
	k, ok := m.Gain(drives, 1_600_000, scaled, drive.FullGain)
	require.True(t, ok)
	require.InDelta(t, 8.0/36, float64(k)/drive.FullGain, 0.002)
	require.LessOrEqual(t, m.Current(scaled), int64(1_600_000))

	// And the player's bound is the plain sum.
	g, _ := m.ScaleBound(m.Numerator(white), 1_600_000)
	Scale(scaled, white, g)
	require.LessOrEqual(t, m.Bound(scaled), int64(1_600_000))
}

// Half-way between two frames of 1.0 A lie 2.0 A: the law ceiling is not
// convex, so a crossfade is counted, never averaged.
func TestCeilingHalfWayIsMore(t *testing.T) {
	m := meter(t, ceiling10(), 200)
	a := append(fill(100, 255, 255, 255), fill(100, 0, 0, 0)...)
	b := append(fill(100, 0, 0, 0), fill(100, 255, 255, 255)...)
	half := fill(200, 128, 128, 128)
	require.EqualValues(t, 1_000_000, m.Current(a))
	require.EqualValues(t, 1_000_000, m.Current(b))
	require.EqualValues(t, 2_000_000, m.Current(half))
}

// A spread is for data sheets: readings of an ammeter have none.
func TestSpreadCountsAtItsUpperEnd(t *testing.T) {
	p := rgb(show.Sum, 12_000)
	p.Idle, p.Spread = 1000, 80_000
	white := fill(100, 255, 255, 255)
	require.EqualValues(t, 100*(3*12_960+1080), meter(t, p, 100).Current(white))
	p.Fitted = true
	require.EqualValues(t, 100*(3*12_000+1000), meter(t, p, 100).Current(white))
	p.Fitted, p.Spread = false, 1 // one millionth of 12 mA is rounded up
	require.EqualValues(t, 100*(3*12_001+1001), meter(t, p, 100).Current(white))
}

// The ceiling is per LED, the channels per pixel.
func TestCeilingCountsLEDs(t *testing.T) {
	p := rgb(show.Ceiling, 12_000)
	p.Ceiling, p.LEDsPerPixel = 10_000, 3
	require.EqualValues(t, 30_000, meter(t, p, 1).Current([]uint8{255, 255, 255}))
}

func TestMissingDrawsNothingHiddenDrawsIdle(t *testing.T) {
	p := rgb(show.Sum, 10_000)
	p.Idle = 1000
	m, l := panel(p, 10)
	l.Pixels[0].Missing, l.Pixels[4].Missing, l.Pixels[9].Hidden = true, true, true
	got, err := NewMeter(m, l)
	require.NoError(t, err)
	require.EqualValues(t, 8000, got.Idle())
	require.EqualValues(t, 8000+8*30_000, got.Current(fill(10, 255, 255, 255)))
}

func TestRefusals(t *testing.T) {
	for name, change := range map[string]func(*show.Part){
		"ceiling without one": func(p *show.Part) { p.Law = show.Ceiling },
		"negative":            func(p *show.Part) { p.Channel[1] = -1 },
		"two dies":            func(p *show.Part) { p.Order = "RG" },
		"a kiloampere":        func(p *show.Part) { p.Channel[0] = 1e9 },
		"spread":              func(p *show.Part) { p.Spread = 2_000_000 },
	} {
		p := rgb(show.Sum, 1000)
		change(&p)
		m, l := panel(p, 2)
		_, err := NewMeter(m, l)
		require.ErrorContains(t, err, `part "p"`, name)
	}
	_, err := Build([]Part{{Dies: 3}}, []Run{{Offset: 3, Pixels: 3}}, 9)
	require.Error(t, err, "a run past the frame's end")
}
