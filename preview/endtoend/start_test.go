package endtoend

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Without a display there is one error and its remedy, whatever is wrong with the
// display, and no trace. This holds the order of initialisation that
// preview/view/display speaks of.
func TestNoDisplay(t *testing.T) {
	need(t)
	window := build(t, "paneglow/cmd/paneglow-preview")
	for _, c := range []struct{ set, says string }{
		{"", "DISPLAY is not set"},
		{"DISPLAY=", "DISPLAY is not set"},
		{"DISPLAY=:4095", "no X server answers at DISPLAY :4095"},
		{"DISPLAY=nowhere.invalid:0", "no X server answers at DISPLAY nowhere.invalid:0"},
		{"WAYLAND_DISPLAY=wayland-0", "DISPLAY is not set"},
	} {
		cmd := exec.Command(window, "show.toml")
		var none *display
		cmd.Env = none.env()
		if c.set != "" {
			cmd.Env = append(cmd.Env, c.set)
		}
		var out, errs bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &errs
		err := cmd.Run()
		var exit *exec.ExitError
		require.ErrorAs(t, err, &exit, c.set)
		require.Equal(t, 1, exit.ExitCode(), c.set)
		lines := strings.Split(strings.TrimSpace(errs.String()), "\n")
		require.Len(t, lines, 2, "%s: %s", c.set, errs.String())
		require.Equal(t, "error: there is no display to open the window on: "+c.says, lines[0])
		require.True(t, strings.HasPrefix(lines[1], "  fix: "), lines[1])
		require.Empty(t, out.String())
	}
}

// The tests of the view run inside a window, on a display.
func TestView(t *testing.T) {
	d := newDisplay(t, "1280x800")
	at := filepath.Join(t.TempDir(), "view.test")
	out, err := exec.Command("go", "test", "-tags", "display", "-c", "-o", at, "paneglow/preview/view").CombinedOutput()
	require.NoError(t, err, string(out))
	cmd := exec.Command(at, "-test.v", "-test.timeout", "5m")
	cmd.Dir = root + "/preview/view"
	cmd.Env = append(d.env(), "PICTURES="+os.Getenv("PICTURES"))
	out, err = cmd.CombinedOutput()
	t.Log(string(out))
	require.NoError(t, err)
	require.Contains(t, string(out), "--- PASS: TestGlassEqualsItsTwin")
	require.NotContains(t, string(out), "--- SKIP")
}
