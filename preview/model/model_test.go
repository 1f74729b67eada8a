package model

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/examples"
)

// Room, depth and scatter are dragged live and shown; r brings the machine's back.
func TestGlassSettings(t *testing.T) {
	w := openDemo(t, plainProver{})
	require.NotNil(t, w.Light())
	was := w.panelDepth()
	w.drag("depth", 0.3, 0.8)
	require.Greater(t, w.panelDepth(), was+10)
	l := w.Light()
	require.NotNil(t, l)
	require.Len(t, l.Codes, 3*l.W*l.H)
	require.Greater(t, l.Exposure, float32(0))
	w.key("r")
	require.InDelta(t, was, w.panelDepth(), 1e-9)
	w.key("g")
	require.Nil(t, w.Light(), "no glass, no field")
}

// The keyboard alone reaches every widget and works a slider.
func TestKeyboardAlone(t *testing.T) {
	w := openDemo(t, plainProver{})
	seen := map[string]bool{}
	for range 4 * len(w.order) {
		w.key("tab")
		seen[w.focus] = true
	}
	for _, id := range w.order {
		require.True(t, seen[id], "%s was never reached", id)
	}
	for w.focus != "level" {
		w.key("tab")
	}
	w.key("left")
	require.Less(t, w.run.level, 1000)
}

// Small windows and both themes: every text that is not clipped lies inside.
func TestFits(t *testing.T) {
	w := openDemo(t, plainProver{})
	for _, size := range [][2]float64{{1024, 700}, {1280, 800}, {1920, 1080}} {
		w.in.W, w.in.H = size[0], size[1]
		for i := range w.run.table.States {
			w.enter(i)
			w.tick(0.1)
			for _, o := range w.Draw().Ops {
				if o.Kind != Text || o.Clip != nil {
					continue
				}
				width := Measure(o.Text, o.Size, o.Bold)
				x := o.X
				switch o.Align {
				case Center:
					x -= width / 2
				case Right:
					x -= width
				}
				require.True(t, x >= -1 && x+width <= size[0]+1 && o.Y <= size[1], "%q at %.0f, %.0f of %v", o.Text, x, o.Y, size)
			}
		}
		w.key("t")
	}
}

// A panel that lies turns the timeline: time runs down, and dragging down it goes
// on in time.
func TestWidePanel(t *testing.T) {
	w := openFiles(t, examples.Starter(), plainProver{}, func(string) {})
	require.True(t, w.wide())
	p := w.places["timeline"]
	w.in.X, w.in.Y = float64(p[0]+20), float64(p[1])+0.25*float64(p[3])
	w.in.Pressed, w.in.Down = true, true
	w.frame1()
	require.InDelta(t, float64(len(w.lap().Frames))/4, w.frame(), 3)
	w.in.Y += 0.5 * float64(p[3])
	w.frame1()
	require.InDelta(t, 3*float64(len(w.lap().Frames))/4, w.frame(), 3)
	w.in.Down, w.in.Released = false, true
	w.frame1()
	require.True(t, w.says("current"))
	require.Contains(t, w.places, "scatter", "all of the glass can be dragged")
}
