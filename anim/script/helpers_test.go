package script

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/color"
	"paneglow/anim/layout"
)

// portal is a door frame of three strips, 180 pixels, in millimetres.
func portal() *layout.Layout {
	l := &layout.Layout{Width: 560, Height: 1420}
	strip := func(name string, n int, x0, y0, x1, y1 float64) {
		s := len(l.Strips)
		l.Strips = append(l.Strips, layout.Strip{Name: name, First: len(l.Pixels), Count: n, Dies: 3, Order: "GRB"})
		for i := range n {
			f := float64(i) / float64(n-1)
			x, y := x0+f*(x1-x0), y0+f*(y1-y0)
			l.Pixels = append(l.Pixels, layout.Pixel{Strip: s, Index: i, Place: i, X: x, Y: y, U: x / l.Width, V: y / l.Height, Along: f})
		}
	}
	strip("left", 77, 70, 60, 70, 1326)
	strip("top", 26, 72, 1360, 488, 1360)
	strip("right", 77, 490, 1326, 490, 60)
	return l
}

func traced2(t testing.TB, src string, o Options) *Program {
	t.Helper()
	p, err := Load("test.star", []byte(src))
	require.NoError(t, err)
	if o.Layout == nil {
		o.Layout = portal()
	}
	if o.Frames == 0 {
		o.Frames, o.FPS, o.Loop = 80, 40, true
	}
	g, err := p.Trace(o)
	require.NoError(t, err)
	prog, err := g.Compile()
	require.NoError(t, err)
	return prog
}

func TestFirst(t *testing.T) {
	src := `
"""Soft drops fall down every strip. Turn every: small is a shower, large is after the rain."""
tint  = color("oklch(85% 0.06 230)", help = "color of a drop")
every = number(5, min = 0.5, max = 30, unit = "s", help = "time of one fall")

def light(at, now):
    height = fract(at.v + now.cycle(every) + hash(at.strip))   # 0 at the drop's lower edge
    return tint * (1 - smoothstep(0, 0.08, height))
`
	p := traced2(t, src, Options{})
	r := p.Start()
	dst := make([]color.Light, 180)
	for range 3 {
		require.NoError(t, r.Next(dst))
	}
	t.Log(dst[:20], p.Notes())
}

// rampOf evaluates gradient(text).
func rampOf(t *testing.T, text string) *Ramp {
	t.Helper()
	p, err := Load("ramp.star", []byte("ramp = gradient("+text+")\ndef light(at, now):\n    return ramp(at.u)\n"))
	require.NoError(t, err)
	tr := &tracer{src: p.src, b: newBuilder(), opt: &Options{Frames: 1, FPS: 1}}
	fn, err := tr.run(p)
	require.NoError(t, err)
	return fn.Globals()["ramp"].(*Ramp)
}
