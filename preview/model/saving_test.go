package model

import (
	"bytes"
	"image"
	"image/gif"
	"image/png"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/anim/unit"
	"paneglow/render/picture"
)

// saves waits for the picture that is being made and gives the names in the folder.
func (w *window) saves() []string {
	w.t.Helper()
	for range 24000 { // two minutes: films are slow under the race detector
		if w.saver.job == nil {
			return w.pictures()
		}
		w.update()
		time.Sleep(5 * time.Millisecond)
	}
	w.t.Fatal("the picture never ended")
	return nil
}

func (w *window) pictures() (names []string) {
	entries, err := os.ReadDir(filepath.Join(w.dir, picturesIn))
	if os.IsNotExist(err) {
		return nil
	}
	require.NoError(w.t, err)
	for _, e := range entries {
		names = append(names, e.Name())
	}
	sort.Strings(names)
	return names
}

// files are all files of the show's folder, pictures aside, with their bytes.
func (w *window) files() map[string]string {
	all := map[string]string{}
	entries, err := os.ReadDir(w.dir)
	require.NoError(w.t, err)
	for _, e := range entries {
		if e.IsDir() || e.Name() == "state.json" {
			continue
		}
		b, err := os.ReadFile(filepath.Join(w.dir, e.Name()))
		require.NoError(w.t, err)
		all[e.Name()] = string(b)
	}
	return all
}

func decodePNG(t *testing.T, path string) image.Image {
	t.Helper()
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	img, err := png.Decode(bytes.NewReader(b))
	require.NoError(t, err)
	return img
}

// A picture of the glass is the camera's, with what the sliders and buttons say,
// pixel by pixel; it stands under a name of its own, and the show's files stay.
func TestSavePicture(t *testing.T) {
	w := openDemo(t, plainProver{})
	before := w.files()
	w.click("state.turning")
	w.tick(1)
	w.key("space")
	w.key("a")
	w.depth, w.scatter, w.room = 31, 44, 120
	w.dragGlass()
	w.Light()
	exposure, codes := w.field.exposure, append([]uint8(nil), w.codes()...)
	w.key("i")
	require.NotNil(t, w.saver.job)
	names := w.saves()
	require.Len(t, names, 1)
	require.True(t, strings.HasPrefix(names[0], "turning-") && strings.HasSuffix(names[0], "-s.png"), names[0])
	require.Equal(t, "saved pictures/"+names[0], w.notice)
	require.Equal(t, before, w.files())

	other := *w.stage.Machine
	other.Panel.Depth, other.Panel.Glass.Scatter = unit.Length(31), unit.Angle(44)
	c, err := picture.NewCamera(&other, w.stage.On.Layout, picture.View{Room: 120, Adapted: true, Exposure: exposure, Clip: "clip " + w.clipName()}, codes)
	require.NoError(t, err)
	require.Contains(t, c.Caption(), "simulated")
	want, err := c.Draw(codes, "")
	require.NoError(t, err)
	got := decodePNG(t, filepath.Join(w.dir, picturesIn, names[0]))
	// The pane itself; the captions under it are words.
	require.Equal(t, want.Bounds().Dx(), got.Bounds().Dx())
	lit := 0
	for y := range 900 {
		for x := range want.Bounds().Dx() {
			a, b := want.RGBAAt(x, y), got.At(x, y)
			r, g, bl, _ := b.RGBA()
			require.Equal(t, [3]uint8{a.R, a.G, a.B}, [3]uint8{uint8(r >> 8), uint8(g >> 8), uint8(bl >> 8)}, "%d, %d", x, y)
			if max(a.R, a.G, a.B) > 60 {
				lit++
			}
		}
	}
	require.Greater(t, lit, 1000)

	// The same moment again gets a name of its own.
	first, err := os.ReadFile(filepath.Join(w.dir, picturesIn, names[0]))
	require.NoError(t, err)
	w.key("i")
	again := w.saves()
	require.Equal(t, strings.TrimSuffix(names[0], ".png")+"-2.png", again[0])
	require.Len(t, again, 2)
	still, err := os.ReadFile(filepath.Join(w.dir, picturesIn, names[0]))
	require.NoError(t, err)
	require.Equal(t, first, still)
}

// Each view is saved as it is looked at.
func TestSaveViews(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.click("state.turning")
	w.tick(1)
	w.key("space")
	sum := map[string]bool{}
	for range viewNames {
		w.key("i")
		w.saves()
		w.key("g")
	}
	names := w.pictures()
	require.Len(t, names, len(viewNames))
	for _, n := range names {
		b, err := os.ReadFile(filepath.Join(w.dir, picturesIn, n))
		require.NoError(t, err)
		sum[string(b)] = true
	}
	require.Len(t, sum, len(viewNames), "three views are three pictures")
}

// A clip is saved whole, by the clock of the clip, in the kind that is chosen, with
// progress that never runs past its end.
func TestSaveClip(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.in.W, w.in.H = 1024, 700 // small pictures are quicker
	w.frame1()
	w.click("state.turning")
	w.tick(0.5)
	w.click("picture")
	w.frame1()
	require.True(t, w.says("save a picture of the panel"))
	frames, fps := len(w.lap().Frames), w.stage.Show.FPS
	step := (fps + 19) / 20
	w.click("picture.film")
	job := w.saver.job
	require.NotNil(t, job)
	require.Equal(t, (frames+step-1)/step, job.of)
	w.saves()
	require.EqualValues(t, job.of, job.drawn.Load())
	require.Equal(t, []string{"turning.apng"}, w.pictures())
	b, err := os.ReadFile(filepath.Join(w.dir, picturesIn, "turning.apng"))
	require.NoError(t, err)
	require.Equal(t, job.of, bytes.Count(b, []byte("fcTL")), "a frame control a frame")

	w.click("picture")
	w.frame1()
	w.click("picture.kind")
	w.key("escape")
	require.False(t, w.saver.open)
	w.in.Shift = true
	w.key("i")
	w.in.Shift = false
	w.saves()
	b, err = os.ReadFile(filepath.Join(w.dir, picturesIn, "turning.gif"))
	require.NoError(t, err)
	g, err := gif.DecodeAll(bytes.NewReader(b))
	require.NoError(t, err)
	require.Len(t, g.Image, job.of)
	total := 0
	for _, d := range g.Delay {
		total += d
	}
	require.InDelta(t, 100*float64(frames)/float64(fps), total, 2*float64(step)*100/float64(fps), "hundredths of a second")
}

// A stop leaves no file, whole or half, and says so.
func TestStopSaving(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.click("state.turning")
	w.tick(0.5)
	w.in.Shift = true
	w.key("i")
	w.in.Shift = false
	require.NotNil(t, w.saver.job)
	w.frame1()
	require.True(t, w.says("saving the clip"))
	w.key("i")
	require.Contains(t, w.notice, "is being saved already")
	w.key("escape")
	require.Empty(t, w.saves())
	require.Equal(t, "stopped: no picture was saved", w.notice)

	// By its button, without pressing what lies under it.
	w.in.Shift = true
	w.key("i")
	w.in.Shift = false
	w.frame1()
	playing, frame := w.playing, w.scrubbed
	w.click("picture.stop")
	require.Empty(t, w.saves())
	require.Equal(t, playing, w.playing)
	require.Equal(t, frame, w.scrubbed)

	// By closing the window.
	w.in.Shift = true
	w.key("i")
	require.NoError(t, w.Close())
	require.Empty(t, w.pictures())
}

// What cannot be written is told.
func TestSavingFails(t *testing.T) {
	w := openDemo(t, plainProver{})
	require.NoError(t, os.WriteFile(filepath.Join(w.dir, picturesIn), []byte("a file"), 0o644))
	w.key("i")
	for range 2000 {
		if w.saver.job == nil {
			break
		}
		w.frame1()
		time.Sleep(time.Millisecond)
	}
	require.Contains(t, w.notice, "the picture was not saved: there is no folder for pictures")
	b, err := os.ReadFile(filepath.Join(w.dir, picturesIn))
	require.NoError(t, err)
	require.Equal(t, "a file", string(b))
}

// Names are legal everywhere, and nothing is overwritten even where links are not
// known.
func TestNames(t *testing.T) {
	require.Equal(t, "a-b-c-1.25-s", clean("a/b:c 1.25\ts"))
	require.Equal(t, "größe_2", clean("größe_2"))
	dir := t.TempDir()
	from, to := filepath.Join(dir, "from"), filepath.Join(dir, "to")
	require.NoError(t, os.WriteFile(from, []byte("new"), 0o644))
	require.NoError(t, os.WriteFile(to, []byte("old"), 0o644))
	require.ErrorIs(t, nameNew(from, to), os.ErrExist)
	b, err := os.ReadFile(to)
	require.NoError(t, err)
	require.Equal(t, "old", string(b))
}
