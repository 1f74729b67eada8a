package model

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// A corner that is dragged changes that coordinate in the file and nothing else;
// the check tells at once; undo is one step; saving writes it.
func TestDragPoint(t *testing.T) {
	w := openLayout(t)
	old := w.machine()
	w.pullTo(Point{70, 1326.7}, Point{90, 1326.7})
	require.Equal(t, []string{
		`- path = [["70 mm", "60 mm"], ["70 mm", "1326.7 mm"]]      # first LED, last LED`,
		`+ path = [["70 mm", "60 mm"], ["90 mm", "1327 mm"]]      # first LED, last LED`,
	}, changed(old, w.machine()))
	w.still()
	require.Nil(t, w.told, "still within half a pitch")
	require.InDelta(t, 90, float64(w.stage.Machine.Strips[0].Path[1][0]), 1e-9, "proved with the new place")
	w.pullTo(Point{90, 1327}, Point{90, 1200})
	w.still()
	require.True(t, w.says("too short"))
	require.Contains(t, w.Report().Layout.Found, "layout.path_length")
	require.NotNil(t, w.told, "the last good show goes on")
	w.ctrl("z")
	w.still()
	require.True(t, w.says("fits"))
	w.ctrl("z")
	require.Equal(t, old, w.machine(), "two drags are two steps")
	require.False(t, w.Report().Unsaved)
	w.ctrl("y")
	w.ctrl("s")
	onDisk, err := os.ReadFile(w.board.doc.path)
	require.NoError(t, err)
	require.Equal(t, w.machine(), string(onDisk))
	require.Contains(t, w.notice, "saved machine.toml")
	w.still()
	w.click("layout.leave")
	w.still()
	require.False(t, w.board.on)
	require.True(t, w.says("controls of clip"))
}

// Corners catch their neighbour's line, and shift lets them go.
func TestCatch(t *testing.T) {
	w := openLayout(t)
	w.pullTo(Point{70, 1326.7}, Point{76, 1300})
	require.Contains(t, w.machine(), `["70 mm", "1300 mm"]`)
	w.in.Shift = true
	w.pullTo(Point{70, 1300}, Point{76, 1310})
	require.Contains(t, w.machine(), `["76 mm", "1310 mm"]`)
}

// Arrows move a point by a millimetre, with shift by ten, never off the panel.
func TestNudgePoint(t *testing.T) {
	w := openLayout(t)
	w.key("period")
	require.Equal(t, 1, w.board.point)
	w.key("right")
	require.Contains(t, w.machine(), `["70 mm", "60 mm"], ["71 mm", "1326.7 mm"]`)
	w.in.Shift = true
	w.key("down")
	require.Contains(t, w.machine(), `["71 mm", "1316.7 mm"]`)
	for range 20 {
		w.key("up")
	}
	w.in.Shift = false
	require.Contains(t, w.machine(), `["71 mm", "1420 mm"]`)
	require.True(t, w.playing, "arrows do not scrub here")
}

// Points are added on a leg and deleted again; the ends stay.
func TestAddAndDeletePoint(t *testing.T) {
	w := openLayout(t)
	old := w.machine()
	p, shown := w.board.plusAt(outlineOf(w.board.m.Strip("left")), 0)
	require.True(t, shown)
	mid := Point{w.board.mmX(p.X), w.board.mmY(p.Y)}
	w.pullTo(mid, Point{mid.X + 60, mid.Y})
	require.Len(t, w.board.m.Strip("left").Path, 3)
	require.Contains(t, w.machine(), `path = [["70 mm", "60 mm"], ["`)
	require.Contains(t, w.machine(), `], ["70 mm", "1326.7 mm"]]      # first LED, last LED`)
	w.key("delete")
	require.Equal(t, old, w.machine(), "the file is as it was, to the byte")
	w.key("delete")
	require.Equal(t, old, w.machine())
	require.Contains(t, w.notice, "needs its two ends")
	w.key("i")
	require.Len(t, w.board.m.Strip("left").Path, 3)
}

// Points can be typed; what is no place or off the panel is told.
func TestTypePoint(t *testing.T) {
	w := openLayout(t)
	w.typeIn("layout.place", "72, 6 cm")
	require.Contains(t, w.machine(), `path = [["72 mm", "60 mm"]`)
	for _, bad := range []string{"72", "x, y", "72, 2000", "72, -1", "72; 60", "NaN, 3", "1e400, 3"} {
		before := w.machine()
		w.notice = ""
		w.typeIn("layout.place", bad)
		require.Equal(t, before, w.machine(), bad)
		require.NotEmpty(t, w.notice, bad)
	}
}

// Zoomed and moved, a press still finds the place under it.
func TestZoomedPress(t *testing.T) {
	w := openLayout(t)
	w.to(Point{70, 1326.7})
	for range 6 {
		w.in.Wheel = 1
		w.frame1()
	}
	require.Greater(t, w.board.scale(), 1.0)
	require.InDelta(t, 70, w.board.mmX(w.in.X), 1e-6, "what is under the pointer stays")
	w.pullTo(Point{150, 1300}, Point{200, 1250})
	w.pullTo(Point{70, 1326.7}, Point{95, 1326.7})
	require.Contains(t, w.machine(), `["95 mm", "1327 mm"]`)
	w.key("0")
	require.Zero(t, w.board.k)
}
