package paneglow_test

import (
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// deps lists what packages import, directly or not, tests aside.
func deps(t *testing.T, patterns ...string) []string {
	t.Helper()
	out, err := exec.Command("go", append([]string{"list", "-deps"}, patterns...)...).Output()
	require.NoError(t, err, "go list %v", patterns)
	return strings.Fields(string(out))
}

// Imports run against the data: light knows no codes, codes know no window and
// no port, and only the commands wire them.
func TestArrows(t *testing.T) {
	for _, c := range []struct {
		from   []string
		never  []string
		except string
	}{
		{from: []string{"./anim/..."}, never: []string{"paneglow/render", "paneglow/preview", "paneglow/controller", "paneglow/cmd"}},
		{from: []string{"./render/..."}, never: []string{"paneglow/preview", "paneglow/controller", "paneglow/cmd"}},
		{from: []string{"./controller/..."}, never: []string{"paneglow/preview", "paneglow/anim/script", "paneglow/cmd"}},
		{from: []string{"./preview/..."}, never: []string{"paneglow/controller", "paneglow/cmd"}},
		{from: []string{"./anim/...", "./render/...", "./cmd/paneglow", "./preview/model", "./preview/endtoend"}, never: []string{"github.com/hajimehoshi/ebiten"}},
		{from: []string{"./anim/...", "./render/...", "./preview/..."}, never: []string{"go.bug.st/serial"}},
		{from: []string{"./patterns", "./examples"}, never: []string{"paneglow/"}, except: "paneglow/patterns paneglow/examples"},
	} {
		found := deps(t, c.from...)
		require.NotEmpty(t, found)
		for _, d := range found {
			for _, n := range c.never {
				if strings.HasPrefix(d, n) && !strings.Contains(" "+c.except+" ", " "+d+" ") {
					t.Errorf("%v reaches %s", c.from, d)
				}
			}
		}
	}
}

// Ebiten stays in the window's thin side and in its command.
func TestEbitenStaysInTheView(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", "{{.ImportPath}} {{join .Deps \" \"}}", "./...").Output()
	require.NoError(t, err)
	for line := range strings.Lines(string(out)) {
		path, reached, _ := strings.Cut(line, " ")
		if path == "paneglow/cmd/paneglow-preview" || path == "paneglow/preview/view" || strings.HasPrefix(path, "paneglow/preview/view/") {
			continue
		}
		require.NotContains(t, reached, "github.com/hajimehoshi/ebiten", path)
	}
}

// The command line is pure Go: it builds with cgo off, and nothing of it has C
// files even when cgo is on.
func TestPureGo(t *testing.T) {
	cmd := exec.Command("go", "build", "-o", t.TempDir()+"/paneglow", "./cmd/paneglow")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	out, err = exec.Command("go", "list", "-deps", "-f", "{{if and .CgoFiles (not .Standard)}}{{.ImportPath}}{{end}}", "./cmd/paneglow").CombinedOutput()
	require.NoError(t, err, string(out))
	require.Empty(t, strings.TrimSpace(string(out)), "packages with cgo")
}
