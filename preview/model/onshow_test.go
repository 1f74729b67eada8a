package model

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Every state can be entered by its number, shows its own clip, and what is drawn
// fits the budget.
func TestStates(t *testing.T) {
	w := openDemo(t, plainProver{})
	require.Equal(t, "rest", w.State())
	for i := range w.run.table.States {
		w.key(Key(string(rune('1' + i))))
		w.tick(1.5)
		require.Equal(t, w.stage.Table.States[i].Name, w.State())
		require.LessOrEqual(t, w.run.last.Current, w.run.last.Budget)
		require.True(t, w.says("controls of clip "+w.clipName()))
	}
}

// Entering a state that needs a motor asks for it; it runs once granted, and the
// light makes room.
func TestLoads(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.tick(1) // the budget climbs after a start
	before := w.run.last.Budget
	w.click("state.turning")
	w.tick(1)
	require.Contains(t, w.Report().Running, "carousel")
	require.Less(t, w.run.last.Budget, before)
	require.True(t, w.says("carousel runs"))
	w.click("load.carousel")
	w.tick(1)
	require.NotContains(t, w.Report().Running, "carousel")
	require.True(t, w.says("carousel off"))
}

// The longest stay leads on by itself, as the controller will.
func TestLongestStay(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.click("state.wake")
	stay := float64(w.run.table.States[w.run.last.State].AtMost) / 1000
	require.Greater(t, stay, 0.0)
	w.tick(stay + 2)
	require.NotEqual(t, "wake", w.State())
}

// Dragging over the timeline stops and shows that frame; space goes on; arrows
// step.
func TestScrub(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.drag("timeline", 0.2, 0.5)
	require.False(t, w.playing)
	lap := w.lap()
	require.InDelta(t, len(lap.Frames)/2, w.frame(), 3)
	require.Equal(t, lap.Frames[w.frame()], w.codes())
	at := w.frame()
	w.key("right")
	require.Equal(t, at+1, w.frame())
	w.key("home")
	require.Zero(t, w.frame())
	w.key("space")
	require.True(t, w.playing)
}

// b goes from one frame where the cap bites to the next.
func TestNextBite(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.click("state.turning")
	w.tick(0.5)
	require.True(t, w.says("cap bites in"))
	w.key("b")
	require.False(t, w.playing)
	require.Contains(t, w.notice, "wants")
	require.Greater(t, w.lap().Wanted[w.frame()], w.lap().Current[w.frame()])
}

// A clip over the flash limit does not play by itself: its first frame, a
// warning, and a key.
func TestFlashesStandStill(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.stage.Flashes[w.stage.Table.States[4].Clip] = 4
	w.key("5")
	w.tick(1)
	require.False(t, w.playing)
	require.Zero(t, w.frame())
	require.True(t, w.says("can cause seizures"))
	w.key("p")
	w.tick(0.5)
	require.True(t, w.playing)
	require.NotZero(t, w.frame())
}

// A silent computer leads where the show says, as the controller will.
func TestSilentHost(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.click("state.service")
	w.tick(1)
	w.click("host")
	w.tick(7)
	require.Equal(t, "rest", w.State())
}

// A loop range plays its frames over and over, until x takes it away.
func TestLoopRange(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.in.Shift = true
	w.drag("timeline", 0.25, 0.5)
	w.in.Shift = false
	n := len(w.lap().Frames)
	require.InDelta(t, n/4, w.loopFrom, 4)
	require.InDelta(t, n/2, w.loopTo, 4)
	require.True(t, w.playing)
	seen := map[int]bool{}
	for range int(60 * (float64(n)/160 + 1)) { // longer than the range lasts
		w.frame1()
		f := w.frame()
		require.True(t, f >= w.loopFrom && f <= w.loopTo, "frame %d of %d to %d", f, w.loopFrom, w.loopTo)
		require.Equal(t, w.lap().Frames[f], w.codes())
		seen[f] = true
	}
	require.Greater(t, len(seen), (w.loopTo-w.loopFrom)*9/10, "all of the range")
	w.key("x")
	w.tick(0.2)
	require.False(t, w.looping())
	require.Equal(t, w.run.codes, w.codes())
}
