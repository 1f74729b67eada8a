package endtoend

import (
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The glass in the window is the glass that "paneglow render" draws, of the same
// frame and size: two ways from codes to pixels that share the panel's model and
// nothing after it. The window's coefficients have 16 bits of the brightest and the
// driver's float32, render's pixels 14 bits of white, every second one of them
// interpolated; so values close to the border between two codes fall on either side.
// Measured: one code at most, 0.07 in the mean; granted: twice and thrice as much.
func TestGlassIsWhatRenderDraws(t *testing.T) {
	w, dir := opened(t)
	glassAgainstRender(t, w, dir)
}

func glassAgainstRender(t *testing.T, w *window, dir string) {
	t.Helper()
	const mostMean, mostApart = 0.2, 2
	w.key("Home")
	p := w.wait("the first frame", func(s seen) bool { return !s.Playing && s.Frame == 0 }).Places["glass"]
	require.Positive(t, p[3], "a place for the glass")
	for i := range p {
		p[i] = int(math.Round(float64(p[i]) * w.on.scale))
	}
	w.next(10)
	shot := w.on.shot(t)
	keep(t, "window", shot)

	file := filepath.Join(t.TempDir(), "rest.png")
	w.on.run(t, build(t, "paneglow/cmd/paneglow"), "render", dir, "--clip", "rest", "--at", "0 s", "--height", fmt.Sprint(p[3]), "-o", file)
	f, err := os.Open(file)
	require.NoError(t, err)
	defer f.Close()
	img, err := png.Decode(f)
	require.NoError(t, err)
	// Where render puts the panel: a margin, in the middle of at least 300 points.
	scale := math.Min(math.Max(float64(p[3])/900, 0.8), 2)
	left := int(16*scale) + (max(p[2], int(300*scale))-p[2])/2
	top := int(16 * scale)

	sum, n, most, bright := 0.0, 0, 0.0, 0
	rim := int(2 * w.on.scale) // the window draws a frame over the glass
	for y := rim; y < p[3]-rim; y++ {
		for x := rim; x < p[2]-rim; x++ {
			a := shot.NRGBAAt(p[0]+x, p[1]+y)
			r, g, b, _ := img.At(left+x, top+y).RGBA()
			for _, d := range [3]float64{float64(a.R) - float64(r>>8), float64(a.G) - float64(g>>8), float64(a.B) - float64(b>>8)} {
				d = math.Abs(d)
				sum += d
				n++
				most = max(most, d)
			}
			if max(a.R, a.G, a.B) > 60 {
				bright++
			}
		}
	}
	t.Logf("%d x %d pixels: at most %.0f codes apart, mean %.3f", p[2], p[3], most, sum/float64(n))
	require.Greater(t, bright, 2000, "there is light to compare")
	require.Less(t, sum/float64(n), mostMean)
	require.LessOrEqual(t, most, float64(mostApart))
}

// keep writes a picture for a person to look at, where one asks for it.
func keep(t testing.TB, name string, img image.Image) {
	t.Helper()
	dir := os.Getenv("PICTURES")
	if dir == "" {
		return
	}
	require.NoError(t, os.MkdirAll(dir, 0o755))
	f, err := os.Create(filepath.Join(dir, name+".png"))
	require.NoError(t, err)
	require.NoError(t, png.Encode(f, img))
	require.NoError(t, f.Close())
}
