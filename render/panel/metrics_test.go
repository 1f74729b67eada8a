package panel

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/finding"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
)

// row is a long strip of LEDs behind a glass.
func row(t *testing.T, n int, pitch, depth, sigma, q float64) (*show.Machine, *Glass) {
	t.Helper()
	m, l := machine(n, pitch, depth, scatterOf(sigma), q)
	l.Strips[0].LEDPitch, l.Strips[0].PixelPitch = pitch, pitch
	g, err := New(m, l)
	require.NoError(t, err)
	return m, g
}

// Handbook sums of an endless row of Lambertian sources over a plane, along the
// row: Emin/Emax and Emin/Eavg by pitch over depth (computed from the cos^4 law,
// sources and plane alone).
func TestUniformity(t *testing.T) {
	for _, c := range []struct{ ratio, least, mean float64 }{{1, .94704, .97289}, {1.5, .72892, .84685}, {2, .48139, .66766}, {3, .19049, .37180}} {
		_, g := row(t, 241, 20*c.ratio, 20, 20, 1)
		r := g.stripRipple(0, 1, [2]float64{})
		require.InDelta(t, (1-c.least)/(1+c.least), r.Michelson, 1e-3, "p/d %v", c.ratio)
		require.InDelta(t, c.mean, r.Uniform, 2e-3, "p/d %v", c.ratio)
		require.InDelta(t, r.Michelson, g.RowRipple(0, 20*c.ratio, 20), 1e-4)
	}
}

// Depth over pitch for a ripple of 10 % and 2 % (derived for the model by
// separate quadrature), and a rule for a person: c sqrt(1/s^2 + m + 3).
func TestLeastDepth(t *testing.T) {
	for _, c := range []struct{ sigma, q, accepted, smooth float64 }{{5, 0, 4.54, 5.69}, {10, 0, 2.37, 3.05}, {20, 0, 1.38, 1.85}, {40, 0, .87, 1.22}, {20, 1, .755, 1.057}} {
		_, g := row(t, 3, 10, 10, c.sigma, c.q)
		a := g.Advise(0)
		require.InEpsilon(t, c.accepted, a.AcceptableDepth/10, 0.01, "sigma %v", c.sigma)
		require.InEpsilon(t, c.smooth, a.SmoothDepth/10, 0.01, "sigma %v", c.sigma)
		require.InEpsilon(t, 100, a.AcceptableDepth*a.AcceptablePitch, 1e-9, "depth for this pitch and pitch for this depth are one ratio")
		require.InEpsilon(t, .755, a.OpalAcceptable/10, 0.01)
		if s := sine(c.sigma); c.q == 0 {
			require.InEpsilon(t, .39*math.Sqrt(1/(s*s)+4), a.AcceptableDepth/10, 0.13, "sigma %v", c.sigma)
			require.InEpsilon(t, .483*math.Sqrt(1/(s*s)+4), a.SmoothDepth/10, 0.13, "sigma %v", c.sigma)
		}
	}
}

// At the advised scatter the ripple is the limit, and a little less scatter is not enough.
func TestLeastScatter(t *testing.T) {
	m, g := row(t, 3, 16.667, 30, 12, 0)
	a := g.Advise(0)
	require.Greater(t, a.Ripple, Acceptable)
	for _, c := range []struct {
		scatter unit.Angle
		limit   float64
	}{{a.AcceptableScatter, Acceptable}, {a.SmoothScatter, Smooth}} {
		for step, want := range map[unit.Angle]bool{0.3: true, -0.5: false} {
			m.Panel.Glass.Scatter = c.scatter + step
			h, err := New(m, g.layout)
			require.NoError(t, err)
			require.Equal(t, want, h.RowRipple(0, 16.667, 30) <= c.limit, "scatter %v %+v", c.scatter, step)
		}
	}
	// Squares of widths add: 30 and 40 degrees make 50.
	require.InDelta(t, 40, float64(SecondSheet(30, 50)), 1e-9)
	require.Zero(t, SecondSheet(50, 30))
	_, g = row(t, 3, 100, 10, 12, 0)
	require.Zero(t, g.Advise(0).AcceptableScatter, "no scatter hides LEDs ten depths apart")
}

// An ideal diffuser's spot is 1.29 depths wide (2 sqrt(sqrt 2 - 1), handbook
// identity): 17 mm gives 22 mm, 50 mm gives 64 mm.
func TestSpotWidth(t *testing.T) {
	for depth, want := range map[float64]float64{17: 21.88, 50: 64.36} {
		_, g := row(t, 3, 10, depth, 20, 1)
		require.InDelta(t, want, g.strips[0].width(), 0.05)
	}
}

// 500 lx on a reflectance of 0.1 is 15.9 cd/m2; 100 cd/m2 of light over it is a
// contrast of 7.3, at 5000 lx 1.63, at 50 lx 64 (L = rho E/pi).
func TestContrast(t *testing.T) {
	m, l := machine(3, 10, 20, 40, 0)
	m.Panel.Glass.Reflectance = 0.1
	g, err := New(m, l)
	require.NoError(t, err)
	for lux, want := range map[float64]float64{500: 7.28, 5000: 1.628, 50: 63.8} {
		require.InEpsilon(t, want, g.contrast(lux, 100).Ratio, 0.002)
	}
	require.Zero(t, g.contrast(0, 100).Ratio)
}

// The DICOM grayscale standard display function (PS3.14) rests on the same model
// with a grating of 4 cycles per degree in 2 degrees; a step of it is the least
// difference from bottom to top, twice the modulation. Coefficients from memory,
// held by the end points that the standard states: 0.05 and 3993.4 cd/m2. Its
// constants make a duller eye, by a quarter, and the same one over a hundredfold
// range of light: that is what is held here.
func TestSensitivity(t *testing.T) {
	step := func(j float64) float64 {
		x := math.Log(j)
		n := -1.3011877 + x*(8.0242636e-2+x*(1.3646699e-1+x*(-2.5468404e-2+x*1.3635334e-3)))
		d := 1 + x*(-2.5840191e-2+x*(-1.0320229e-1+x*(2.8745620e-2+x*(-3.1978977e-3+x*1.2992634e-4))))
		return math.Pow(10, n/d)
	}
	require.InDelta(t, 0.05, step(1), 1e-4)
	require.InEpsilon(t, 3993.404, step(1023), 1e-3)
	for _, j := range []float64{100, 200, 300, 400, 500, 600} {
		l := step(j)
		want := (step(j+0.5) - step(j-0.5)) / l
		t.Logf("%.1f cd/m2: step %.4f, here %.4f", l, want, 2/sensitivity(4, l, 2))
		require.InDelta(t, 0.74, 2/sensitivity(4, l, 2)/want, 0.06, "%.1f cd/m2", l)
	}
	// Less light, less seen; very fine and very coarse gratings are seen less.
	require.Greater(t, sensitivity(4, 100, 10), sensitivity(4, 1, 10))
	require.Greater(t, sensitivity(4, 100, 10), sensitivity(40, 100, 10))
	require.Greater(t, sensitivity(4, 100, 10), sensitivity(0.2, 100, 10))
}

// A small bright disc straight ahead: UGR = 8 lg(0.25/Lb L^2 omega).
func TestUnifiedGlare(t *testing.T) {
	f := fieldOf(41, 41, 5)
	f.XYZ[20*41+20][1] = 1000
	omega := 25.0 / (500 * 500)
	require.InDelta(t, 8*math.Log10(0.25/6*1000*1000*omega), unifiedGlare(f, 500, 6), 1e-6)
	require.Zero(t, unifiedGlare(f, 500, 0))
	require.Zero(t, unifiedGlare(fieldOf(3, 3, 5), 500, 6))
}

func TestFindings(t *testing.T) {
	codes := func(list finding.List) (c []string) {
		for _, f := range list {
			require.NotEmpty(t, f.Fix)
			require.NotEmpty(t, f.Where)
			c = append(c, f.Code+" "+f.Severity.String())
		}
		return c
	}
	look := func(depth, sigma, q float64, room show.Room, bright uint8) finding.List {
		m, g := row(t, 61, 16.667, depth, sigma, q)
		m.Panel.Room = room
		frame := make([]uint8, 3*61)
		for i := range frame {
			frame[i] = bright
		}
		return g.Findings(m, g.Metrics(room, frame))
	}
	room := show.Room{Day: 500, Viewer: 1500}

	list := look(12, 20, 0, room, 40)
	require.Equal(t, []string{"glass.ripple warning"}, codes(list))
	require.Contains(t, list[0].Fix, "23 mm instead of 12 mm (31 mm to be smooth)")
	require.Contains(t, list[0].Fix, "opal glass from 13 mm on")
	require.Contains(t, list[0].Message, "strip s")

	list = look(18, 20, 0, room, 40)
	require.Contains(t, list[0].Fix, "a second diffuser of")
	require.Contains(t, list[0].Fix, "opal glass at this depth")

	list = look(26, 20, 0, room, 40)
	require.Equal(t, []string{"glass.ripple note"}, codes(list))
	require.Contains(t, list[0].Fix, "31 mm instead of 26 mm")

	require.Empty(t, look(33, 20, 0, room, 40))

	list = look(60, 20, 0, show.Room{Viewer: 1500}, 40)
	require.Equal(t, []string{"glass.mud note"}, codes(list))
	require.Contains(t, list[0].Fix, "instead of 60 mm (LEDs show through below 23 mm)")

	list = look(33, 20, 0, show.Room{Day: 50000}, 4)
	require.Equal(t, []string{"glass.contrast warning"}, codes(list))

	list = look(33, 20, 0, show.Room{Night: 1}, 255)
	require.Equal(t, []string{"glass.glare note"}, codes(list))
}

// Both fixes in numbers do what they say.
func TestFixesHold(t *testing.T) {
	m, g := row(t, 61, 16.667, 33, 20, 0)
	frame := make([]uint8, 3*61)
	for i := range frame {
		frame[i] = 200
	}
	dim := func(share float64) []uint8 {
		c := make([]uint8, len(frame))
		for i := range c {
			c[i] = uint8(math.Round(float64(frame[i]) * share))
		}
		return c
	}
	x := g.Metrics(show.Room{Night: 1}, frame)
	require.Greater(t, x.Glare, Glaring)
	share := math.Pow(10, (Glaring-x.Glare)/16)
	require.InDelta(t, Glaring, g.Metrics(show.Room{Night: 1}, dim(share)).Glare, 0.5)

	room := show.Room{Day: 200_000}
	x = g.Metrics(room, frame)
	require.Less(t, x.Day.Ratio, Legible)
	times := (Legible - 1) * x.Day.Room / x.Mean
	room.Day = unit.Illuminance(float64(room.Day) / times)
	require.InDelta(t, Legible, g.Metrics(room, frame).Day.Ratio, 1e-3)
	require.NotNil(t, m)
}

// The demo's glass: smooth, colours apart, alternate pixels visible, readable by day.
func TestDemoMetrics(t *testing.T) {
	g, codes := demo(t)
	x := g.Metrics(show.Room{Day: 8000, Night: 20, Viewer: 1500}, codes)
	require.Len(t, x.Strips, 3)
	for _, s := range x.Strips {
		require.Less(t, s.LEDs.Michelson, Smooth)
		require.Greater(t, s.Alternate.Michelson, Acceptable)
		require.True(t, s.Alternate.Seen)
		require.Less(t, s.Mixing, Muddy)
	}
	require.Greater(t, x.Day.Ratio, Legible)
	require.GreaterOrEqual(t, x.Peak, x.Mean*0.99)
}

// lattice is LEDs in rows and columns on an ideal diffuser.
func lattice(t *testing.T, columns, rows int, dx, dy, depth float64) *Glass {
	t.Helper()
	m, _ := machine(1, 10, depth, 40, 1)
	l := &layout.Layout{Width: float64(columns-1) * dx, Height: float64(rows-1) * dy, Strips: []layout.Strip{{Name: "s", Count: columns * rows, Dies: 3}}}
	for j := range rows {
		for i := range columns {
			n := len(l.Pixels)
			l.Pixels = append(l.Pixels, layout.Pixel{Index: n, Offset: 3 * n})
			l.LEDs = append(l.LEDs, layout.LED{X: float64(i) * dx, Y: float64(j) * dy, Pixel: int32(n)})
		}
	}
	g, err := New(m, l)
	require.NoError(t, err)
	return g
}

// Square lattices of Lambertian sources, Emin/Emax and Emin/Eavg by pitch over
// depth (computed from the cos^4 law for an endless lattice), read from a field
// of the grids: above a source, in the middle of a cell, and over the cell. What
// lies beyond the lattice's edge, 1/(1 + (R/d)^2) of the light, is missing.
func TestLattices(t *testing.T) {
	for _, c := range []struct{ ratio, least, mean float64 }{{1, .95162, .97737}, {1.5, .71652, .86682}, {2, .43943, .70999}, {3, .14701, .44784}} {
		const pitch = 30.0
		g := lattice(t, 41, 41, pitch, pitch, pitch/c.ratio)
		f := fieldOf(401, 401, 3)
		codes := make([]uint8, 3*41*41)
		for i := range codes {
			codes[i] = 255
		}
		g.Shine(f, codes)
		lo, hi, sum := math.Inf(1), 0.0, 0.0
		for j := range 10 {
			for i := range 10 {
				v := float64(f.XYZ[(200+j)*f.W+200+i][1])
				lo, hi, sum = math.Min(lo, v), math.Max(hi, v), sum+v
			}
		}
		require.InDelta(t, c.least, lo/hi, 0.004, "p/d %v", c.ratio)
		require.InDelta(t, c.mean, lo/(sum/100), 0.004, "p/d %v", c.ratio)
	}
}

// Long rows 100 mm apart at 80 mm: light across them ripples by 3.95 % (rows as
// lines of light, power 3/2 of the handbook).
func TestRowsApart(t *testing.T) {
	g := lattice(t, 301, 17, 10, 100, 80)
	all := make([]int, len(g.layout.LEDs))
	for i := range all {
		all[i] = i
	}
	lo, hi := math.Inf(1), 0.0
	for i := range 41 {
		v := g.glow(all, 1500, 800+50*float64(i)/40)
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	require.InEpsilon(t, 0.0395, (hi-lo)/(hi+lo), 0.02)
}

// Three LEDs a pixel: all lit they are as even as LEDs of that pitch; every
// second pixel lit is a pattern three times as coarse.
func TestLEDsAndPixels(t *testing.T) {
	m, l := machine(90, 16.667, 25, scatterOf(20), 0)
	l.Pixels = l.Pixels[:30]
	for i := range l.LEDs {
		l.LEDs[i].Pixel = int32(i / 3)
	}
	l.Strips[0].Count, l.Strips[0].LEDPitch, l.Strips[0].PixelPitch = 30, 16.667, 50
	g, err := New(m, l)
	require.NoError(t, err)
	s := g.Metrics(show.Room{Viewer: 1000}, nil).Strips[0]
	require.InDelta(t, g.RowRipple(0, 16.667, 25), s.LEDs.Michelson, 0.003)
	require.InDelta(t, 0.067, s.LEDs.Michelson, 0.004, "d/p 1.5 behind 20 degrees")
	require.True(t, s.LEDs.Seen, "5 % at 16.7 mm is seen from 1 m")
	require.InDelta(t, 100, s.Alternate.Period, 1e-9)
	require.Greater(t, s.Alternate.Michelson, 0.9)
	require.Less(t, s.Mixing, 1.0)
}
