package picture

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/panel/photo"
)

func TestRadialChart(t *testing.T) {
	p, err := photo.Open("../../examples/starter/simulated-photo.jpg", photo.Encoding{})
	require.NoError(t, err)
	r, err := photo.Fit(p, photo.Settings{Depth: 30, Scale: 0.3, Emitter: 5, Distance: 600})
	require.NoError(t, err)
	img, err := Radial(p, r, 900)
	require.NoError(t, err)
	c := radialChart{r: r, x0: 76, w: 900 - 76 - 28, y0: 120, h: 316, y1: 480, h1: 84}
	c.end = c.reach()
	require.Greater(t, c.end, 30.0)
	require.LessOrEqual(t, c.end, r.Rings[len(r.Rings)-1].R)
	// The fit's line stands between rings, the rings' dots on it.
	on := 0
	for i, q := range r.Rings[5 : len(r.Rings)-1] {
		if q.R > c.end || q.Fit < 2*leastLight {
			break
		}
		px := img.RGBAAt(int(c.x(q.R)), int(c.y(q.Fit)))
		require.Greater(t, int(px.R)+int(px.G), 300, "ring %d at %.1f mm: %v", i+5, q.R, px)
		on++
	}
	require.Greater(t, on, 20)
	require.Equal(t, c.y0+c.h, c.y(0), "nothing lies below the plot")
	require.InDelta(t, (c.y(0.1)+c.y(0.001))/2, c.y(0.01), 1e-9, "decades are alike")

	_, err = Radial(p, r, 100)
	require.ErrorContains(t, err, "640 to 3000")
}
