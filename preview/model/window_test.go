package model

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// window is a model on a copy of the demo, with a hand that moves and types.
type window struct {
	*Model
	t   testing.TB
	dir string
	in  Input
}

func openDemo(t testing.TB, p Prover) *window { return openWith(t, p, func(string) {}) }

// openWith opens the demo after its files were changed.
func openWith(t testing.TB, p Prover, change func(dir string)) *window {
	return openFiles(t, demoFiles(), p, change)
}

func openFiles(t testing.TB, files fs.FS, p Prover, change func(dir string)) *window {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, fs.WalkDir(files, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(files, path)
		if err != nil {
			return err
		}
		to := filepath.Join(dir, path)
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return err
		}
		return os.WriteFile(to, b, 0o644)
	}))
	change(dir)
	m, err := New(Options{Show: filepath.Join(dir, "show.toml"), StateFile: filepath.Join(dir, "state.json")}, p)
	require.NoError(t, err)
	w := &window{Model: m, t: t, dir: dir, in: Input{W: 1280, H: 800}}
	w.settle()
	return w
}

// tick lets a time go by in frames of 1/60 s.
func (w *window) tick(seconds float64) {
	for n := int(seconds*60 + 0.5); n > 0; n-- {
		w.frame1()
	}
}

func (w *window) frame1() {
	w.in.Seconds += 1.0 / 60
	w.update()
}

// update lets no time go by: while something works in the background, the machine
// stands where it is, however slow the computer.
func (w *window) update() {
	w.Update(w.in)
	w.in.Keys, w.in.Typed, w.in.Pressed, w.in.Released, w.in.Wheel = nil, nil, false, false, 0
}

// settle waits for all proofs.
func (w *window) settle() {
	for range 12000 {
		w.update()
		if !w.busy {
			w.frame1()
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	w.t.Fatal("the proof never ended")
}

func (w *window) key(k ...Key) {
	w.in.Keys = k
	w.frame1()
}

// click presses a widget by its name, as a person does.
func (w *window) click(id string) {
	p, ok := w.places[id]
	require.True(w.t, ok, "no widget %s; there are %v", id, w.order)
	w.in.X, w.in.Y = float64(p[0])+float64(p[2])/2, float64(p[1])+float64(p[3])/2
	w.in.Pressed, w.in.Down = true, true
	w.frame1()
	w.in.Down, w.in.Released = false, true
	w.frame1()
}

// drag holds a widget at one place and lets it go at another, as shares of it.
func (w *window) drag(id string, from, to float64) {
	p, ok := w.places[id]
	require.True(w.t, ok, "no widget %s", id)
	at := func(k float64) {
		w.in.X, w.in.Y = float64(p[0])+k*float64(p[2]), float64(p[1])+float64(p[3])/2
	}
	at(from)
	w.in.Pressed, w.in.Down = true, true
	w.frame1()
	at((from + to) / 2)
	w.frame1()
	at(to)
	w.frame1()
	w.in.Down, w.in.Released = false, true
	w.frame1()
}

// says that some text of the picture holds words.
func (w *window) says(words string) bool {
	var all []string
	for _, o := range w.Draw().Ops {
		if o.Kind == Text {
			all = append(all, o.Text)
		}
	}
	return strings.Contains(strings.Join(all, " "), words)
}
