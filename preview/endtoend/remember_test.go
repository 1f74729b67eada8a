package endtoend

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The window comes back as it was left, in size and view; a picture is saved beside
// the show by its key.
func TestComesBackAsItWas(t *testing.T) {
	d := newDisplay(t, "1400x900")
	dir := filepath.Join(t.TempDir(), "show")
	require.NoError(t, os.CopyFS(dir, os.DirFS(root+"/examples/umbrella")))
	w := open(t, d, dir, "--width", "1100", "--height", "720")
	w.wait("a show", func(s seen) bool { return s.State != "" })
	w.point(600, 300)
	w.key("t")
	w.key("g")
	w.wait("the light theme and the bare LEDs", func(s seen) bool { return s.Theme == "light" && s.View == "bare LEDs" })
	w.key("i")
	s := w.wait("a saved picture", func(s seen) bool { return strings.HasPrefix(s.Notice, "saved pictures/") })
	require.FileExists(t, filepath.Join(dir, strings.TrimPrefix(s.Notice, "saved ")))
	w.key("q")
	require.Zero(t, w.ended(), w.errs.String())

	w = open(t, d, dir)
	s = w.wait("what was left", func(s seen) bool { return s.State != "" && s.Theme == "light" && s.View == "bare LEDs" })
	require.Empty(t, s.Notice)
	geometry := d.run(t, "xdotool", "getwindowgeometry", "--shell", w.id)
	require.Contains(t, geometry, "WIDTH=1100")
	require.Contains(t, geometry, "HEIGHT=720")
	w.point(600, 300)
	w.key("q")
	require.Zero(t, w.ended(), w.errs.String())

	w = open(t, d, dir, "--forget")
	w.wait("a new window", func(s seen) bool { return s.State != "" && s.Theme == "dark" && s.View == "glass" })
}
