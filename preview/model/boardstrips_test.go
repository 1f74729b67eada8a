package model

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
)

// Pixels are hidden and missing by a press and lit again by another; a pixel is
// never both.
func TestHiddenAndMissing(t *testing.T) {
	w := openLayout(t)
	old := w.machine()
	dots := dotsOf(w.board.m.Strip("left"), w.board.m.Part("bright12"))
	w.key("4")
	w.pressAt(dots[12].at)
	require.Equal(t, []int{12}, w.board.m.Strip("left").Missing)
	require.Contains(t, w.machine(), "pixels = 77\nmissing = [12]\n")
	w.still()
	require.Nil(t, w.told)
	require.True(t, w.stage.On.Layout.Pixels[12].Missing)
	w.key("3")
	w.pressAt(dots[12].at)
	require.Equal(t, []int{}, append([]int{}, w.board.m.Strip("left").Missing...))
	require.Equal(t, []int{12}, w.board.m.Strip("left").Hidden)
	require.True(t, w.says("too long"), "a hidden pixel takes no length")
	// It stands beside the strip now, and can be pressed there.
	p, ok := w.board.dotAt(show.Place{Strip: "left", Pixel: 12})
	require.True(t, ok)
	w.pressAt(Point{w.board.mmX(p.X), w.board.mmY(p.Y)})
	require.Empty(t, w.board.m.Strip("left").Hidden)
	for range 3 {
		w.ctrl("z")
	}
	require.Equal(t, old, w.machine())
	// By keys alone.
	w.key("right")
	w.key("space")
	require.Equal(t, []int{13}, w.board.m.Strip("left").Hidden)
}

// Turned round, the points change places; marks, feeds and joints stay where they
// are on the panel.
func TestTurnRound(t *testing.T) {
	w := openLayout(t)
	old := w.machine()
	w.toggleMark("left", 3, "missing")
	dots := dotsOf(w.board.m.Strip("left"), w.board.m.Part("bright12"))
	w.click("layout.turn")
	require.Contains(t, w.machine(), `path = [["70 mm", "1326.7 mm"], ["70 mm", "60 mm"]]      # first LED, last LED`)
	require.Contains(t, w.machine(), `at = ["left", 76]`)
	require.Contains(t, w.machine(), `from = ["left", 0]`)
	s := w.board.m.Strip("left")
	require.Equal(t, []int{73}, s.Missing)
	now := dotsOf(s, w.board.m.Part("bright12"))
	require.InDelta(t, dots[3].at.Y, now[73].at.Y, 1e-6)
	w.still()
	require.Nil(t, w.told)
	w.key("d")
	w.toggleMark("left", 3, "missing")
	require.Equal(t, []string{"+ missing = []"}, addedLines(old, w.machine()))
}

// A strip is drawn by pressing its corners, gets its pixels from its length, its
// part and a place on a data line, and a feed; it is removed at the second press.
func TestNewStrip(t *testing.T) {
	w := openDemo(t, &Proof{})
	w.click("layout")
	w.frame1()
	old := w.machine()
	w.click("layout.tool.new-strip")
	w.frame1()
	w.typeIn("layout.name", "flap")
	w.key("enter")
	require.Contains(t, w.notice, "two places at least")
	w.pressAt(Point{150, 300})
	w.pressAt(Point{400, 302})
	require.True(t, w.says("250 mm, 16 pixels"))
	w.click("layout.finish")
	require.Equal(t, []string{
		`- strips = ["left", "top", "right"]  # in data order: up, across, down`, `+ strips = ["left", "top", "right", "flap"]  # in data order: up, across, down`,
	}, changed(old, w.machine())[:2])
	require.Contains(t, w.machine(), "\n[[strip]]\nname = \"flap\"\npart = \"bright12\"\npath = [[\"150 mm\", \"300 mm\"], [\"400 mm\", \"300 mm\"]]\npixels = 16\n\n[supply]")
	w.still()
	require.NotNil(t, w.told, "a strip without copper is refused")
	require.True(t, w.says("checks: 1 error"))
	w.key("5")
	w.pressAt(Point{150, 300})
	require.Contains(t, w.notice, "correct them in the file")
	require.Contains(t, w.machine(), "[[feed]]\nat = [\"flap\", 0]\nwire = \"0.75 mm2\"\nlength = \"900 mm\"\nfuse = \"4 A\"\n")
	w.still()
	require.Nil(t, w.told)
	require.Len(t, w.stage.On.Layout.Strips, 4)
	w.click("layout.leave")
	w.tick(0.2)
	require.True(t, w.says("controls of clip"), "the show goes on with one strip more")
	w.click("layout")
	w.frame1()
	w.click("layout.strip.flap")
	w.frame1()
	w.click("layout.remove")
	require.NotNil(t, w.board.m.Strip("flap"), "asked first")
	w.frame1()
	require.True(t, w.says("really remove it with 1 feed, 0 joints"))
	w.click("layout.remove")
	require.Equal(t, old, w.machine(), "as it was, to the byte")
	w.still()
	require.Nil(t, w.told)
}

// A removal that was asked for is forgotten when one does something else.
func TestRemoveAsksAgain(t *testing.T) {
	w := openLayout(t)
	w.click("layout.remove")
	w.click("layout.strip.right")
	w.frame1()
	w.click("layout.remove")
	require.NotNil(t, w.board.m.Strip("right"))
	w.frame1()
	require.True(t, w.says("really remove it with 1 feed, 1 joint"))
	w.click("layout.remove")
	require.Nil(t, w.board.m.Strip("right"))
	require.NotContains(t, w.machine(), `["right"`)
	w.ctrl("z")
	require.NotNil(t, w.board.m.Strip("right"))
}

// Feeds are dragged from pixel to pixel, in one step.
func TestMoveFeed(t *testing.T) {
	w := openLayout(t)
	old := w.machine()
	dots := dotsOf(w.board.m.Strip("left"), w.board.m.Part("bright12"))
	w.key("5")
	w.pullTo(dots[0].at, dots[38].at)
	require.Equal(t, []string{`- at = ["left", 0]`, `+ at = ["left", 38]`}, changed(old, w.machine()))
	w.still()
	require.Equal(t, 38, w.stage.Machine.Feeds[0].Pixel)
	w.ctrl("z")
	require.Equal(t, old, w.machine())
	w.key("delete")
	require.Len(t, w.board.m.Feeds, 1)
	w.key("delete")
	require.Len(t, w.board.m.Feeds, 1, "the last one stays")
}

// The pixels that a length takes are offered, and what was soldered to the end
// comes along.
func TestPixelsFromLength(t *testing.T) {
	w := openLayout(t)
	w.click("layout.strip.right")
	w.key("period")
	for range 20 {
		w.in.Shift = true
		w.key("up")
	}
	w.in.Shift = false
	w.frame1()
	require.False(t, w.Report().Layout.Fits)
	require.True(t, w.says("65 pixels from the length"))
	w.click("layout.from-length")
	require.Equal(t, 65, w.board.m.Strip("right").Pixels)
	require.Contains(t, w.machine(), `at = ["right", 64]`)
	require.Contains(t, w.notice, "what was soldered behind pixel 64 is on it now")
	w.still()
	require.True(t, w.Report().Layout.Fits)
	w.typeIn("layout.pixels", "70")
	require.Equal(t, 70, w.board.m.Strip("right").Pixels)
	w.frame1()
	w.click("layout.stretch")
	w.frame1()
	require.True(t, w.says("fits"))
	require.Contains(t, w.machine(), `["490 mm", "176.7 mm"]`)
	for _, bad := range []string{"many", "7.5", "", "-3", "0", "99999", "7 7"} {
		before := w.machine()
		w.notice = ""
		w.typeIn("layout.pixels", bad)
		require.Equal(t, before, w.machine(), bad)
		require.NotEmpty(t, w.notice, bad)
	}
}
