package model

import (
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

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
