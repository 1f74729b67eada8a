package picture

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/panel"
)

func TestRippleChart(t *testing.T) {
	m, l := machine()
	for i := range l.Strips {
		l.Strips[i].PixelPitch = 16
	}
	g, err := panel.New(m, l)
	require.NoError(t, err)
	img, err := Ripple(g, l, 0, 800)
	require.NoError(t, err)
	// The white dot of today stands on this glass's curve.
	a := g.Advise(0)
	c := rippleChart{x0: 84, y0: 92, w: 800 - 84 - 28, h: 460 - 92 - 62}
	c.deepest = max(1.6*a.Depth, 1.25*a.SmoothDepth, 1.25*a.DeepestDepth)
	px := img.RGBAAt(int(c.x(a.Depth)), int(c.y(a.Ripple)))
	require.Equal(t, ink.R, px.R)
	// Left of it, at the same ripple's height, the curve is above: more depth, less ripple.
	require.Less(t, c.y(g.RowRipple(0, 16, a.Depth*0.7)), c.y(a.Ripple))
	require.Equal(t, c.y0+c.h, c.y(0), "nothing lies below the chart")
	require.Equal(t, c.y0, c.y(1))

	_, err = Ripple(g, l, 0, 100)
	require.ErrorContains(t, err, "640 to 3000")
	_, err = Ripple(g, l, 2, 800)
	require.ErrorContains(t, err, "outside 0 to 1")
	l.Strips[0].LEDPitch = 0
	_, err = Ripple(g, l, 0, 800)
	require.ErrorContains(t, err, "no LED pitch")
}
