package model

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A machine file that both sides changed is asked about; neither is lost.
func TestMachineOutside(t *testing.T) {
	for _, keep := range []string{"layout.mine", "layout.theirs"} {
		w := openLayout(t)
		w.key("right")
		mine := w.machine()
		theirs := strings.Replace(string(w.board.doc.disk), `depth = "47 mm"`, `depth = "50 mm"`, 1)
		require.NoError(t, os.WriteFile(w.board.doc.path, []byte(theirs), 0o644))
		w.FilesChanged()
		w.frame1()
		require.True(t, w.says("machine.toml was changed outside"))
		w.ctrl("s")
		onDisk, _ := os.ReadFile(w.board.doc.path)
		require.Equal(t, theirs, string(onDisk), "nothing was written over it")
		w.click(keep)
		w.still()
		if keep == "layout.mine" {
			require.Equal(t, mine, w.machine())
			w.ctrl("s")
			onDisk, _ = os.ReadFile(w.board.doc.path)
			require.Equal(t, mine, string(onDisk))
			continue
		}
		require.Equal(t, theirs, w.machine())
		w.ctrl("z")
		require.Equal(t, mine, w.machine())
	}
}

// A machine that cannot be laid out does not keep one from mending it: the
// layout opens before the show ever played.
func TestLayoutOfBrokenMachine(t *testing.T) {
	w := openDemo(t, plainProver{})
	file := filepath.Join(w.dir, "machine.toml")
	b, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(string(b), "pixels = 26", "pixels = 40", 1)), 0o644))
	m, err := New(Options{Show: w.o.Show}, plainProver{})
	require.NoError(t, err)
	w = &window{Model: m, t: t, dir: w.dir, in: Input{W: 1280, H: 800}}
	w.settle()
	require.Nil(t, w.stage)
	w.key("y")
	w.frame1()
	w.click("layout.strip.top")
	w.frame1()
	w.click("layout.from-length")
	w.still()
	require.NotNil(t, w.stage)
	require.Equal(t, 26, w.stage.Machine.Strips[1].Pixels)
}

// A machine file that becomes nonsense outside leaves the window whole: it tells
// where, changes nothing, and goes on when the file is mended.
func TestNonsenseMachine(t *testing.T) {
	w := openLayout(t)
	good := w.machine()
	for _, text := range []string{"", "[[strip]\n", "[panel]\nsize = [\"0 mm\", \"0 mm\"]\n", "\x00\xff", "[[strip]]\nname = \"left\"\npixels = 20000\npath = []\n",
		strings.Replace(good, "leds_per_pixel = 1", "leds_per_pixel = 0", 1), strings.Replace(good, `"60 /m"`, `"0 /m"`, 1)} {
		require.NoError(t, os.WriteFile(w.board.doc.path, []byte(text), 0o644))
		w.FilesChanged()
		w.still()
		for i := range toolNames {
			w.takeTool(tool(i))
			w.in.X, w.in.Y = 300, 300
			w.in.Wheel = 1
			w.pressAt(Point{70, 60})
			for _, k := range []Key{"right", "period", "space", "delete", "i", "d", "pagedown", "plus", "0", "1"} {
				w.key(k)
			}
		}
		require.NotNil(t, w.told, text)
		b, err := json.Marshal(w.Report())
		require.NoError(t, err, text)
		require.NotEmpty(t, b)
		w.board.doc.now = []byte(text)
	}
	require.NoError(t, os.WriteFile(w.board.doc.path, []byte(good), 0o644))
	w.FilesChanged()
	w.still()
	require.Nil(t, w.told)
	require.Equal(t, good, w.machine())
}

// Quitting asks where the machine was changed, also out of the layout.
func TestQuitAsksForMachine(t *testing.T) {
	w := openLayout(t)
	w.key("right")
	w.key("escape")
	require.False(t, w.board.on)
	require.Contains(t, w.notice, "not saved")
	w.key("q")
	require.False(t, w.quit)
	w.ctrl("s")
	require.False(t, w.Report().Unsaved)
	w.key("q")
	require.True(t, w.quit)
}

// The keyboard alone reaches every widget of the layout.
func TestLayoutKeyboardAlone(t *testing.T) {
	w := openLayout(t)
	seen := map[string]bool{}
	for range 3 * len(w.order) {
		w.key("tab")
		seen[w.focus] = true
	}
	for _, id := range w.order {
		require.True(t, seen[id], "%s was never reached", id)
	}
}
