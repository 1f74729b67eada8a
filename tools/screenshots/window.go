package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// window is the built window on a screen.
type window struct {
	on          *screen
	program     *exec.Cmd
	state, show string
	said        bytes.Buffer // to standard error
}

// report is what the window's state file tells.
type report struct {
	State    string            `json:"state"`
	View     string            `json:"view"`
	Frame    int               `json:"frame"`
	Frames   int               `json:"frames"`
	Playing  bool              `json:"playing"`
	Proving  bool              `json:"proving"`
	Places   map[string][4]int `json:"places"`
	Findings []struct {
		Severity string `json:"severity"`
	} `json:"findings"`
}

func (w *window) end() {
	w.program.Process.Kill()
	w.program.Wait()
}

// look is the newest report.
func (w *window) look() (r report, err error) {
	b, err := os.ReadFile(w.state)
	if err == nil {
		err = json.Unmarshal(b, &r)
	}
	return r, err
}

func (w *window) wait(what string, is func(r report) bool) error {
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if r, err := w.look(); err == nil && is(r) {
			return nil
		}
	}
	return fmt.Errorf("the window never showed %s", what)
}

func (w *window) do(args ...string) error {
	_, err := w.on.run("xdotool", args...)
	return err
}

// settle waits until the window has drawn, and reported, what happened.
func (w *window) settle() error {
	from, err := w.look()
	if err != nil {
		return err
	}
	return w.wait("more frames", func(r report) bool { return r.Frames > from.Frames+12 && !r.Proving })
}

// all does one thing after the other until one fails.
func (w *window) all(steps ...func() error) error {
	for _, f := range steps {
		if err := f(); err != nil {
			return err
		}
	}
	return w.settle()
}

// press clicks a widget by its name.
func (w *window) press(name string) func() error {
	return func() error {
		if err := w.wait("widget "+name, func(r report) bool { return r.Places[name][2] > 0 }); err != nil {
			return err
		}
		r, err := w.look()
		if err != nil {
			return err
		}
		p := r.Places[name]
		return w.click(p[0]+p[2]/2, p[1]+p[3]/2)
	}
}

func (w *window) click(x, y int) error {
	for _, a := range [][]string{{"mousemove", "--sync", fmt.Sprint(x), fmt.Sprint(y)}, {"mousedown", "1"}, {"mouseup", "1"}} {
		if err := w.do(a...); err != nil {
			return err
		}
		time.Sleep(80 * time.Millisecond) // a tick of the window sees each
	}
	return w.settle()
}

// key strikes a key by X's name for it.
func (w *window) key(name string) func() error {
	return func() error {
		parts := strings.Split(name, "+")
		for _, p := range parts {
			if err := w.do("keydown", p); err != nil {
				return err
			}
		}
		time.Sleep(80 * time.Millisecond)
		for i := range parts {
			if err := w.do("keyup", parts[len(parts)-1-i]); err != nil {
				return err
			}
		}
		return w.settle()
	}
}

// pause lets the machine go on for some milliseconds.
func (w *window) pause(ms int) func() error {
	return func() error { time.Sleep(time.Duration(ms) * time.Millisecond); return nil }
}

// still stops the clip at a frame, so that the picture is the same every time.
func (w *window) still(frame int) func() error {
	return func() error {
		if err := w.all(w.key("Home"), w.wanted("the first frame", func(r report) bool { return !r.Playing && r.Frame == 0 })); err != nil {
			return err
		}
		for f := 0; f+10 <= frame; f += 10 {
			if err := w.key("shift+Right")(); err != nil {
				return err
			}
		}
		for range frame % 10 {
			if err := w.key("Right")(); err != nil {
				return err
			}
		}
		return w.wait(fmt.Sprintf("frame %d", frame), func(r report) bool { return r.Frame == frame })
	}
}

func (w *window) wanted(what string, is func(r report) bool) func() error {
	return func() error { return w.wait(what, is) }
}

// until waits for a state or a view.
func (w *window) until(kind, name string) func() error {
	return w.wanted(kind+" "+name, func(r report) bool { return kind == "state" && r.State == name || kind == "view" && r.View == name })
}

// openColor opens the first color among the controls.
func (w *window) openColor() func() error {
	return func() error {
		r, err := w.look()
		if err != nil {
			return err
		}
		first := ""
		for name, p := range r.Places {
			// A color's patch, by its shape: the other controls have others.
			if strings.HasPrefix(name, "control.") && p[2] == 110 && p[3] == 26 && (first == "" || p[1] < r.Places[first][1]) {
				first = name
			}
		}
		if first == "" {
			return errors.New("no control is a color")
		}
		if err := w.press(first)(); err != nil {
			return err
		}
		return w.wait("the picker", func(r report) bool { return r.Places[first+".plane"][2] > 0 })
	}
}

// spoil writes a mistake into the show, as an editor would.
func (w *window) spoil() func() error {
	return func() error {
		file := filepath.Join(w.show, "show.toml")
		b, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		out := bytes.Replace(b, []byte("crossfade"), []byte("crosfade"), 1)
		if bytes.Equal(out, b) {
			return errors.New("the show has no crossfade to misspell")
		}
		return os.WriteFile(file, out, 0o644)
	}
}

// told waits for an error among the findings.
func (w *window) told() func() error {
	return w.wanted("an error", func(r report) bool {
		for _, f := range r.Findings {
			if f.Severity == "error" {
				return true
			}
		}
		return false
	})
}

// park takes the pointer to where it lights nothing up.
func (w *window) park() error {
	if err := w.do("mousemove", "1", "1"); err != nil {
		return err
	}
	return w.settle()
}
