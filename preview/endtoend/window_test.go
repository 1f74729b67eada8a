package endtoend

import (
	"encoding/json"
	"fmt"
	"image"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// window is the built command, opened on a display and driven there.
type window struct {
	t      testing.TB
	on     *display
	cmd    *exec.Cmd
	errs   heard
	out    heard
	state  string
	done   chan error
	id     string      // X's
	x0, y0 int         // its corner on the screen
	at     image.Point // of the pointer on the screen
	begun  time.Time
}

// seen is what the state file tells that tests ask for.
type seen struct {
	State   string   `json:"state"`
	Clip    string   `json:"clip"`
	Frame   int      `json:"frame"`
	Frames  int      `json:"frames"`
	Playing bool     `json:"playing"`
	Current int64    `json:"current_mA"`
	Budget  int64    `json:"budget_mA"`
	Loads   []string `json:"loads"`
	View    string   `json:"view"`
	Theme   string   `json:"theme"`
	Depth   float64  `json:"depth_mm"`
	Unsaved bool     `json:"unsaved"`
	Proving bool     `json:"proving"`
	Proof   float64  `json:"proof_ms"`
	Notice  string   `json:"notice"`
	Layout  *struct {
		Strip   string   `json:"strip"`
		Photo   string   `json:"photo"`
		Marks   int      `json:"marks"`
		Marking int      `json:"marking"`
		Reading string   `json:"reading"`
		Scale   float64  `json:"screen_per_mm"`
		Fits    bool     `json:"fits"`
		Found   []string `json:"found"`
	} `json:"layout"`
	Places   map[string][4]int `json:"places"`
	Findings []struct {
		Code    string `json:"code"`
		Where   string `json:"where"`
		Message string `json:"message"`
		Fix     string `json:"fix"`
	} `json:"findings"`
}

// finds tells that something was found at a place, such as "rise.star:".
func (s *seen) finds(where string) bool {
	for i := range s.Findings {
		if strings.Contains(s.Findings[i].Where, where) {
			return true
		}
	}
	return false
}

// open starts the window with a show. It ends with the test, if not before.
func open(t testing.TB, on *display, show string, flags ...string) *window {
	t.Helper()
	w := &window{t: t, on: on, state: filepath.Join(t.TempDir(), "state.json"), done: make(chan error, 1)}
	// From the folder above, so that messages name places shortly.
	w.cmd = exec.Command(build(t, "paneglow/cmd/paneglow-preview"), append([]string{filepath.Base(show), "--state", w.state}, flags...)...)
	w.cmd.Dir = filepath.Dir(show)
	w.cmd.Env = on.env()
	w.cmd.Stdout, w.cmd.Stderr = &w.out, &w.errs
	w.begun = time.Now()
	require.NoError(t, w.cmd.Start())
	go func() { w.done <- w.cmd.Wait() }()
	t.Cleanup(func() {
		w.cmd.Process.Kill()
		<-w.done
	})
	w.find()
	return w
}

// find waits until the window is on the screen.
func (w *window) find() {
	w.t.Helper()
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		w.alive()
		cmd := exec.Command("xdotool", "search", "--onlyvisible", "--class", "Paneglow")
		cmd.Env = w.on.env()
		if out, err := cmd.Output(); err == nil {
			if ids := strings.Fields(string(out)); len(ids) > 0 {
				w.id = ids[len(ids)-1]
				break
			}
		}
		if time.Now().After(deadline) {
			require.Fail(w.t, "no window came up", w.errs.String())
		}
	}
	fields := strings.Fields(strings.NewReplacer("X=", "", "Y=", "", "SCREEN=", "").Replace(w.on.run(w.t, "xdotool", "getwindowgeometry", "--shell", w.id)))
	// WINDOW=id X=0 Y=0 WIDTH=... HEIGHT=... SCREEN=0
	require.GreaterOrEqual(w.t, len(fields), 3)
	_, err := fmt.Sscan(fields[1], &w.x0)
	require.NoError(w.t, err)
	_, err = fmt.Sscan(fields[2], &w.y0)
	require.NoError(w.t, err)
}

// alive fails the test when the window has ended.
func (w *window) alive() {
	w.t.Helper()
	select {
	case err := <-w.done:
		w.done <- err
		require.Fail(w.t, "the window ended", "%v\n%s", err, w.errs.String())
	default:
	}
}

// look is the state as it was last written.
func (w *window) look() (s seen, ok bool) {
	b, err := os.ReadFile(w.state)
	if err != nil {
		return s, false
	}
	require.NoError(w.t, json.Unmarshal(b, &s), "the state file is whole at all times: %s", b)
	return s, true
}

// wait waits until the state is as wanted, and returns it.
func (w *window) wait(what string, is func(s seen) bool) seen {
	w.t.Helper()
	var s seen
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(15 * time.Millisecond) {
		w.alive()
		if got, ok := w.look(); ok {
			if s = got; is(s) {
				return s
			}
		}
		if time.Now().After(deadline) {
			require.Fail(w.t, "the window never showed: "+what, "last: %+v", s)
		}
	}
}

// next waits until the window has drawn frames more than it had.
func (w *window) next(frames int) seen {
	w.t.Helper()
	from, _ := w.look()
	return w.wait("more frames", func(s seen) bool { return s.Frames >= from.Frames+frames })
}

// do runs xdotool.
func (w *window) do(args ...string) {
	w.t.Helper()
	w.on.run(w.t, "xdotool", args...)
}

// point moves the pointer to a place in the window, in logical pixels.
func (w *window) point(x, y float64) {
	w.t.Helper()
	at := image.Pt(w.x0+int(math.Round(x*w.on.scale)), w.y0+int(math.Round(y*w.on.scale)))
	if at == w.at {
		return // --sync would wait for a move that does not come
	}
	w.at = at
	w.do("mousemove", "--sync", fmt.Sprint(at.X), fmt.Sprint(at.Y))
}

// settle waits until the window has seen what was done. It looks at the pointer and
// the keys at every tick, so what goes down and up between two of them never was;
// and a loaded machine makes its ticks late. The state file comes every six ticks:
// after two more of it, at least seven have passed. A window that ends has seen it.
func (w *window) settle() {
	w.t.Helper()
	from, ok := w.look()
	if !ok {
		time.Sleep(200 * time.Millisecond)
		return
	}
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		select {
		case err := <-w.done:
			w.done <- err
			return
		default:
		}
		if now, _ := w.look(); now.Frames >= from.Frames+12 {
			return
		}
		if time.Now().After(deadline) {
			require.Fail(w.t, "the window stands still", w.errs.String())
		}
	}
}

// click presses a button at a place: 1 left, 3 right, 4 and 5 the wheel up and down.
func (w *window) click(x, y float64, button int) {
	w.t.Helper()
	w.point(x, y)
	w.settle()
	w.do("mousedown", fmt.Sprint(button))
	w.settle()
	w.do("mouseup", fmt.Sprint(button))
	w.settle()
}

// drag goes from one place to another with the left button held.
func (w *window) drag(x0, y0, x1, y1 float64) {
	w.t.Helper()
	w.point(x0, y0)
	w.settle()
	w.do("mousedown", "1")
	w.settle()
	for i := 1; i <= 4; i++ {
		k := float64(i) / 4
		w.point(x0+(x1-x0)*k, y0+(y1-y0)*k)
		w.settle()
	}
	w.do("mouseup", "1")
	w.settle()
}

// key strikes a key by X's name for it, such as "space", "ctrl+s", "Left".
func (w *window) key(name string) {
	w.t.Helper()
	// Keys go to the window under the pointer: there is no window manager.
	parts := strings.Split(name, "+")
	for _, p := range parts {
		w.do("keydown", p)
	}
	w.settle()
	for i := range parts {
		w.do("keyup", parts[len(parts)-1-i])
	}
	w.settle()
}

// write types a text.
func (w *window) write(text string) {
	w.t.Helper()
	for _, r := range text {
		w.do("type", string(r))
		time.Sleep(40 * time.Millisecond)
	}
}

// place is the middle of a widget, by its name in the state file.
func (w *window) place(name string) (x, y float64) {
	w.t.Helper()
	s := w.wait("a place for "+name, func(s seen) bool { return s.Places[name][2] > 0 })
	p := s.Places[name]
	return float64(p[0]) + float64(p[2])/2, float64(p[1]) + float64(p[3])/2
}

// press clicks on a widget by its name.
func (w *window) press(name string) {
	w.t.Helper()
	x, y := w.place(name)
	w.click(x, y, 1)
}

// ended waits for the window's end and gives its exit code.
func (w *window) ended() int {
	w.t.Helper()
	select {
	case err := <-w.done:
		w.done <- err
		return w.cmd.ProcessState.ExitCode()
	case <-time.After(20 * time.Second):
		require.Fail(w.t, "the window did not end")
		return -1
	}
}
