package safety

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/color"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/render/drive"
)

// linearXYZ is an sRGB color as XYZ; white has Y = 1.
func linearXYZ(r, g, b uint8) [3]float64 {
	c := color.Color{Alpha: 1, C: [3]float64{float64(r) / 255, float64(g) / 255, float64(b) / 255}}
	return c.In(color.XYZ).C
}

// The pairs of WCAG 2.2's working definitions, computed from its formulas:
// each pair alternates at 4 Hz, which is over the limit if it is a flash.
func TestPairs(t *testing.T) {
	type rgb [3]uint8
	red := rgb{255, 0, 0}
	for _, c := range []struct {
		name         string
		a, b         rgb
		red, general bool
	}{
		{"red - blue", red, rgb{0, 0, 255}, true, true},
		{"red - green", red, rgb{0, 255, 0}, true, true},
		{"red - white", red, rgb{255, 255, 255}, true, true},
		{"red - yellow", red, rgb{255, 255, 0}, true, true},
		{"red - magenta", red, rgb{255, 0, 255}, true, false},
		{"red - orange red", red, rgb{255, 96, 0}, false, false},
		{"black - grey 89", rgb{}, rgb{89, 89, 89}, false, false},
		{"black - grey 90", rgb{}, rgb{90, 90, 90}, false, true},
		{"grey 231 - white", rgb{231, 231, 231}, rgb{255, 255, 255}, false, true},
		{"grey 232 - white", rgb{232, 232, 232}, rgb{255, 255, 255}, false, false},
		{"black - dark red", rgb{}, rgb{128, 0, 0}, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, b := linearXYZ(c.a[0], c.a[1], c.a[2]), linearXYZ(c.b[0], c.b[1], c.b[2])
			res := scan("x", 40, 80, looked(func(f int) [3]float64 {
				if f/5%2 == 0 {
					return a
				}
				return b
			}))
			require.Equal(t, c.general, res.General > Limit, "general: %d", res.General)
			require.Equal(t, c.red, res.Red > Limit, "red: %d", res.Red)
		})
	}
}

// looked turns light into what scan wants.
func looked(at func(f int) [3]float64) func(f int) (float64, *colour) {
	return func(f int) (float64, *colour) {
		x := at(f)
		c := look(x)
		return x[1], &c
	}
}

// Chromaticity and ratio of single colors by WCAG 2.2's formulas; its matrix has a
// slightly different D65, hence 5e-5.
func TestLook(t *testing.T) {
	for _, c := range []struct {
		r, g, b     uint8
		ratio, u, v float64
	}{
		{255, 255, 255, 0.33333, 0.19784, 0.46834},
		{255, 0, 0, 1, 0.45070, 0.52289},
		{255, 64, 64, 0.90700, 0.39482, 0.51083},
		{255, 128, 128, 0.69846, 0.30125, 0.49065},
		{255, 96, 0, 0.89528, 0.36350, 0.53349},
		{255, 120, 0, 0.84188, 0.33022, 0.53754},
		{255, 0, 255, 0.5, 0.30504, 0.32975},
	} {
		got := look(linearXYZ(c.r, c.g, c.b))
		require.InDelta(t, c.ratio, got.ratio, 5e-5)
		require.InDelta(t, c.u, got.u, 5e-5)
		require.InDelta(t, c.v, got.v, 5e-5)
	}
}

// Sequences of one luminance, with WCAG's counting: 60 frames a second.
func TestSequences(t *testing.T) {
	square := func(hz, amplitude float64) func(s float64) float64 {
		return func(s float64) float64 {
			if math.Mod(s*hz+1e-9, 1) < 0.5 {
				return 0
			}
			return amplitude
		}
	}
	staircase := []float64{0, 0.06, 0.12, 0.06, 0}
	for _, c := range []struct {
		name    string
		seconds float64
		y       func(s float64) float64
		flashes int
	}{
		{"3 Hz square", 1.05, square(3, 1), 3},
		{"3 Hz square for long", 5, square(3, 1), 3},
		{"4 Hz square", 1.2, square(4, 1), 4},
		{"3.5 Hz square for 2 s", 2, square(3.5, 1), 3}, // 7 transitions in each aligned second
		{"ramp up and down", 4, func(s float64) float64 { return 1 - math.Abs(math.Mod(s, 1)*2-1) }, 1},
		{"step up only", 2, func(s float64) float64 { return math.Floor(math.Min(s, 1)) }, 0},
		{"10 Hz of amplitude 0.08", 3, square(10, 0.08), 0},
		{"staircase", 0.5, func(s float64) float64 { return staircase[int(s*10)%5] }, 1},
		{"30 Hz square", 2, square(30, 1), 30},
	} {
		t.Run(c.name, func(t *testing.T) {
			res := scan("x", 60, int(c.seconds*60), looked(func(f int) [3]float64 {
				y := c.y(float64(f) / 60)
				return [3]float64{0.95 * y, y, 1.09 * y}
			}))
			require.Equal(t, c.flashes, res.General)
			require.Zero(t, res.Red)
		})
	}
}

// A machine of two strips whose dies are sRGB's own, so that codes are linear
// sRGB and the white is at 255 255 255.
func machine(t *testing.T) (*Eye, *layout.Layout) {
	t.Helper()
	p := show.Part{Name: "p", Order: "RGB", LEDsPerPixel: 1, Pitch: 60}
	p.Light[0] = show.Die{Wavelength: 622, Intensity: 400}
	p.Light[1] = show.Die{Wavelength: 523, Intensity: 690}
	p.Light[2] = show.Die{Wavelength: 466, Intensity: 190}
	l := &layout.Layout{Strips: []layout.Strip{{Name: "a", Count: 8, Dies: 3}, {Name: "b", First: 8, Count: 8, Dies: 3}}}
	for i := range 16 {
		l.Pixels = append(l.Pixels, layout.Pixel{Strip: i / 8, Index: i % 8, Offset: 3 * i})
	}
	e, err := NewEye(&show.Machine{Parts: []show.Part{p}}, l)
	require.NoError(t, err)
	w, err := drive.White(&p)
	require.NoError(t, err)
	code := make([]uint8, 3)
	drive.Round(code, w, drive.FullGain)
	whiteCode = [3]uint8{code[0], code[1], code[2]}
	return e, l
}

var whiteCode [3]uint8

// lit is a frame whose pixels in [a, b) shine white.
func lit(a, b int) []uint8 {
	f := make([]uint8, 48)
	for i := a; i < b; i++ {
		copy(f[3*i:], whiteCode[:])
	}
	return f
}

func byRegion(r []Result) map[string]Result {
	m := map[string]Result{}
	for _, x := range r {
		m[x.Region] = x
	}
	return m
}

func TestWhiteIsOne(t *testing.T) {
	e, _ := machine(t)
	tr := e.Track(1, func(int) []uint8 { return lit(0, 16) })
	require.InDelta(t, 1, tr.xyz[0][1], 0.004)
	require.InDelta(t, 0.9505, tr.xyz[0][0], 0.006)
}

// Halves that flash in turn leave the panel's mean still; the strips and the
// quarter show them.
func TestHalvesInTurn(t *testing.T) {
	e, _ := machine(t)
	tr := e.Track(40, func(f int) []uint8 {
		if f/4%2 == 0 {
			return lit(0, 8)
		}
		return lit(8, 16)
	})
	got := byRegion(tr.Loop(40))
	require.Zero(t, got["panel"].General)
	require.Equal(t, 5, got[`strip "a"`].General)
	require.Equal(t, 5, got["a quarter of the panel"].General)
}

// A clip of one flash that ends bright and begins dark flashes at the seam too.
func TestSeamIsCounted(t *testing.T) {
	e, _ := machine(t)
	// A loop of 12 frames at 40 fps: dark 6, bright 6: 3.33 Hz, 6 to 7 changes a second.
	tr := e.Track(12, func(f int) []uint8 {
		if f < 6 {
			return lit(0, 0)
		}
		return lit(0, 16)
	})
	require.Equal(t, 3, byRegion(tr.Loop(40))["panel"].General)
	require.Equal(t, 0, byRegion(tr.Once(40))["panel"].General, "by itself it is one rise")
	short := e.Track(10, func(f int) []uint8 {
		if f < 5 {
			return lit(0, 0)
		}
		return lit(0, 16)
	})
	got := byRegion(short.Loop(40))["panel"]
	require.Equal(t, 4, got.General)
	kind := ""
	_, _, kind = got.Worst()
	require.Equal(t, "general", kind)
}

// Two clips that each keep the limit may break it where they meet.
func TestJoint(t *testing.T) {
	e, _ := machine(t)
	// Each: three flashes, then calm.
	burst := func(f int) []uint8 {
		if f < 30 && f/5%2 == 1 {
			return lit(0, 16)
		}
		return lit(0, 0)
	}
	a := e.Track(80, burst)
	require.Equal(t, 3, byRegion(a.Loop(40))["panel"].General)
	got := byRegion(Joint(a, a, 40, 0))["panel"]
	require.Greater(t, got.General, Limit)
	calm := e.Track(40, func(int) []uint8 { return lit(0, 0) })
	require.LessOrEqual(t, byRegion(Joint(calm, a, 40, 0))["panel"].General, 3)
	// A long crossfade softens the same meeting.
	require.LessOrEqual(t, byRegion(Joint(a, calm, 40, 40))["panel"].General, 3)
}
