package photo

import (
	"bytes"
	"flag"
	"image/jpeg"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
)

var update = flag.Bool("update", false, "write the starter's simulated photo anew")

const sample = "../../../examples/starter/simulated-photo.jpg"

// The photo that `paneglow new` writes is simulated from the starter's own
// machine by camera; -update draws it anew. A fit gives the machine back.
func TestSamplePhoto(t *testing.T) {
	m, found := show.LoadMachine("../../../examples/starter/machine.toml")
	require.NoError(t, found.Err())
	part := &m.Parts[0]
	c := camera{
		fwhm: float64(m.Panel.Glass.Scatter), q: m.Panel.Glass.Lambertian, half: float64(part.HalfAngle), emitter: float64(part.Emitter),
		depth: float64(m.Panel.Depth), distance: 600, scale: 0.3, w: 640, h: 480, x: 331.2, y: 226.7,
		peak: 0.8, ambient: 0.006, slope: 0.003, noise: 0.002, shot: 0.006, vignette: 600, tint: [3]float64{0.88, 0.97, 1}, seed: 4,
	}
	drawn := c.jpeg(t, 82)
	if *update {
		require.NoError(t, os.WriteFile(sample, drawn, 0o644))
	}
	kept, err := os.ReadFile(sample)
	require.NoError(t, err)
	require.Less(t, len(kept), 40_000)
	// Another processor may round a pixel's noise the other way: the pictures are
	// compared by eye's measure, not by bytes.
	a, err := jpeg.Decode(bytes.NewReader(kept))
	require.NoError(t, err)
	b, err := jpeg.Decode(bytes.NewReader(drawn))
	require.NoError(t, err)
	require.Equal(t, b.Bounds(), a.Bounds())
	sum := 0.0
	for y := range c.h {
		for x := range c.w {
			r, _, _, _ := a.At(x, y).RGBA()
			s, _, _, _ := b.At(x, y).RGBA()
			sum += math.Abs(float64(r)-float64(s)) / 257
		}
	}
	require.Less(t, sum/float64(c.w*c.h), 0.5, "codes a pixel")

	p, err := Open(sample, Encoding{})
	require.NoError(t, err)
	r, err := Fit(p, c.settings())
	require.NoError(t, err)
	t.Logf("scatter %.2f (%.2f to %.2f) of %g, lambertian %.3f (%.3f to %.3f) of %g", r.Scatter.Value, r.Scatter.Low, r.Scatter.High, c.fwhm, r.Lambertian.Value, r.Lambertian.Low, r.Lambertian.High, c.q)
	require.True(t, r.Scatter.holds(c.fwhm))
	require.True(t, r.Lambertian.holds(c.q))
	require.Empty(t, r.Notes)
}
