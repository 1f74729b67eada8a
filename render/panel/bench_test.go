package panel

import (
	"bytes"
	"fmt"
	"image"
	"io/fs"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/examples"
)

// wall is 20 rows of 100 LEDs over a pane of 800 x 500 mm, 30 mm behind a glass
// of 20 degrees standard angle.
func wall(tb testing.TB, sigma float64) (*Glass, []uint8) {
	m, _ := machine(1, 10, 30, sigma/sigmaPerFWHM, 0)
	l := &layout.Layout{Width: 800, Height: 500}
	for r := range 20 {
		l.Strips = append(l.Strips, layout.Strip{Name: fmt.Sprintf("row%d", r), First: 100 * r, Count: 100, Dies: 3, LEDPitch: 7.9, PixelPitch: 7.9})
		for c := range 100 {
			i := 100*r + c
			l.Pixels = append(l.Pixels, layout.Pixel{Strip: r, Index: c, Offset: 3 * i})
			l.LEDs = append(l.LEDs, layout.LED{X: 9 + 7.9*float64(c), Y: 13 + 24.9*float64(r), Pixel: int32(i)})
		}
	}
	g, err := New(m, l)
	require.NoError(tb, err)
	codes := make([]uint8, 6000)
	for i := range codes {
		codes[i] = 255
	}
	return g, codes
}

// field is 240 x 150 points over the wall.
func field() *Field {
	f := &Field{W: 240, H: 150, Step: 800.0 / 239}
	f.XYZ = make([][3]float32, f.W*f.H)
	return f
}

// worst is the greatest difference of two fields over the greatest value.
func worst(a, b *Field) float64 {
	err, most := 0.0, 0.0
	for i := range a.XYZ {
		for k := range 3 {
			err = math.Max(err, math.Abs(float64(a.XYZ[i][k]-b.XYZ[i][k])))
			most = math.Max(most, float64(b.XYZ[i][k]))
		}
	}
	return err / most
}

// lap is the best time of n runs: what the work takes when nothing else runs.
// The figures named glass_ are of this kind; ns/op beside them is the mean.
func lap(n int, f func()) time.Duration {
	best := time.Hour
	for range n {
		start := time.Now()
		f()
		best = min(best, time.Since(start))
	}
	return best
}

func ms(d time.Duration) float64 { return float64(d.Nanoseconds()) / 1e6 }

// The field of 2000 lit LEDs at 240 x 150 points, against two other ways that
// fill the same points, in the same run. The matrix is cut where its error is
// as small as the grids'; the Fourier way does not get there (its source is
// blurred by half a grid step), its own error is reported beside it.
func BenchmarkField(b *testing.B) {
	g, codes := wall(b, 20)
	build := lap(1, g.Build)
	f, twin := field(), field()
	g.Shine(f, codes)
	g.Direct(twin, codes)
	err := worst(f, twin)
	for b.Loop() {
		g.Shine(f, codes)
	}
	ours := lap(200, func() { g.Shine(f, codes) })
	var sparse *matrix
	other := field()
	for _, cut := range []float64{4, 5, 6, 7, 8, 10, 13, 17, 22, 32} {
		sparse = newMatrix(g, other, cut)
		sparse.shine(g, other, codes)
		if worst(other, twin) <= err {
			b.Logf("matrix cut at %g depths, %d weights, error %.3f %%", cut, len(sparse.w), 100*worst(other, twin))
			break
		}
	}
	matrixTime := lap(5, func() { sparse.shine(g, other, codes) })
	ft := newTransform(g, other)
	fourierTime := lap(10, func() { ft.shine(g, other, codes) })
	// What 250 more lit LEDs cost when all are lit, over what they cost when
	// half are, spread evenly: 1 is a cost in proportion. The coarse grids' own
	// cost does not depend on how many are lit.
	every := func(n int) time.Duration {
		few := make([]uint8, len(codes))
		for i := range few {
			if i/6%n == 0 { // neighbours together, as they are kept
				few[i] = 255
			}
		}
		return lap(100, func() { g.Shine(f, few) })
	}
	eighth, half, all := every(8), every(2), every(1)
	b.ReportMetric(float64(all-eighth)/7/(float64(half-eighth)/3), "glass_lit_scaling")
	b.ReportMetric(ms(ours), "glass_field_ms")
	b.ReportMetric(ms(build), "glass_build_ms")
	b.ReportMetric(err, "glass_err_max")
	b.ReportMetric(float64(matrixTime)/float64(ours), "glass_vs_sparse")
	b.ReportMetric(float64(fourierTime)/float64(ours), "glass_vs_fft")
	b.ReportMetric(worst(other, twin), "glass_fft_err")
}

// The demo's 180 pixels, all lit, on its own grid: the one that metrics and
// exposures read (TestFieldBetween says how closely).
func BenchmarkDemo(b *testing.B) {
	g, codes := demo(b)
	f := g.Grid()
	b.Logf("%d x %d points, %.1f mm apart", f.W, f.H, f.Step)
	g.Shine(f, codes)
	for b.Loop() {
		g.Shine(f, codes)
	}
	b.ReportMetric(ms(lap(200, func() { g.Shine(f, codes) })), "glass_demo_ms")
}

func demo(tb testing.TB) (*Glass, []uint8) {
	m, l := demoMachine(tb)
	g, err := New(m, l)
	require.NoError(tb, err)
	return g, bytes.Repeat([]byte{255}, l.Channels())
}

func demoMachine(tb testing.TB) (*show.Machine, *layout.Layout) {
	src, err := fs.ReadFile(examples.Umbrella(), "machine.toml")
	require.NoError(tb, err)
	m, list := show.ParseMachine("machine.toml", src)
	require.NoError(tb, list.Err())
	l, err := layout.New(m)
	require.NoError(tb, err)
	require.Len(tb, l.Pixels, 180)
	return m, l
}

func BenchmarkPicture(b *testing.B) {
	g, codes := wall(b, 20)
	f := field()
	g.Shine(f, codes)
	s, err := g.NewScreen(640, 400, exposure(f), 100)
	require.NoError(b, err)
	img := image.NewRGBA(image.Rect(0, 0, 640, 400))
	require.NoError(b, s.Draw(img, codes))
	for b.Loop() {
		_ = s.Draw(img, codes)
	}
	b.ReportMetric(ms(lap(200, func() { _ = s.Draw(img, codes) })), "glass_picture_ms")
}
