package model

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/pelletier/go-toml/v2"
)

// kept is what a window remembers of the last one: TOML, one file for all shows.
type kept struct {
	Width    int    `toml:"width"` // logical pixels; 0: not known
	Height   int    `toml:"height"`
	View     string `toml:"view"` // glass, bare LEDs or drive
	Theme    string `toml:"theme"`
	Numbers  bool   `toml:"numbers_and_feeds"`
	Adapted  bool   `toml:"eye_adapted"`
	Animated string `toml:"animated"` // how clips are saved: APNG or GIF
}

// Sizes in logical pixels that a window may be opened with again.
const leastKept, mostKept = 320, 16384

// memory keeps the file.
type memory struct {
	path  string // "": nothing is remembered
	disk  kept   // as read or written last
	fresh kept   // newest, not written yet
	since float64
}

// patience is how long a change must stand, in seconds, before it is written: a
// window that is being dragged changes its size at every frame.
const patience = 1.0

// MemoryFile is where the command keeps what the window remembers.
func MemoryFile() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(dir, "paneglow", "window.toml"), nil
}

// readKept reads the file. What is missing in it is the default; a file that is
// not there is all defaults, and no error.
func readKept(path string) (k kept, err error) {
	b, err := os.ReadFile(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return kept{}, nil
	case err != nil:
		return kept{}, err
	}
	if err := toml.NewDecoder(bytes.NewReader(b)).Decode(&k); err != nil {
		var at *toml.DecodeError
		if errors.As(err, &at) {
			row, column := at.Position()
			return kept{}, fmt.Errorf("line %d, column %d cannot be read", row, column)
		}
		return kept{}, err
	}
	return k, k.check()
}

func (k *kept) check() error {
	ok := func(v int) bool { return v == 0 || v >= leastKept && v <= mostKept }
	switch {
	case !ok(k.Width) || !ok(k.Height):
		return fmt.Errorf("a window of %d x %d is outside %d to %d", k.Width, k.Height, leastKept, mostKept)
	case k.View != "" && index(viewNames[:], k.View) < 0:
		return fmt.Errorf("no view %q", k.View)
	case k.Theme != "" && k.Theme != Dark.Name && k.Theme != LightTheme.Name:
		return fmt.Errorf("no theme %q", k.Theme)
	case k.Animated != "" && index(filmNames[:], k.Animated) < 0:
		return fmt.Errorf("no kind of animation %q", k.Animated)
	}
	return nil
}

func index(names []string, name string) int {
	for i := range names {
		if names[i] == name {
			return i
		}
	}
	return -1
}

// recall sets the window up as it was left. A damaged file is told and is the
// defaults.
func (m *Model) recall() {
	m.memory.path = m.o.Memory
	if m.memory.path == "" {
		return
	}
	k, err := readKept(m.memory.path)
	if err != nil {
		m.notice = fmt.Sprintf("the window opens as new, what it remembered is damaged: %v (%s)", err, m.memory.path)
		k = kept{}
	}
	m.memory.disk = k
	m.view = View(max(0, index(viewNames[:], k.View)))
	m.saver.film = Film(max(0, index(filmNames[:], k.Animated)))
	m.outlines, m.adapted = k.Numbers, k.Adapted
	if k.Theme == LightTheme.Name {
		m.theme = LightTheme
	}
	m.memory.fresh = m.standing()
}

// Size is the remembered size of the window in logical pixels; 0, 0 when none is.
func (m *Model) Size() (w, h int) { return m.memory.disk.Width, m.memory.disk.Height }

// standing is what would be remembered now.
func (m *Model) standing() kept {
	k := kept{
		Width: int(m.ui.in.W), Height: int(m.ui.in.H), View: viewNames[m.view], Theme: m.theme.Name,
		Numbers: m.outlines, Adapted: m.adapted, Animated: filmNames[m.saver.film],
	}
	if k.Width < leastKept || k.Height < leastKept {
		k.Width, k.Height = m.memory.disk.Width, m.memory.disk.Height
	}
	return k
}

// remember writes what has changed once it has stood for a while.
func (m *Model) remember() {
	if m.memory.path == "" {
		return
	}
	if k := m.standing(); k != m.memory.fresh {
		m.memory.fresh, m.memory.since = k, m.lastTime
		return
	}
	if m.memory.fresh == m.memory.disk || m.lastTime-m.memory.since < patience {
		return
	}
	if err := m.memory.write(); err != nil {
		m.notice = fmt.Sprintf("how the window stands cannot be remembered: %v", err)
		m.memory.path = "" // told once
	}
}

// write writes beside and renames.
func (y *memory) write() error {
	b, err := toml.Marshal(y.fresh)
	if err != nil {
		return err
	}
	dir := filepath.Dir(y.path)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	f, err := os.CreateTemp(dir, "."+filepath.Base(y.path)+"-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(b)
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Chmod(f.Name(), 0o644)
	}
	if err == nil {
		err = os.Rename(f.Name(), y.path)
	}
	if err == nil {
		y.disk = y.fresh
	}
	return err
}
