package model

import (
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/examples"
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

// Every state can be entered by its number, shows its own clip, and what is drawn
// fits the budget.
func TestStates(t *testing.T) {
	w := openDemo(t, plainProver{})
	require.Equal(t, "rest", w.State())
	for i := range w.run.table.States {
		w.key(Key(string(rune('1' + i))))
		w.tick(1.5)
		require.Equal(t, w.stage.Table.States[i].Name, w.State())
		require.LessOrEqual(t, w.run.last.Current, w.run.last.Budget)
		require.True(t, w.says("controls of clip "+w.clipName()))
	}
}

// Entering a state that needs a motor asks for it; it runs once granted, and the
// light makes room.
func TestLoads(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.tick(1) // the budget climbs after a start
	before := w.run.last.Budget
	w.click("state.turning")
	w.tick(1)
	require.Contains(t, w.Report().Running, "carousel")
	require.Less(t, w.run.last.Budget, before)
	require.True(t, w.says("carousel runs"))
	w.click("load.carousel")
	w.tick(1)
	require.NotContains(t, w.Report().Running, "carousel")
	require.True(t, w.says("carousel off"))
}

// The longest stay leads on by itself, as the controller will.
func TestLongestStay(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.click("state.wake")
	stay := float64(w.run.table.States[w.run.last.State].AtMost) / 1000
	require.Greater(t, stay, 0.0)
	w.tick(stay + 2)
	require.NotEqual(t, "wake", w.State())
}

// Dragging over the timeline stops and shows that frame; space goes on; arrows
// step.
func TestScrub(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.drag("timeline", 0.2, 0.5)
	require.False(t, w.playing)
	lap := w.lap()
	require.InDelta(t, len(lap.Frames)/2, w.frame(), 3)
	require.Equal(t, lap.Frames[w.frame()], w.codes())
	at := w.frame()
	w.key("right")
	require.Equal(t, at+1, w.frame())
	w.key("home")
	require.Zero(t, w.frame())
	w.key("space")
	require.True(t, w.playing)
}

// b goes from one frame where the cap bites to the next.
func TestNextBite(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.click("state.turning")
	w.tick(0.5)
	require.True(t, w.says("cap bites in"))
	w.key("b")
	require.False(t, w.playing)
	require.Contains(t, w.notice, "wants")
	require.Greater(t, w.lap().Wanted[w.frame()], w.lap().Current[w.frame()])
}

// A control that is moved changes the show's text in that value alone, is proved,
// saved, and can be taken back.
func TestControls(t *testing.T) {
	w := openDemo(t, plainProver{})
	old := string(w.doc.now)
	id := ""
	for _, o := range w.order {
		if strings.HasPrefix(o, "control.") && !strings.Contains(o, ".text") && strings.HasSuffix(o, ".depth") {
			id = o
		}
	}
	require.NotEmpty(t, id, "%v", w.order)
	w.drag(id, 0.2, 0.7)
	w.settle()
	require.NotEqual(t, old, string(w.doc.now))
	require.Equal(t, 1, differentLines(old, string(w.doc.now)), "one line is another")
	require.True(t, w.Report().Unsaved)
	onDisk, err := os.ReadFile(w.o.Show)
	require.NoError(t, err)
	require.Equal(t, old, string(onDisk), "not saved yet")
	w.in.Ctrl = true
	w.key("s")
	w.in.Ctrl = false
	onDisk, err = os.ReadFile(w.o.Show)
	require.NoError(t, err)
	require.Equal(t, string(w.doc.now), string(onDisk))
	w.in.Ctrl = true
	w.key("z")
	w.in.Ctrl = false
	w.settle()
	require.Equal(t, old, string(w.doc.now), "one drag is one step back")
	w.in.Ctrl = true
	w.key("y")
	w.in.Ctrl = false
	require.NotEqual(t, old, string(w.doc.now))
}

func differentLines(a, b string) int {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	if len(x) != len(y) {
		return -1
	}
	n := 0
	for i := range x {
		if x[i] != y[i] {
			n++
		}
	}
	return n
}

// The picker writes OKLCH, tells milliamps, and closes again.
func TestPicker(t *testing.T) {
	w := openDemo(t, plainProver{})
	id := ""
	for _, o := range w.order {
		if strings.HasPrefix(o, "control.") && strings.HasSuffix(o, ".low") {
			id = o
		}
	}
	require.NotEmpty(t, id)
	w.click(id)
	w.frame1()
	require.True(t, w.says("one pixel draws"))
	w.drag(id+".plane", 0.3, 0.4)
	w.settle()
	require.Contains(t, string(w.doc.now), `low = "oklch(50.0% 0.1`)
	w.key("escape")
	w.frame1()
	require.False(t, w.says("one pixel draws"))
}

// A broken file leaves the last good show on, tells where, and mends.
func TestBrokenFile(t *testing.T) {
	w := openDemo(t, plainProver{})
	good, err := os.ReadFile(w.o.Show)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(w.o.Show, []byte(strings.Replace(string(good), `fps = 40`, `fps = "many"`, 1)), 0o644))
	w.FilesChanged()
	w.settle()
	require.True(t, w.says("the last good show goes on"))
	require.True(t, w.says("show.toml:"))
	require.Equal(t, "rest", w.State())
	require.NoError(t, os.WriteFile(w.o.Show, good, 0o644))
	w.FilesChanged()
	w.settle()
	require.Nil(t, w.told)
}

// An edit outside while there are edits here is told, and neither is lost.
func TestOutsideEdit(t *testing.T) {
	for _, keep := range []string{"outside.mine", "outside.theirs"} {
		w := openDemo(t, plainProver{})
		mine := strings.Replace(string(w.doc.now), "fps = 40", "fps = 20", 1)
		w.doc.change([]byte(mine))
		theirs := strings.Replace(string(w.doc.disk), "fps = 40", "fps = 30", 1)
		require.NoError(t, os.WriteFile(w.o.Show, []byte(theirs), 0o644))
		w.save()
		w.frame1()
		require.True(t, w.says("changed outside"))
		onDisk, _ := os.ReadFile(w.o.Show)
		require.Equal(t, theirs, string(onDisk), "nothing was written over it")
		w.click(keep)
		w.settle()
		if keep == "outside.mine" {
			require.Equal(t, mine, string(w.doc.now))
			w.save()
			onDisk, _ = os.ReadFile(w.o.Show)
			require.Equal(t, mine, string(onDisk))
		} else {
			require.Equal(t, theirs, string(w.doc.now))
			w.undo()
			require.Equal(t, mine, string(w.doc.now))
		}
	}
}

// Room, depth and scatter are dragged live and shown; r brings the machine's back.
func TestGlassSettings(t *testing.T) {
	w := openDemo(t, plainProver{})
	require.NotNil(t, w.Light())
	was := w.panelDepth()
	w.drag("depth", 0.3, 0.8)
	require.Greater(t, w.panelDepth(), was+10)
	l := w.Light()
	require.NotNil(t, l)
	require.Len(t, l.Codes, 3*l.W*l.H)
	require.Greater(t, l.Exposure, float32(0))
	w.key("r")
	require.InDelta(t, was, w.panelDepth(), 1e-9)
	w.key("g")
	require.Nil(t, w.Light(), "no glass, no field")
}

// The keyboard alone reaches every widget and works a slider.
func TestKeyboardAlone(t *testing.T) {
	w := openDemo(t, plainProver{})
	seen := map[string]bool{}
	for range 4 * len(w.order) {
		w.key("tab")
		seen[w.focus] = true
	}
	for _, id := range w.order {
		require.True(t, seen[id], "%s was never reached", id)
	}
	for w.focus != "level" {
		w.key("tab")
	}
	w.key("left")
	require.Less(t, w.run.level, 1000)
}

// The state file is whole JSON at any time; quitting asks once where edits would
// be lost.
func TestStateFileAndQuit(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.tick(0.5)
	b, err := os.ReadFile(w.o.StateFile)
	require.NoError(t, err)
	var r Report
	require.NoError(t, json.Unmarshal(stripSeverities(b), &r))
	require.Equal(t, "rest", r.State)
	require.NotEmpty(t, r.Places)
	w.doc.change(append([]byte("# more\n"), w.doc.now...))
	w.key("q")
	require.False(t, w.quit)
	require.Contains(t, w.notice, "not saved")
	w.key("q")
	require.True(t, w.quit)
}

// Small windows and both themes: every text that is not clipped lies inside.
func TestFits(t *testing.T) {
	w := openDemo(t, plainProver{})
	for _, size := range [][2]float64{{1024, 700}, {1280, 800}, {1920, 1080}} {
		w.in.W, w.in.H = size[0], size[1]
		for i := range w.run.table.States {
			w.enter(i)
			w.tick(0.1)
			for _, o := range w.Draw().Ops {
				if o.Kind != Text || o.Clip != nil {
					continue
				}
				width := Measure(o.Text, o.Size, o.Bold)
				x := o.X
				switch o.Align {
				case Center:
					x -= width / 2
				case Right:
					x -= width
				}
				require.True(t, x >= -1 && x+width <= size[0]+1 && o.Y <= size[1], "%q at %.0f, %.0f of %v", o.Text, x, o.Y, size)
			}
		}
		w.key("t")
	}
}

// A panel that lies turns the timeline: time runs down, and dragging down it goes
// on in time.
func TestWidePanel(t *testing.T) {
	w := openFiles(t, examples.Starter(), plainProver{}, func(string) {})
	require.True(t, w.wide())
	p := w.places["timeline"]
	w.in.X, w.in.Y = float64(p[0]+20), float64(p[1])+0.25*float64(p[3])
	w.in.Pressed, w.in.Down = true, true
	w.frame1()
	require.InDelta(t, float64(len(w.lap().Frames))/4, w.frame(), 3)
	w.in.Y += 0.5 * float64(p[3])
	w.frame1()
	require.InDelta(t, 3*float64(len(w.lap().Frames))/4, w.frame(), 3)
	w.in.Down, w.in.Released = false, true
	w.frame1()
	require.True(t, w.says("current"))
	require.Contains(t, w.places, "scatter", "all of the glass can be dragged")
}

// A clip over the flash limit does not play by itself: its first frame, a
// warning, and a key.
func TestFlashesStandStill(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.stage.Flashes[w.stage.Table.States[4].Clip] = 4
	w.key("5")
	w.tick(1)
	require.False(t, w.playing)
	require.Zero(t, w.frame())
	require.True(t, w.says("can cause seizures"))
	w.key("p")
	w.tick(0.5)
	require.True(t, w.playing)
	require.NotZero(t, w.frame())
}

// A silent computer leads where the show says, as the controller will.
func TestSilentHost(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.click("state.service")
	w.tick(1)
	w.click("host")
	w.tick(7)
	require.Equal(t, "rest", w.State())
}

// A loop range plays its frames over and over, until x takes it away.
func TestLoopRange(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.in.Shift = true
	w.drag("timeline", 0.25, 0.5)
	w.in.Shift = false
	n := len(w.lap().Frames)
	require.InDelta(t, n/4, w.loopFrom, 4)
	require.InDelta(t, n/2, w.loopTo, 4)
	require.True(t, w.playing)
	seen := map[int]bool{}
	for range int(60 * (float64(n)/160 + 1)) { // longer than the range lasts
		w.frame1()
		f := w.frame()
		require.True(t, f >= w.loopFrom && f <= w.loopTo, "frame %d of %d to %d", f, w.loopFrom, w.loopTo)
		require.Equal(t, w.lap().Frames[f], w.codes())
		seen[f] = true
	}
	require.Greater(t, len(seen), (w.loopTo-w.loopFrom)*9/10, "all of the range")
	w.key("x")
	w.tick(0.2)
	require.False(t, w.looping())
	require.Equal(t, w.run.codes, w.codes())
}
