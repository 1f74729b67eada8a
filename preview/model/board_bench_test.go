package model

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// One update while the panel is laid out over a photo, standing still and while a
// corner is dragged, which writes and reads the machine file's text every time.
func BenchmarkLayout(b *testing.B) {
	for _, c := range []struct {
		key    string
		pixels int
	}{{"window_layout_ms", 300}, {"window_layout_ms_2000", 2000}} {
		b.Run(c.key, func(b *testing.B) {
			w := openWith(b, plainProver{}, func(dir string) { wider(b, dir, c.pixels) })
			w.o.StateFile = ""
			w.key("y")
			w.board.shot = &photo{w: 1200, h: 1600, img: photoOf(1200, 1600, slanted)}
			w.still()
			require.NotNil(b, w.board.laid)
			var stands, drags []time.Duration
			update := func() time.Duration {
				w.in.Seconds += 1.0 / 60
				start := time.Now()
				w.Update(w.in)
				return time.Since(start)
			}
			for b.Loop() {
				w.to(Point{300, 700})
				stands = append(stands, update())
				p := w.board.screen(outlineOf(w.board.m.Strip("left"))[1])
				w.in.X, w.in.Y = p.X, p.Y
				w.in.Pressed, w.in.Down = true, true
				update()
				w.in.Pressed = false
				w.in.X, w.in.Y = p.X+4, p.Y+20
				update()
				w.in.X, w.in.Y = p.X, p.Y+1
				drags = append(drags, update())
				require.True(b, w.board.hold.moved)
				w.in.Down, w.in.Released = false, true
				update()
				w.in.Released = false
				w.board.doc.undo()
			}
			slices.Sort(stands)
			slices.Sort(drags)
			b.ReportMetric(ms(stands[len(stands)/2]), c.key)
			b.ReportMetric(ms(drags[len(drags)/2]), strings.Replace(c.key, "layout", "layout_drag", 1))
		})
	}
}
