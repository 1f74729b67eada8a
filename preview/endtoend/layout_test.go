package endtoend

import (
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A strip is dragged on a photo of the panel: the photo is taken from the show's
// folder, set to scale by two marks and seen; the machine file changes in that
// point alone.
func TestStripDraggedOnPhoto(t *testing.T) {
	w, dir := opened(t)
	// A cabinet of 560 x 1420 mm at 2 pixels a millimetre, with 100 mm of wall
	// around it and a red door in its middle.
	photo := image.NewRGBA(image.Rect(0, 0, 1520, 3240))
	fill := func(x0, y0, x1, y1 int, c color.RGBA) {
		draw.Draw(photo, image.Rect(x0, y0, x1, y1), image.NewUniform(c), image.Point{}, draw.Src)
	}
	fill(0, 0, 1520, 3240, color.RGBA{120, 120, 120, 255})
	fill(200, 200, 1320, 3040, color.RGBA{30, 34, 38, 255})
	fill(500, 1000, 1020, 2400, color.RGBA{220, 20, 20, 255})
	f, err := os.Create(filepath.Join(dir, "front.jpg"))
	require.NoError(t, err)
	require.NoError(t, jpeg.Encode(f, photo, nil))
	require.NoError(t, f.Close())
	file := filepath.Join(dir, "machine.toml")
	before, err := os.ReadFile(file)
	require.NoError(t, err)

	w.key("y")
	w.wait("the layout", func(s seen) bool { return s.Layout != nil })
	w.press("layout.offer")
	s := w.wait("the photo read", func(s seen) bool { return s.Layout != nil && s.Layout.Photo == "front.jpg" && s.Layout.Reading == "" })
	require.Zero(t, s.Layout.Marks)
	// Not yet marked, the photo lies over the panel as wide as it needs: 1420 mm
	// are its 3240 pixels, its middle is the panel's.
	c := s.Places["layout.panel"]
	mx, my := float64(c[0])+float64(c[2])/2, float64(c[1])+float64(c[3])/2
	k := s.Layout.Scale * 1420 / 3240
	w.key("6")
	for i, corner := range [][2]float64{{200, 3040}, {1320, 3040}} {
		w.wait("the question for a mark", func(s seen) bool { return s.Layout != nil && s.Layout.Marking == i+1 })
		w.click(mx+(corner[0]-760)*k, my+(corner[1]-1620)*k, 1)
	}
	w.wait("both marks", func(s seen) bool { return s.Layout != nil && s.Layout.Marks == 2 })
	time.Sleep(time.Second) // until it lies there
	shot := w.on.shot(t)
	keep(t, "layout-on-photo", shot)
	// The door is 260 mm wide around x = 280 and reaches from 320 mm to 1020 mm.
	at := func(mmX, mmY float64) color.NRGBA {
		return shot.NRGBAAt(w.x0+int(mx+(mmX-280)*s.Layout.Scale), w.y0+int(my-(mmY-710)*s.Layout.Scale))
	}
	for _, in := range [][2]float64{{170, 700}, {390, 700}, {280, 340}, {280, 1000}} {
		p := at(in[0], in[1])
		require.True(t, p.R > 100 && p.G < 60, "%v is %v, not the door", in, p)
	}
	for _, out := range [][2]float64{{130, 700}, {430, 700}, {280, 290}, {280, 1050}} {
		p := at(out[0], out[1])
		require.Less(t, p.R, uint8(90), "%v is the door", out)
	}

	w.key("1")
	x, y := w.place("layout.point.1")
	w.drag(x, y, x+30, y)
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
		require.True(t, strings.HasPrefix(b[i], `path = [["70 mm", "60 mm"], ["1`), b[i])
		require.True(t, strings.HasSuffix(b[i], `]]      # first LED, last LED`), b[i])
	}
	require.Equal(t, 1, changed, "one line")
	w.key("ctrl+z")
	w.wait("the edit taken back", func(s seen) bool { return s.Unsaved && !s.Proving })
	w.key("ctrl+s")
	w.wait("it saved", func(s seen) bool { return !s.Unsaved })
	now, err = os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(before), string(now))
	w.key("y")
	w.wait("the show again", func(s seen) bool { return s.Layout == nil && s.State == "rest" })
}
