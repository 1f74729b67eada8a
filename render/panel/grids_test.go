package panel

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/layout"
)

// scatterOf is the full width in degrees of a standard angle in degrees.
func scatterOf(sigma float64) float64 { return sigma / sigmaPerFWHM }

// pane is n LEDs at random places behind a pane of 300 x 200 mm.
func pane(tb require.TestingT, n int, depth, sigma, lambertian float64, seed uint64) *Glass {
	m, _ := machine(1, 10, depth, scatterOf(sigma), lambertian)
	r := rand.New(rand.NewPCG(seed, 1))
	l := &layout.Layout{Width: 300, Height: 200, Strips: []layout.Strip{{Name: "s", Count: n, Dies: 3}}}
	for i := range n {
		l.Pixels = append(l.Pixels, layout.Pixel{Index: i, Offset: 3 * i})
		l.LEDs = append(l.LEDs, layout.LED{X: 300 * r.Float64(), Y: 200 * r.Float64(), Pixel: int32(i)})
	}
	g, err := New(m, l)
	require.NoError(tb, err)
	return g
}

func fieldOf(w, h int, step float64) *Field {
	return NewField(w, h, step)
}

// Whatever the glass, depth, places and codes: the field is the direct sum's
// within the stated share of its maximum, and nowhere negative.
func TestFieldError(t *testing.T) {
	t.Parallel()
	worstOf := 0.0
	rapid.Check(t, func(t *rapid.T) {
		sigma := rapid.Float64Range(5, 60).Draw(t, "sigma")
		depth := rapid.Float64Range(15, 120).Draw(t, "depth")
		q := rapid.SampledFrom([]float64{0, 0.15, 0.5, 1}).Draw(t, "lambertian")
		n := rapid.IntRange(1, 60).Draw(t, "LEDs")
		g := pane(t, n, depth, sigma, q, rapid.Uint64().Draw(t, "seed"))
		codes := rapid.SliceOfN(rapid.Byte(), 3*n, 3*n).Draw(t, "codes")
		codes[0] |= 1
		f, twin := fieldOf(61, 41, 5), fieldOf(61, 41, 5)
		g.Shine(f, codes)
		g.Direct(twin, codes)
		for i, v := range f.XYZ {
			require.GreaterOrEqual(t, min(v[0], v[1], v[2]), float32(0), "point %d", i)
		}
		e := worst(f, twin)
		worstOf = math.Max(worstOf, e)
		require.LessOrEqual(t, e, fieldError)
	})
	t.Logf("greatest error %.3f %%", 100*worstOf)
}

// The field of two frames' sum is the sum of their fields, within float32.
func TestFieldIsLinear(t *testing.T) {
	g := pane(t, 40, 30, 20, 0.1, 7)
	rapid.Check(t, func(t *rapid.T) {
		half := rapid.SliceOfN(rapid.ByteRange(0, 127), 120, 120)
		a, b := half.Draw(t, "a"), half.Draw(t, "b")
		sum := make([]uint8, 120)
		for i := range sum {
			sum[i] = a[i] + b[i]
		}
		var f [3]*Field
		most := 1e-9
		for i, codes := range [][]uint8{a, b, sum} {
			f[i] = fieldOf(31, 21, 10)
			g.Shine(f[i], codes)
			for _, v := range f[i].XYZ {
				most = math.Max(most, float64(v[1]))
			}
		}
		for i := range f[2].XYZ {
			for k := range 3 {
				got, want := float64(f[2].XYZ[i][k]), float64(f[0].XYZ[i][k])+float64(f[1].XYZ[i][k])
				// Values held above zero are the only thing that is not linear.
				require.InDelta(t, want, got, most*fieldError/10, "point %d", i)
			}
		}
	})
}

// An LED of 3 cd in the middle of a pane 40 depths wide: the integral of its
// luminance is 3 cd times the light that falls inside (handbook identity: the
// lobe and the ideal diffuser both send pi times it on, by energy conservation).
func TestFieldKeepsEnergy(t *testing.T) {
	for _, c := range []struct{ sigma, q float64 }{{10, 0}, {20, 0}, {40, 0}, {20, 1}} {
		m, _ := machine(1, 10, 20, scatterOf(c.sigma), c.q)
		l := &layout.Layout{Width: 800, Height: 800, Strips: []layout.Strip{{Name: "s", Count: 1, Dies: 3}}, Pixels: []layout.Pixel{{}}, LEDs: []layout.LED{{X: 401.3, Y: 398.2}}}
		g, err := New(m, l)
		require.NoError(t, err)
		f := fieldOf(401, 401, 2)
		g.Shine(f, []uint8{255, 255, 255})
		sum := 0.0
		for _, v := range f.XYZ {
			sum += float64(v[1]) * 2e-3 * 2e-3
		}
		// Beyond 20 depths lies 1/401 of an ideal diffuser's light, less of a lobe's.
		require.InDelta(t, 3, sum, 0.012, "sigma %v, q %v", c.sigma, c.q)
	}
}

// A B-spline through samples goes through them, and between them follows a
// Gaussian as closely as its order promises (Unser 1999; figures computed by a
// separate program that solves the interpolation as a linear system).
func TestSplines(t *testing.T) {
	for _, c := range []struct {
		poles []float64
		step  float64
		want  float64
	}{{cubicPoles, 0.5, 6.6e-4}, {cubicPoles, 0.75, 4.7e-3}, {quinticPoles, 0.5, 3.6e-5}, {quinticPoles, 0.75, 9.5e-4}} {
		const n = 41
		worst := 0.0
		for off := 0.0; off < 1; off += 0.25 {
			gauss := func(x float64) float64 { u := (x - 20 - off) * c.step; return math.Exp(-u * u / 2) }
			v := make([]float64, n)
			for i := range v {
				v[i] = gauss(float64(i))
			}
			prefilter(v, n, 1, c.poles)
			at := func(x float64) float64 {
				i := int(x)
				sum := 0.0
				if len(c.poles) == 1 {
					for k, w := range splineWeights(x - float64(i)) {
						sum += w * v[i-1+k]
					}
					return sum
				}
				for k, w := range quinticWeights(x - float64(i)) {
					sum += w * v[i-2+k]
				}
				return sum
			}
			for i := 10; i < 30; i++ {
				require.InDelta(t, gauss(float64(i)), at(float64(i)), 1e-9)
			}
			for x := 12.0; x < 28; x += 0.05 {
				worst = math.Max(worst, math.Abs(at(x)-gauss(x)))
			}
		}
		require.InEpsilon(t, c.want, worst, 0.06, "%d poles, step %v", len(c.poles), c.step)
	}
}

// Spots too fine for any grid are summed up directly: slow, and told by nothing
// but the time it takes.
func TestTooFine(t *testing.T) {
	g := pane(t, 2, 1, 0.6, 0, 3)
	require.True(t, g.tooFine())
	g.Build()
	codes := []uint8{255, 0, 0, 0, 255, 0}
	f, twin := fieldOf(31, 21, 10), fieldOf(31, 21, 10)
	g.Shine(f, codes)
	g.Direct(twin, codes)
	require.Equal(t, twin.XYZ, f.XYZ)
	_, err := g.NewScreen(300, 200, 1, 0)
	require.ErrorContains(t, err, "finer than a picture's pixels")

	// Where the picture is fine enough, the spot is where the LED is.
	g = pane(t, 2, 15, 0.6, 0, 3)
	require.True(t, g.tooFine())
	s, err := g.NewScreen(1500, 1000, 1, 0)
	require.NoError(t, err)
	s.Expose(codes)
	img := image.NewRGBA(image.Rect(0, 0, 1500, 1000))
	require.NoError(t, s.Draw(img, codes))
	led := g.layout.LEDs[0]
	at := img.RGBAAt(int(5*led.X), 999-int(5*led.Y))
	require.Greater(t, at.R, uint8(100))
	require.Greater(t, at.R, at.B)
}

// A frame allocates nothing, in the field and in pictures.
func TestNoAllocation(t *testing.T) {
	for _, n := range []int{3, 1500} { // weights per LED, a stencil
		g := pane(t, n, 30, 20, 0.1, 7)
		codes := make([]uint8, 3*n)
		for i := range codes {
			codes[i] = uint8(i)
		}
		require.Equal(t, n == 3, g.build().kinds[0].parts[0].few)
		f := fieldOf(61, 41, 5)
		g.Shine(f, codes)
		require.Zero(t, testing.AllocsPerRun(5, func() { g.Shine(f, codes) }))
		s, err := g.NewScreen(120, 80, 100, 0)
		require.NoError(t, err)
		img := image.NewRGBA(image.Rect(0, 0, 120, 80))
		require.NoError(t, s.Draw(img, codes))
		require.Zero(t, testing.AllocsPerRun(5, func() { _ = s.Draw(img, codes) }))
	}
}

// Between the points of its own grid a field is read by its spline: within
// the stated error of the direct sum, wherever one looks.
func TestFieldBetween(t *testing.T) {
	t.Parallel()
	most := 0.0
	rapid.Check(t, func(t *rapid.T) {
		sigma := rapid.Float64Range(5, 60).Draw(t, "sigma")
		depth := rapid.Float64Range(15, 120).Draw(t, "depth")
		g := pane(t, 20, depth, sigma, rapid.SampledFrom([]float64{0, 0.15, 1}).Draw(t, "lambertian"), rapid.Uint64().Draw(t, "seed"))
		codes := make([]uint8, 60)
		for i := range codes {
			codes[i] = 200
		}
		f := g.Grid()
		g.Shine(f, codes)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "places"), 2))
		peak, worst := 0.0, 0.0
		for _, v := range f.XYZ {
			peak = math.Max(peak, float64(v[1]))
		}
		for range 200 {
			x, y := 300*r.Float64(), 200*r.Float64()
			want := 0.0
			for i := range g.layout.LEDs {
				v, _ := g.led(i, codes)
				want += v[1] * g.Influence(i, x, y)
			}
			worst = math.Max(worst, math.Abs(want-float64(f.At(x, y)[1]))/peak)
		}
		most = math.Max(most, worst)
		require.LessOrEqual(t, worst, fieldError)
	})
	t.Logf("greatest error %.3f %%", 100*most)
}

// The cubic spline that a screen's processor draws is the field, within 1 % of
// its maximum at the panel's very edge and 0.2 % elsewhere.
func TestSplineForScreens(t *testing.T) {
	g := pane(t, 20, 30, 20, 0.15, 5)
	codes := make([]uint8, 60)
	for i := range codes {
		codes[i] = uint8(40 + i*3)
	}
	var s Spline
	require.True(t, g.Spline(&s, codes, [3]float64{}))
	f := g.Grid()
	g.Shine(f, codes)
	most, worst, inner := 0.0, 0.0, 0.0
	for _, v := range f.XYZ {
		most = math.Max(most, float64(v[1]))
	}
	r := rand.New(rand.NewPCG(8, 8))
	for range 2000 {
		x, y := 300*r.Float64(), 200*r.Float64()
		px, py := s.X+x/300*s.SpanX, s.Y+y/200*s.SpanY
		i, j := int(px), int(py)
		wx, wy := splineWeights(px-float64(i)), splineWeights(py-float64(j))
		var rgb [3]float64
		for b := range 4 {
			for a := range 4 {
				v := s.RGB[min(max(j-1+b, 0), s.H-1)*s.W+min(max(i-1+a, 0), s.W-1)]
				for k := range rgb {
					rgb[k] += wx[a] * wy[b] * float64(v[k])
				}
			}
		}
		lum := 0.2126390*rgb[0] + 0.7151687*rgb[1] + 0.0721923*rgb[2]
		e := math.Abs(lum-float64(f.At(x, y)[1])) / most
		worst = math.Max(worst, e)
		if x > 15 && y > 15 && x < 285 && y < 185 {
			inner = math.Max(inner, e)
		}
	}
	t.Logf("greatest difference %.3f %%, inside %.3f %%", 100*worst, 100*inner)
	require.Less(t, worst, 0.01)
	require.Less(t, inner, 0.002)
}
