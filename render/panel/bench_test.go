package panel

import (
	"fmt"
	"image"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/anim/layout"
	"paneglow/anim/show"
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

var _ show.Machine

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

func BenchmarkField(b *testing.B) {
	g, codes := wall(b, 20)
	start := time.Now()
	g.Build()
	build := time.Since(start)
	f := field()
	g.Shine(f, codes)
	for b.Loop() {
		g.Shine(f, codes)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e6, "glass_field_ms")
	b.ReportMetric(float64(build.Microseconds())/1000, "glass_build_ms")
	twin := field()
	g.Direct(twin, codes)
	b.ReportMetric(worst(f, twin), "glass_err_max")
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
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e6, "glass_picture_ms")
}
