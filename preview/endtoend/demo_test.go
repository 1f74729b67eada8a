package endtoend

import (
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/examples"
)

// demo is a copy of the demo that a test may change.
func demo(t testing.TB) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "cabinet")
	require.NoError(t, os.CopyFS(dir, examples.Umbrella()))
	// What is embedded is read-only.
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		return os.Chmod(path, 0o644)
	}))
	return dir
}

// opened is the window with a copy of the demo, proved and playing.
func opened(t testing.TB, flags ...string) (w *window, dir string) {
	t.Helper()
	return openedOn(t, newDisplay(t, "1280x800"), flags...)
}

func openedOn(t testing.TB, d *display, flags ...string) (w *window, dir string) {
	t.Helper()
	dir = demo(t)
	w = open(t, d, dir, flags...)
	w.wait("the show", func(s seen) bool { return s.State == "rest" && !s.Proving })
	w.point(1270, 790) // keys go to the window under the pointer
	return w, dir
}

// replace changes a file of the show as an editor does: beside, then renamed.
func replace(t testing.TB, path, old, with string) {
	t.Helper()
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, 1, bytes.Count(b, []byte(old)), "%q in %s", old, path)
	require.NoError(t, os.WriteFile(path+"~", bytes.Replace(b, []byte(old), []byte(with), 1), 0o644))
	require.NoError(t, os.Rename(path+"~", path))
}

// Every state is entered by its number and shows its clip, with its loads, inside
// its budget.
func TestStates(t *testing.T) {
	w, _ := opened(t)
	for i, c := range []struct {
		state string
		loads []string
	}{
		{"rest", []string{"fan"}}, {"wake", nil}, {"waiting", nil}, {"turning", []string{"carousel"}}, {"take", nil}, {"thanks", nil}, {"empty", nil}, {"fault", nil}, {"service", nil},
	} {
		w.key(string(rune('1' + i)))
		s := w.wait("state "+c.state, func(s seen) bool { return s.State == c.state })
		require.Equal(t, c.state, s.Clip, "a state of the demo has its clip's name")
		require.LessOrEqual(t, s.Current, s.Budget)
		require.Positive(t, s.Budget)
		if c.loads != nil {
			w.wait("running "+strings.Join(c.loads, " "), func(s seen) bool {
				for _, l := range c.loads {
					if !strings.Contains(strings.Join(s.Loads, " "), l) {
						return false
					}
				}
				return s.State == c.state
			})
		}
	}
	// And by a click.
	w.press("state.waiting")
	w.wait("state waiting", func(s seen) bool { return s.State == "waiting" })
	// The machine moves on by itself: thanks does not stay for ever.
	w.press("state.thanks")
	w.wait("state thanks", func(s seen) bool { return s.State == "thanks" })
	w.wait("a state after thanks", func(s seen) bool { return s.State != "thanks" })
	w.key("q")
	require.Zero(t, w.ended(), w.errs.String())
}

// The timeline stops where it is clicked, and moves frame by frame.
func TestScrub(t *testing.T) {
	w, _ := opened(t)
	s := w.wait("the timeline", func(s seen) bool { return s.Places["timeline"][2] > 0 })
	p := s.Places["timeline"]
	const frames = 480 // 12 s at 40 frames a second
	w.click(float64(p[0])+float64(p[2])/2, float64(p[1])+float64(p[3])/2, 1)
	s = w.wait("a frame in the middle", func(s seen) bool { return !s.Playing && s.Frame > frames/2-8 && s.Frame < frames/2+8 })
	w.key("Right")
	w.wait("the next frame", func(n seen) bool { return n.Frame == s.Frame+1 })
	w.key("Home")
	w.wait("the first frame", func(s seen) bool { return s.Frame == 0 })
	w.key("End")
	w.wait("the last frame", func(s seen) bool { return s.Frame == frames-1 })
	// Drawn: the white line of the playhead stands at the timeline's right end.
	w.next(8)
	img := w.on.shot(t)
	bright := func(x int) (n int) {
		for y := p[1] + 40; y < p[1]+p[3]-60; y += 7 {
			if c := img.NRGBAAt(x, y); min(c.R, c.G, c.B) > 225 {
				n++
			}
		}
		return n
	}
	most := 0
	for x := p[0] + p[2] - 8; x < p[0]+p[2]+2; x++ {
		most = max(most, bright(x))
	}
	require.Greater(t, most, 20, "a playhead at the end")
	w.drag(float64(p[0])+float64(p[2])*0.3, 200, float64(p[0])+float64(p[2])*0.75, 200)
	w.wait("three quarters", func(s seen) bool { return s.Frame > frames*3/4-8 && s.Frame < frames*3/4+8 })
	w.key("space")
	w.wait("playing", func(s seen) bool { return s.Playing })
}

// A control that is changed and saved changes its value in the file and nothing
// else; undo brings the old one back.
func TestControlIsSavedInPlace(t *testing.T) {
	w, dir := opened(t)
	file := filepath.Join(dir, "show.toml")
	before, err := os.ReadFile(file)
	require.NoError(t, err)
	s := w.wait("the control", func(s seen) bool { return s.Places["control.0.0.depth"][2] > 0 })
	p := s.Places["control.0.0.depth"]
	w.drag(float64(p[0])+float64(p[2])*0.4, float64(p[1])+9, float64(p[0])+float64(p[2])*0.8, float64(p[1])+9)
	w.wait("an edit, proved", func(s seen) bool { return s.Unsaved && !s.Proving })
	now, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(before), string(now), "nothing is written before it is saved")
	w.key("ctrl+s")
	w.wait("it saved", func(s seen) bool { return !s.Unsaved })
	now, err = os.ReadFile(file)
	require.NoError(t, err)
	a, b := strings.Split(string(before), "\n"), strings.Split(string(now), "\n")
	require.Equal(t, len(a), len(b))
	changed := 0
	for i := range a {
		if a[i] == b[i] {
			continue
		}
		changed++
		head, tail, ok := strings.Cut(a[i], "depth = 0.4")
		require.True(t, ok, a[i])
		require.True(t, strings.HasPrefix(b[i], head+"depth = 0.") && strings.HasSuffix(b[i], tail), "%s\n%s", a[i], b[i])
	}
	require.Equal(t, 1, changed, "one line")
	w.key("ctrl+z")
	w.wait("the edit taken back", func(s seen) bool { return s.Unsaved && !s.Proving })
	w.key("ctrl+s")
	w.wait("it saved", func(s seen) bool { return !s.Unsaved })
	now, err = os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(before), string(now))
}

// Numbers are typed into a control's field, with their unit; what is none is refused
// in words.
func TestNumbersAreTyped(t *testing.T) {
	w, dir := opened(t)
	field := func(text string) {
		w.press("control.0.0.depth.text")
		for range 6 {
			w.key("BackSpace")
		}
		w.write(text)
		w.key("Return")
	}
	field("0.75")
	w.wait("an edit, proved", func(s seen) bool { return s.Unsaved && !s.Proving })
	w.key("ctrl+s")
	w.wait("it saved", func(s seen) bool { return !s.Unsaved })
	b, err := os.ReadFile(filepath.Join(dir, "show.toml"))
	require.NoError(t, err)
	require.Contains(t, string(b), "depth = 0.75,")
	field("many")
	time.Sleep(300 * time.Millisecond)
	b, err = os.ReadFile(filepath.Join(dir, "show.toml"))
	require.NoError(t, err)
	require.Contains(t, string(b), "depth = 0.75,")
	s := w.next(12)
	require.Truef(t, !s.Unsaved || len(s.Findings) > 0 || s.Notice != "", "a word where a number is wanted is told: %+v", s)
	// Letters that are commands elsewhere were text here.
	require.Equal(t, "glass", s.View)
	require.Equal(t, "dark", s.Theme)
}

// On a screen with two pixels in a logical one, places are where the state file
// says, in logical pixels, and the glass is drawn as fine as the screen is.
func TestFineScreen(t *testing.T) {
	d := fineDisplay(t, "2560x1600", 2)
	w, dir := openedOn(t, d)
	w.press("state.waiting")
	w.wait("state waiting", func(s seen) bool { return s.State == "waiting" })
	w.press("state.rest")
	w.wait("state rest", func(s seen) bool { return s.State == "rest" })
	glassAgainstRender(t, w, dir)
}

// A script that breaks is told at its line while the last good show goes on; when it
// is mended, the picture of the new one comes.
func TestBrokenScriptIsToldAndMended(t *testing.T) {
	w, dir := opened(t)
	script := filepath.Join(dir, "rise.star")
	replace(t, script, "def light(at, now):", "def light(at, now)")
	s := w.wait("the error", func(s seen) bool { return s.finds("rise.star:") })
	from := s.Frames
	w.wait("the good show going on", func(s seen) bool { return s.Frames > from+30 && s.State == "rest" && s.Playing })
	replace(t, script, "def light(at, now)", "def light(at, now):")
	w.wait("no error", func(s seen) bool { return !s.finds("rise.star:") && !s.Proving })
}

// What was not saved is not lost by one key.
func TestQuitAsksForUnsaved(t *testing.T) {
	w, _ := opened(t)
	p := w.wait("the control", func(s seen) bool { return s.Places["control.0.0.depth"][2] > 0 }).Places["control.0.0.depth"]
	w.drag(float64(p[0])+float64(p[2])*0.4, float64(p[1])+9, float64(p[0])+float64(p[2])*0.7, float64(p[1])+9)
	w.wait("an edit", func(s seen) bool { return s.Unsaved })
	w.key("q")
	w.wait("the question", func(s seen) bool { return strings.Contains(s.Notice, "not saved") })
	w.key("q")
	require.Zero(t, w.ended(), w.errs.String())
}
