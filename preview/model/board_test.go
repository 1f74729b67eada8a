package model

import (
	"encoding/json"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
)

// openLayout is the demo, laid out.
func openLayout(t *testing.T) *window {
	w := openDemo(t, plainProver{})
	w.click("layout")
	w.frame1()
	require.True(t, w.board.on)
	return w
}

// photoOf draws a panel as a camera would see it: its outline on a wall, by a
// mapping of pixels to millimetres.
func photoOf(w, h int, by mapping) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.RGBA{150, 142, 130, 255}
			if p := by.mm(Point{float64(x), float64(y)}); p.X >= 0 && p.Y >= 0 && p.X <= 560 && p.Y <= 1420 {
				c = color.RGBA{70, 76, 84, 255}
				if p.X < 90 || p.X > 470 || p.Y > 1325 {
					c = color.RGBA{196, 202, 208, 255}
				}
				if (p.X-280)*(p.X-280)+(p.Y-500)*(p.Y-500) < 160*160 {
					c = color.RGBA{40, 44, 50, 255}
				}
			}
			img.Set(x, y, c)
		}
	}
	return img
}

// slanted is a photo turned by a few degrees.
var slanted, _ = mapBy(mark{Point{310, 1530}, Point{0, 0}}, mark{Point{905, 1490}, Point{560, 0}})

func (w *window) addPhoto(name string, img image.Image) {
	f, err := os.Create(filepath.Join(w.dir, name))
	require.NoError(w.t, err)
	defer f.Close()
	if strings.HasSuffix(name, ".png") {
		require.NoError(w.t, png.Encode(f, img))
		return
	}
	require.NoError(w.t, jpeg.Encode(f, img, nil))
}

// still waits for what is read, laid and proved off the window's goroutine.
func (w *window) still() {
	for range 2000 {
		w.frame1()
		if b := &w.board; b.reading == "" && !b.laying && !w.busy {
			w.frame1()
			if b.reading == "" && !b.laying && !w.busy {
				return
			}
		}
		time.Sleep(2 * time.Millisecond)
	}
	w.t.Fatal("the window never came to rest")
}

// at is the screen's place of a place of the panel.
func (w *window) to(mm Point) { p := w.board.screen(mm); w.in.X, w.in.Y = p.X, p.Y }

// pressAt presses and lets go at a place of the panel.
func (w *window) pressAt(mm Point) {
	w.to(mm)
	w.in.Pressed, w.in.Down = true, true
	w.frame1()
	w.in.Down, w.in.Released = false, true
	w.frame1()
}

// pullTo drags from one place of the panel to another.
func (w *window) pullTo(from, to Point) {
	w.to(from)
	w.in.Pressed, w.in.Down = true, true
	w.frame1()
	w.to(Point{(from.X + to.X) / 2, (from.Y + to.Y) / 2})
	w.frame1()
	w.to(to)
	w.frame1()
	w.in.Down, w.in.Released = false, true
	w.frame1()
}

func (w *window) ctrl(k Key) {
	w.in.Ctrl = true
	w.key(k)
	w.in.Ctrl = false
}

// typeIn opens a field, empties it and types.
func (w *window) typeIn(id, text string) {
	w.click(id)
	w.entry = ""
	w.in.Typed = []rune(text)
	w.frame1()
	w.key("enter")
}

func (w *window) machine() string { return string(w.board.doc.now) }

// changed is the lines that differ, as "- old" and "+ new".
func changed(a, b string) (out []string) {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range max(len(x), len(y)) {
		switch {
		case i >= len(x):
			out = append(out, "+ "+y[i])
		case i >= len(y):
			out = append(out, "- "+x[i])
		case x[i] != y[i]:
			out = append(out, "- "+x[i], "+ "+y[i])
		}
	}
	return out
}

// A corner that is dragged changes that coordinate in the file and nothing else;
// the check tells at once; undo is one step; saving writes it.
func TestDragPoint(t *testing.T) {
	w := openLayout(t)
	old := w.machine()
	w.pullTo(Point{70, 1326.7}, Point{90, 1326.7})
	require.Equal(t, []string{
		`- path = [["70 mm", "60 mm"], ["70 mm", "1326.7 mm"]]      # first LED, last LED`,
		`+ path = [["70 mm", "60 mm"], ["90 mm", "1327 mm"]]      # first LED, last LED`,
	}, changed(old, w.machine()))
	w.still()
	require.Nil(t, w.told, "still within half a pitch")
	require.InDelta(t, 90, float64(w.stage.Machine.Strips[0].Path[1][0]), 1e-9, "proved with the new place")
	w.pullTo(Point{90, 1327}, Point{90, 1200})
	w.still()
	require.True(t, w.says("too short"))
	require.Contains(t, w.Report().Layout.Found, "layout.path_length")
	require.NotNil(t, w.told, "the last good show goes on")
	w.ctrl("z")
	w.still()
	require.True(t, w.says("fits"))
	w.ctrl("z")
	require.Equal(t, old, w.machine(), "two drags are two steps")
	require.False(t, w.Report().Unsaved)
	w.ctrl("y")
	w.ctrl("s")
	onDisk, err := os.ReadFile(w.board.doc.path)
	require.NoError(t, err)
	require.Equal(t, w.machine(), string(onDisk))
	require.Contains(t, w.notice, "saved machine.toml")
	w.still()
	w.click("layout.leave")
	w.still()
	require.False(t, w.board.on)
	require.True(t, w.says("controls of clip"))
}

// Corners catch their neighbour's line, and shift lets them go.
func TestCatch(t *testing.T) {
	w := openLayout(t)
	w.pullTo(Point{70, 1326.7}, Point{76, 1300})
	require.Contains(t, w.machine(), `["70 mm", "1300 mm"]`)
	w.in.Shift = true
	w.pullTo(Point{70, 1300}, Point{76, 1310})
	require.Contains(t, w.machine(), `["76 mm", "1310 mm"]`)
}

// Arrows move a point by a millimetre, with shift by ten, never off the panel.
func TestNudgePoint(t *testing.T) {
	w := openLayout(t)
	w.key("period")
	require.Equal(t, 1, w.board.point)
	w.key("right")
	require.Contains(t, w.machine(), `["70 mm", "60 mm"], ["71 mm", "1326.7 mm"]`)
	w.in.Shift = true
	w.key("down")
	require.Contains(t, w.machine(), `["71 mm", "1316.7 mm"]`)
	for range 20 {
		w.key("up")
	}
	w.in.Shift = false
	require.Contains(t, w.machine(), `["71 mm", "1420 mm"]`)
	require.True(t, w.playing, "arrows do not scrub here")
}

// Points are added on a leg and deleted again; the ends stay.
func TestAddAndDeletePoint(t *testing.T) {
	w := openLayout(t)
	old := w.machine()
	p, shown := w.board.plusAt(outlineOf(w.board.m.Strip("left")), 0)
	require.True(t, shown)
	mid := Point{w.board.mmX(p.X), w.board.mmY(p.Y)}
	w.pullTo(mid, Point{mid.X + 60, mid.Y})
	require.Len(t, w.board.m.Strip("left").Path, 3)
	require.Contains(t, w.machine(), `path = [["70 mm", "60 mm"], ["`)
	require.Contains(t, w.machine(), `], ["70 mm", "1326.7 mm"]]      # first LED, last LED`)
	w.key("delete")
	require.Equal(t, old, w.machine(), "the file is as it was, to the byte")
	w.key("delete")
	require.Equal(t, old, w.machine())
	require.Contains(t, w.notice, "needs its two ends")
	w.key("i")
	require.Len(t, w.board.m.Strip("left").Path, 3)
}

// Pixels are hidden and missing by a press and lit again by another; a pixel is
// never both.
func TestHiddenAndMissing(t *testing.T) {
	w := openLayout(t)
	old := w.machine()
	dots := dotsOf(w.board.m.Strip("left"), w.board.m.Part("bright12"))
	w.key("4")
	w.pressAt(dots[12].at)
	require.Equal(t, []int{12}, w.board.m.Strip("left").Missing)
	require.Contains(t, w.machine(), "pixels = 77\nmissing = [12]\n")
	w.still()
	require.Nil(t, w.told)
	require.True(t, w.stage.On.Layout.Pixels[12].Missing)
	w.key("3")
	w.pressAt(dots[12].at)
	require.Equal(t, []int{}, append([]int{}, w.board.m.Strip("left").Missing...))
	require.Equal(t, []int{12}, w.board.m.Strip("left").Hidden)
	require.True(t, w.says("too long"), "a hidden pixel takes no length")
	// It stands beside the strip now, and can be pressed there.
	p, ok := w.board.dotAt(show.Place{Strip: "left", Pixel: 12})
	require.True(t, ok)
	w.pressAt(Point{w.board.mmX(p.X), w.board.mmY(p.Y)})
	require.Empty(t, w.board.m.Strip("left").Hidden)
	for range 3 {
		w.ctrl("z")
	}
	require.Equal(t, old, w.machine())
	// By keys alone.
	w.key("right")
	w.key("space")
	require.Equal(t, []int{13}, w.board.m.Strip("left").Hidden)
}

// Turned round, the points change places; marks, feeds and joints stay where they
// are on the panel.
func TestTurnRound(t *testing.T) {
	w := openLayout(t)
	old := w.machine()
	w.toggleMark("left", 3, "missing")
	dots := dotsOf(w.board.m.Strip("left"), w.board.m.Part("bright12"))
	w.click("layout.turn")
	require.Contains(t, w.machine(), `path = [["70 mm", "1326.7 mm"], ["70 mm", "60 mm"]]      # first LED, last LED`)
	require.Contains(t, w.machine(), `at = ["left", 76]`)
	require.Contains(t, w.machine(), `from = ["left", 0]`)
	s := w.board.m.Strip("left")
	require.Equal(t, []int{73}, s.Missing)
	now := dotsOf(s, w.board.m.Part("bright12"))
	require.InDelta(t, dots[3].at.Y, now[73].at.Y, 1e-6)
	w.still()
	require.Nil(t, w.told)
	w.key("d")
	w.toggleMark("left", 3, "missing")
	require.Equal(t, []string{"+ missing = []"}, addedLines(old, w.machine()))
}

// addedLines is changed for texts of which one has lines more.
func addedLines(a, b string) (out []string) {
	x := strings.Split(a, "\n")
	for _, line := range strings.Split(b, "\n") {
		if len(x) > 0 && line == x[0] {
			x = x[1:]
			continue
		}
		out = append(out, "+ "+line)
	}
	for _, line := range x {
		out = append(out, "- "+line)
	}
	return out
}

// A strip is drawn by pressing its corners, gets its pixels from its length, its
// part and a place on a data line, and a feed; it is removed at the second press.
func TestNewStrip(t *testing.T) {
	w := openDemo(t, &Proof{})
	w.click("layout")
	w.frame1()
	old := w.machine()
	w.click("layout.tool.new-strip")
	w.frame1()
	w.typeIn("layout.name", "flap")
	w.key("enter")
	require.Contains(t, w.notice, "two places at least")
	w.pressAt(Point{150, 300})
	w.pressAt(Point{400, 302})
	require.True(t, w.says("250 mm, 16 pixels"))
	w.click("layout.finish")
	require.Equal(t, []string{
		`- strips = ["left", "top", "right"]  # in data order: up, across, down`, `+ strips = ["left", "top", "right", "flap"]  # in data order: up, across, down`,
	}, changed(old, w.machine())[:2])
	require.Contains(t, w.machine(), "\n[[strip]]\nname = \"flap\"\npart = \"bright12\"\npath = [[\"150 mm\", \"300 mm\"], [\"400 mm\", \"300 mm\"]]\npixels = 16\n\n[supply]")
	w.still()
	require.NotNil(t, w.told, "a strip without copper is refused")
	require.True(t, w.says("checks: 1 error"))
	w.key("5")
	w.pressAt(Point{150, 300})
	require.Contains(t, w.notice, "correct them in the file")
	require.Contains(t, w.machine(), "[[feed]]\nat = [\"flap\", 0]\nwire = \"0.75 mm2\"\nlength = \"900 mm\"\nfuse = \"4 A\"\n")
	w.still()
	require.Nil(t, w.told)
	require.Len(t, w.stage.On.Layout.Strips, 4)
	w.click("layout.leave")
	w.tick(0.2)
	require.True(t, w.says("controls of clip"), "the show goes on with one strip more")
	w.click("layout")
	w.frame1()
	w.click("layout.strip.flap")
	w.frame1()
	w.click("layout.remove")
	require.NotNil(t, w.board.m.Strip("flap"), "asked first")
	w.frame1()
	require.True(t, w.says("really remove it with 1 feed, 0 joints"))
	w.click("layout.remove")
	require.Equal(t, old, w.machine(), "as it was, to the byte")
	w.still()
	require.Nil(t, w.told)
}

// A removal that was asked for is forgotten when one does something else.
func TestRemoveAsksAgain(t *testing.T) {
	w := openLayout(t)
	w.click("layout.remove")
	w.click("layout.strip.right")
	w.frame1()
	w.click("layout.remove")
	require.NotNil(t, w.board.m.Strip("right"))
	w.frame1()
	require.True(t, w.says("really remove it with 1 feed, 1 joint"))
	w.click("layout.remove")
	require.Nil(t, w.board.m.Strip("right"))
	require.NotContains(t, w.machine(), `["right"`)
	w.ctrl("z")
	require.NotNil(t, w.board.m.Strip("right"))
}

// Feeds are dragged from pixel to pixel, in one step.
func TestMoveFeed(t *testing.T) {
	w := openLayout(t)
	old := w.machine()
	dots := dotsOf(w.board.m.Strip("left"), w.board.m.Part("bright12"))
	w.key("5")
	w.pullTo(dots[0].at, dots[38].at)
	require.Equal(t, []string{`- at = ["left", 0]`, `+ at = ["left", 38]`}, changed(old, w.machine()))
	w.still()
	require.Equal(t, 38, w.stage.Machine.Feeds[0].Pixel)
	w.ctrl("z")
	require.Equal(t, old, w.machine())
	w.key("delete")
	require.Len(t, w.board.m.Feeds, 1)
	w.key("delete")
	require.Len(t, w.board.m.Feeds, 1, "the last one stays")
}

// The pixels that a length takes are offered, and what was soldered to the end
// comes along.
func TestPixelsFromLength(t *testing.T) {
	w := openLayout(t)
	w.click("layout.strip.right")
	w.key("period")
	for range 20 {
		w.in.Shift = true
		w.key("up")
	}
	w.in.Shift = false
	w.frame1()
	require.False(t, w.Report().Layout.Fits)
	require.True(t, w.says("65 pixels from the length"))
	w.click("layout.from-length")
	require.Equal(t, 65, w.board.m.Strip("right").Pixels)
	require.Contains(t, w.machine(), `at = ["right", 64]`)
	require.Contains(t, w.notice, "what was soldered behind pixel 64 is on it now")
	w.still()
	require.True(t, w.Report().Layout.Fits)
	w.typeIn("layout.pixels", "70")
	require.Equal(t, 70, w.board.m.Strip("right").Pixels)
	w.frame1()
	w.click("layout.stretch")
	w.frame1()
	require.True(t, w.says("fits"))
	require.Contains(t, w.machine(), `["490 mm", "176.7 mm"]`)
	for _, bad := range []string{"many", "7.5", "", "-3", "0", "99999", "7 7"} {
		before := w.machine()
		w.notice = ""
		w.typeIn("layout.pixels", bad)
		require.Equal(t, before, w.machine(), bad)
		require.NotEmpty(t, w.notice, bad)
	}
}

// Points can be typed; what is no place or off the panel is told.
func TestTypePoint(t *testing.T) {
	w := openLayout(t)
	w.typeIn("layout.place", "72, 6 cm")
	require.Contains(t, w.machine(), `path = [["72 mm", "60 mm"]`)
	for _, bad := range []string{"72", "x, y", "72, 2000", "72, -1", "72; 60", "NaN, 3", "1e400, 3"} {
		before := w.machine()
		w.notice = ""
		w.typeIn("layout.place", bad)
		require.Equal(t, before, w.machine(), bad)
		require.NotEmpty(t, w.notice, bad)
	}
}

// The newest photo is offered; two marks set it to scale; the file beside the
// machine keeps it, and the machine file stays untouched.
func TestPhoto(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.addPhoto("wall.jpg", photoOf(1200, 1600, slanted))
	w.click("layout")
	w.frame1()
	require.True(t, w.says("no photo yet"))
	w.click("layout.offer")
	w.still()
	require.NotNil(t, w.board.laid)
	require.True(t, w.says("not to scale yet"))
	w.click("layout.marks")
	w.frame1()
	require.True(t, w.says("lower left corner"))
	// Where the photo lies now, not yet to scale, decides where its corners are.
	by, known := w.board.mapping()
	require.False(t, known)
	w.pressAt(by.mm(Point{310, 1530}))
	require.True(t, w.says("lower right corner"))
	w.pressAt(by.mm(Point{310, 1530}))
	require.Contains(t, w.notice, "same point of the photo")
	w.pressAt(by.mm(Point{905, 1490}))
	w.still()
	now, known := w.board.mapping()
	require.True(t, known)
	require.InDelta(t, slanted.a, now.a, 1e-3)
	require.InDelta(t, slanted.b, now.b, 1e-3)
	require.True(t, w.says("1200 x 1600 pixels of 0.939 mm, turned by -3.8 deg"))
	require.False(t, w.Report().Unsaved, "the machine file is as it was")
	// What is shown over the panel's middle is what the photo has there.
	l := w.board.laid
	x := int((280 - l.box.X) / l.box.W * float64(l.image.W))
	y := int((1 - (500-l.box.Y)/l.box.H) * float64(l.image.H))
	require.Equal(t, uint8(40), l.image.Pix[4*(y*l.image.W+x)]&^3, "the dark disc of the cabinet")
	kept, err := readBackdrop(w.board.doc.path)
	require.NoError(t, err)
	require.Equal(t, "wall.jpg", kept.Photo)
	require.Len(t, kept.Marks, 2)
	// A second window has it again.
	m, err := New(Options{Show: w.o.Show}, plainProver{})
	require.NoError(t, err)
	again := &window{Model: m, t: t, dir: w.dir, in: Input{W: 1280, H: 800}}
	again.settle()
	again.key("y")
	again.still()
	require.NotNil(t, again.board.shot)
	back, known := again.board.mapping()
	require.True(t, known)
	require.InDelta(t, now.a, back.a, 1e-3)
	// Marks move by keys and by fields; wrong ones are told.
	w.key("6")
	w.key("right")
	require.InDelta(t, kept.Marks[0].Pixel.X+1, w.board.back.Marks[0].Pixel.X, 0.11)
	w.frame1()
	w.typeIn("layout.apart", "600")
	require.InDelta(t, 600, w.board.back.Marks[1].At.X, 1e-6)
	w.typeIn("layout.mark-at.1", "560 mm, 0")
	require.InDelta(t, 560, w.board.back.Marks[1].At.X, 1e-6)
	w.typeIn("layout.mark-at.1", "0, 0")
	require.Contains(t, w.notice, "same place on the panel")
	require.InDelta(t, 560, w.board.back.Marks[1].At.X, 1e-6)
	w.typeIn("layout.apart", "0")
	require.Contains(t, w.notice, "at least 1 mm")
}

// What is no photo is told, and what was there stays.
func TestNoPhoto(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.addPhoto("good.png", photoOf(300, 400, slanted))
	require.NoError(t, os.WriteFile(filepath.Join(w.dir, "notes.png"), []byte("buy frosted glass\n"), 0o644))
	require.NoError(t, os.Mkdir(filepath.Join(w.dir, "folder.png"), 0o755))
	whole, err := os.ReadFile(filepath.Join(w.dir, "good.png"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(w.dir, "half.png"), whole[:len(whole)/2], 0o644))
	w.click("layout")
	w.frame1()
	w.typeIn("layout.photo", "good.png")
	w.still()
	require.Equal(t, 300, w.board.shot.w)
	for name, words := range map[string]string{
		"notes.png":    "is not a PNG or JPEG",
		"none.jpg":     "there is no photo",
		"folder.png":   "is a folder",
		"half.png":     "is damaged",
		"machine.toml": "is not a PNG or JPEG",
	} {
		w.typeIn("layout.photo", name)
		w.still()
		require.Contains(t, w.board.trouble, words, name)
		require.Equal(t, "good.png", w.board.back.Photo, name)
		require.Equal(t, 300, w.board.shot.w)
	}
}

// A file beside the machine that cannot be read is told and not written over.
func TestBrokenBackdrop(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.addPhoto("wall.png", photoOf(300, 400, slanted))
	file := filepath.Join(w.dir, "machine.backdrop.toml")
	const mine = "photo = \"wall.png\"\nscale = 3\n"
	require.NoError(t, os.WriteFile(file, []byte(mine), 0o644))
	w.click("layout")
	w.frame1()
	require.Contains(t, w.board.trouble, "line 2")
	require.Contains(t, w.board.trouble, "scale")
	w.click("layout.offer")
	w.still()
	kept, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, mine, string(kept))
	require.NotNil(t, w.board.shot, "it is shown all the same")
}

// A machine file that both sides changed is asked about; neither is lost.
func TestMachineOutside(t *testing.T) {
	for _, keep := range []string{"layout.mine", "layout.theirs"} {
		w := openLayout(t)
		w.key("right")
		mine := w.machine()
		theirs := strings.Replace(string(w.board.doc.disk), `depth = "47 mm"`, `depth = "50 mm"`, 1)
		require.NoError(t, os.WriteFile(w.board.doc.path, []byte(theirs), 0o644))
		w.FilesChanged()
		w.frame1()
		require.True(t, w.says("machine.toml was changed outside"))
		w.ctrl("s")
		onDisk, _ := os.ReadFile(w.board.doc.path)
		require.Equal(t, theirs, string(onDisk), "nothing was written over it")
		w.click(keep)
		w.still()
		if keep == "layout.mine" {
			require.Equal(t, mine, w.machine())
			w.ctrl("s")
			onDisk, _ = os.ReadFile(w.board.doc.path)
			require.Equal(t, mine, string(onDisk))
			continue
		}
		require.Equal(t, theirs, w.machine())
		w.ctrl("z")
		require.Equal(t, mine, w.machine())
	}
}

// A machine that cannot be laid out does not keep one from mending it: the
// layout opens before the show ever played.
func TestLayoutOfBrokenMachine(t *testing.T) {
	w := openDemo(t, plainProver{})
	file := filepath.Join(w.dir, "machine.toml")
	b, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(string(b), "pixels = 26", "pixels = 40", 1)), 0o644))
	m, err := New(Options{Show: w.o.Show}, plainProver{})
	require.NoError(t, err)
	w = &window{Model: m, t: t, dir: w.dir, in: Input{W: 1280, H: 800}}
	w.settle()
	require.Nil(t, w.stage)
	w.key("y")
	w.frame1()
	w.click("layout.strip.top")
	w.frame1()
	w.click("layout.from-length")
	w.still()
	require.NotNil(t, w.stage)
	require.Equal(t, 26, w.stage.Machine.Strips[1].Pixels)
}

// A machine file that becomes nonsense outside leaves the window whole: it tells
// where, changes nothing, and goes on when the file is mended.
func TestNonsenseMachine(t *testing.T) {
	w := openLayout(t)
	good := w.machine()
	for _, text := range []string{"", "[[strip]\n", "[panel]\nsize = [\"0 mm\", \"0 mm\"]\n", "\x00\xff", "[[strip]]\nname = \"left\"\npixels = 20000\npath = []\n",
		strings.Replace(good, "leds_per_pixel = 1", "leds_per_pixel = 0", 1), strings.Replace(good, `"60 /m"`, `"0 /m"`, 1)} {
		require.NoError(t, os.WriteFile(w.board.doc.path, []byte(text), 0o644))
		w.FilesChanged()
		w.still()
		for i := range toolNames {
			w.takeTool(tool(i))
			w.in.X, w.in.Y = 300, 300
			w.in.Wheel = 1
			w.pressAt(Point{70, 60})
			for _, k := range []Key{"right", "period", "space", "delete", "i", "d", "pagedown", "plus", "0", "1"} {
				w.key(k)
			}
		}
		require.NotNil(t, w.told, text)
		b, err := json.Marshal(w.Report())
		require.NoError(t, err, text)
		require.NotEmpty(t, b)
		w.board.doc.now = []byte(text)
	}
	require.NoError(t, os.WriteFile(w.board.doc.path, []byte(good), 0o644))
	w.FilesChanged()
	w.still()
	require.Nil(t, w.told)
	require.Equal(t, good, w.machine())
}

// Quitting asks where the machine was changed, also out of the layout.
func TestQuitAsksForMachine(t *testing.T) {
	w := openLayout(t)
	w.key("right")
	w.key("escape")
	require.False(t, w.board.on)
	require.Contains(t, w.notice, "not saved")
	w.key("q")
	require.False(t, w.quit)
	w.ctrl("s")
	require.False(t, w.Report().Unsaved)
	w.key("q")
	require.True(t, w.quit)
}

// The keyboard alone reaches every widget of the layout.
func TestLayoutKeyboardAlone(t *testing.T) {
	w := openLayout(t)
	seen := map[string]bool{}
	for range 3 * len(w.order) {
		w.key("tab")
		seen[w.focus] = true
	}
	for _, id := range w.order {
		require.True(t, seen[id], "%s was never reached", id)
	}
}

// Zoomed and moved, a press still finds the place under it.
func TestZoomedPress(t *testing.T) {
	w := openLayout(t)
	w.to(Point{70, 1326.7})
	for range 6 {
		w.in.Wheel = 1
		w.frame1()
	}
	require.Greater(t, w.board.scale(), 1.0)
	require.InDelta(t, 70, w.board.mmX(w.in.X), 1e-6, "what is under the pointer stays")
	w.pullTo(Point{150, 1300}, Point{200, 1250})
	w.pullTo(Point{70, 1326.7}, Point{95, 1326.7})
	require.Contains(t, w.machine(), `["95 mm", "1327 mm"]`)
	w.key("0")
	require.Zero(t, w.board.k)
}
