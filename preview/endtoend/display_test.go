package endtoend

import (
	"bufio"
	"bytes"
	"fmt"
	"image"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// root is the module's folder.
const root = "../.."

// need skips a test that lacks programs, saying which; with CI set it fails.
func need(t testing.TB, programs ...string) {
	t.Helper()
	packages := map[string]string{"Xvfb": "xvfb", "xdotool": "xdotool", "import": "imagemagick", "xprop": "x11-utils"}
	var lack []string
	for _, p := range programs {
		if _, err := exec.LookPath(p); err != nil {
			lack = append(lack, packages[p])
		}
	}
	if out, err := exec.Command(root + "/tools/preview-packages.sh").Output(); err != nil {
		lack = append(lack, strings.TrimSpace(string(out)))
	}
	if len(lack) == 0 {
		return
	}
	if os.Getenv("CI") != "" {
		t.Fatalf("the window's tests need %s", strings.Join(lack, " "))
	}
	t.Skipf("the window was not tried: install %s", strings.Join(lack, " "))
}

// display is a screen of its own.
type display struct {
	name   string  // as in DISPLAY
	scale  float64 // pixels in a logical pixel
	config string  // what windows on it remember: not what the person's own do
}

// newDisplay starts a screen of a size such as "1280x800" that ends with the test.
func newDisplay(t testing.TB, size string) *display {
	t.Helper()
	return fineDisplay(t, size, 1)
}

// fineDisplay starts a screen with so many pixels in a logical one, which the
// window learns from the desktop's dots per inch: 96 for each.
func fineDisplay(t testing.TB, size string, scale float64) *display {
	t.Helper()
	need(t, "Xvfb", "xdotool", "import", "xprop")
	r, w, err := os.Pipe()
	require.NoError(t, err)
	defer r.Close()
	// It picks a free number by itself and writes it to the pipe.
	cmd := exec.Command("Xvfb", "-displayfd", "3", "-screen", "0", size+"x24", "-noreset", "-nolisten", "tcp")
	cmd.ExtraFiles = []*os.File{w}
	var said heard
	cmd.Stderr = &said
	require.NoError(t, cmd.Start())
	w.Close()
	t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait()
	})
	got := make(chan string, 1)
	go func() {
		line, _ := bufio.NewReader(r).ReadString('\n')
		got <- strings.TrimSpace(line)
	}()
	select {
	case n := <-got:
		require.NotEmpty(t, n, "Xvfb did not start: %s", said.String())
		d := &display{name: ":" + n, scale: scale, config: t.TempDir()}
		if scale != 1 {
			// As desktops tell it, and for as long as -noreset keeps it.
			d.run(t, "xprop", "-root", "-f", "RESOURCE_MANAGER", "8s", "-set", "RESOURCE_MANAGER", fmt.Sprintf("Xft.dpi:\t%g\n", 96*scale))
		}
		return d
	case <-time.After(20 * time.Second):
		require.Fail(t, "Xvfb did not start", said.String())
		return nil
	}
}

// env is the environment of programs on this screen.
func (d *display) env() []string {
	var env []string
	for _, e := range os.Environ() {
		if !strings.HasPrefix(e, "DISPLAY=") && !strings.HasPrefix(e, "WAYLAND_DISPLAY=") {
			env = append(env, e)
		}
	}
	if d == nil {
		return env
	}
	return append(env, "DISPLAY="+d.name, "XDG_CONFIG_HOME="+d.config)
}

// run is a program's output on this screen.
func (d *display) run(t testing.TB, name string, args ...string) string {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Env = d.env()
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	require.NoError(t, err, "%s %v: %s", name, args, errs.String())
	return string(out)
}

// shot is a picture of the whole screen.
func (d *display) shot(t testing.TB) *image.NRGBA {
	t.Helper()
	file := filepath.Join(t.TempDir(), "shot.png")
	d.run(t, "import", "-window", "root", file)
	f, err := os.Open(file)
	require.NoError(t, err)
	defer f.Close()
	img, err := png.Decode(f)
	require.NoError(t, err)
	out := image.NewNRGBA(img.Bounds())
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			out.Set(x, y, img.At(x, y))
		}
	}
	return out
}

// built are programs that were built for these tests, by package.
var built = struct {
	sync.Mutex
	at map[string]string
	in string
}{at: map[string]string{}}

// build is the file of a command of this module.
func build(t testing.TB, pkg string) string {
	t.Helper()
	built.Lock()
	defer built.Unlock()
	if at, ok := built.at[pkg]; ok {
		return at
	}
	at := filepath.Join(built.in, filepath.Base(pkg))
	out, err := exec.Command("go", "build", "-o", at, pkg).CombinedOutput()
	require.NoError(t, err, string(out))
	built.at[pkg] = at
	return at
}

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "endtoend")
	if err != nil {
		panic(err)
	}
	built.in = dir
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}
