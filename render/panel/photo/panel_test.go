package photo

import (
	"image"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/render/panel"
)

// A photo of what the pictures show of the umbrella cabinet's pane gives its own
// machine file back: what is fitted here means the same there, the LED's face
// included.
func TestPicturesAndPhotosAgree(t *testing.T) {
	m, found := show.LoadMachine("../../../examples/umbrella/machine.toml")
	require.NoError(t, found.Err())
	m.Panel.Walls, m.Panel.Glass.Haze = 0, 1 // no light but the glass's own
	l, err := layout.New(m)
	require.NoError(t, err)
	g, err := panel.New(m, l)
	require.NoError(t, err)
	const led = 0
	const scale, side = 0.8, 300
	x, y := l.LEDs[led].X, l.LEDs[led].Y
	peak := g.Influence(led, x, y)
	img := image.NewGray16(image.Rect(0, 0, side, side))
	for j := range side {
		for i := range side {
			v := 0.8*g.Influence(led, x+(float64(i)-side/2)*scale, y+(float64(j)-side/2)*scale)/peak + 0.01
			n := uint16(math.Round(65535 * v))
			o := img.PixOffset(i, j)
			img.Pix[o], img.Pix[o+1] = uint8(n>>8), uint8(n)
		}
	}
	p, err := Read("panel.png", encoded(t, img), Encoding{Gamma: 1})
	require.NoError(t, err)
	part := &m.Parts[0]
	r, err := Fit(p, Settings{Depth: m.Panel.Depth, Scale: scale, HalfAngle: part.HalfAngle, Emitter: part.Emitter})
	require.NoError(t, err)
	t.Logf("scatter %.2f of %v, lambertian %.3f of %g", r.Scatter.Value, m.Panel.Glass.Scatter, r.Lambertian.Value, m.Panel.Glass.Lambertian)
	require.InEpsilon(t, float64(m.Panel.Glass.Scatter), r.Scatter.Value, 0.01)
	require.InDelta(t, m.Panel.Glass.Lambertian, r.Lambertian.Value, 0.02)
}
