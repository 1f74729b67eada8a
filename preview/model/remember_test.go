package model

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// reopen opens the show of a window once more.
func (w *window) reopen(o Options) *window {
	w.t.Helper()
	o.Show = w.o.Show
	m, err := New(o, plainProver{})
	require.NoError(w.t, err)
	again := &window{Model: m, t: w.t, dir: w.dir, in: Input{W: 1280, H: 800}}
	again.settle()
	return again
}

// What a window was like, the next one is.
func TestRemembers(t *testing.T) {
	file := filepath.Join(t.TempDir(), "new", "window.toml")
	w := openDemo(t, plainProver{}).reopen(Options{Memory: file})
	width, height := w.Size()
	require.Zero(t, width)
	require.Zero(t, height)
	require.Empty(t, w.notice, "a first window has nothing to tell")
	w.key("g")
	w.key("t")
	w.key("o")
	w.key("a")
	w.in.W, w.in.H = 1111, 777
	w.tick(0.5)
	require.NoFileExists(t, file, "not while it still changes")
	w.tick(1.2)
	require.FileExists(t, file, "but without waiting for the end")

	w = w.reopen(Options{Memory: file})
	width, height = w.Size()
	require.Equal(t, [2]int{1111, 777}, [2]int{width, height})
	require.Equal(t, BareView, w.view)
	require.Equal(t, LightTheme, w.theme)
	require.True(t, w.outlines && w.adapted)
	w.key("g")
	require.NoError(t, w.Close(), "the end keeps what is newest")

	w = w.reopen(Options{Memory: file})
	require.Equal(t, DriveView, w.view)
	w.key("t")
	w.tick(1.5)
	w = w.reopen(Options{Memory: file, Light: true})
	require.Equal(t, LightTheme, w.theme, "the command line goes first")
	left, err := os.ReadDir(filepath.Dir(file))
	require.NoError(t, err)
	require.Len(t, left, 1, "nothing is left beside it")
}

// A damaged file is told in one line and is the defaults; it is mended by what the
// window does next.
func TestDamagedMemory(t *testing.T) {
	demo := openDemo(t, plainProver{})
	for _, c := range []struct{ text, says string }{
		{"width = [", "line 1"},
		{"width = 1e9", "line 1, column 9"},
		{"width = 99999999", "outside 320 to 16384"},
		{"width = -5\nheight = 700", "outside 320 to 16384"},
		{"view = \"sideways\"", "no view"},
		{"theme = 3", "line 1, column 9"},
		{"theme = \"pink\"", "no theme"},
		{"animated = \"film\"", "no kind of animation"},
		{"\xff\x00", "line 1"},
	} {
		file := filepath.Join(t.TempDir(), "window.toml")
		require.NoError(t, os.WriteFile(file, []byte(c.text), 0o644))
		fresh, err := New(Options{Show: demo.o.Show, Memory: file}, plainProver{})
		require.NoError(t, err)
		width, _ := fresh.Size() // before it is shown: a size that is seen for a while is kept
		require.Zero(t, width)
		w := demo.reopen(Options{Memory: file})
		require.Contains(t, w.notice, "the window opens as new", c.text)
		require.Contains(t, w.notice, c.says, c.text)
		require.Equal(t, GlassView, w.view)
		require.Equal(t, Dark, w.theme)
		require.NoError(t, w.Close())
		k, err := readKept(file)
		require.NoError(t, err, c.text)
		require.Equal(t, 1280, k.Width)
	}
	// Keys of a newer window are no damage.
	file := filepath.Join(t.TempDir(), "window.toml")
	require.NoError(t, os.WriteFile(file, []byte("view = \"drive\"\nlater = 3\n"), 0o644))
	w := demo.reopen(Options{Memory: file})
	require.Empty(t, w.notice)
	require.Equal(t, DriveView, w.view)
}

// A place that cannot be written to is told once, and the window goes on.
func TestMemoryCannotBeWritten(t *testing.T) {
	blocked := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(blocked, nil, 0o644))
	w := openDemo(t, plainProver{}).reopen(Options{Memory: filepath.Join(blocked, "window.toml")})
	require.Contains(t, w.notice, "the window opens as new")
	w.notice = ""
	w.key("t")
	w.tick(1.5)
	require.Contains(t, w.notice, "cannot be remembered")
	w.notice = ""
	w.key("t")
	w.tick(1.5)
	require.Empty(t, w.notice)
	require.NoError(t, w.Close())
}
