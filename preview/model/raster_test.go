//go:build pictures

package model

import (
	"image"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/fogleman/gg"
	"github.com/stretchr/testify/require"
	"golang.org/x/image/draw"
)

// raster draws a list by the processor, for eyes and for comparisons.
func raster(l *List, light *Light, w, h int) *image.RGBA {
	c := gg.NewContext(w, h)
	for _, o := range l.Ops {
		c.ResetClip()
		if o.Clip != nil {
			c.DrawRectangle(o.Clip.X, o.Clip.Y, o.Clip.W, o.Clip.H)
			c.Clip()
		}
		c.SetColor(o.Color)
		switch o.Kind {
		case Fill:
			c.DrawRoundedRectangle(o.X, o.Y, o.W, o.H, o.Radius)
			c.Fill()
		case Frame:
			c.SetLineWidth(o.Width)
			c.DrawRectangle(o.X, o.Y, o.W, o.H)
			c.Stroke()
		case Hatch:
			c.SetLineWidth(o.Width)
			c.DrawRectangle(o.X, o.Y, o.W, o.H)
			c.Clip()
			for x := -o.H; x < o.W; x += 6 {
				c.DrawLine(o.X+x, o.Y+o.H, o.X+x+o.H, o.Y)
				c.Stroke()
			}
		case Line:
			c.SetLineWidth(o.Width)
			c.DrawLine(o.X, o.Y, o.W, o.H)
			c.Stroke()
		case Path, Area:
			for i, p := range o.Points {
				if i == 0 {
					c.MoveTo(p.X, p.Y)
				} else {
					c.LineTo(p.X, p.Y)
				}
			}
			if o.Kind == Path {
				c.SetLineWidth(o.Width)
				c.Stroke()
			} else {
				c.ClosePath()
				c.Fill()
			}
		case Disc:
			c.DrawCircle(o.X, o.Y, o.Radius)
			c.Fill()
		case Text:
			f, err := Face(o.Size, o.Bold)
			if err != nil {
				panic(err)
			}
			c.SetFontFace(f)
			c.DrawStringAnchored(o.Text, o.X, o.Y, float64(o.Align)/2, 0)
		case Picture:
			src := &image.RGBA{Pix: o.Image.Pix, Stride: 4 * o.Image.W, Rect: image.Rect(0, 0, o.Image.W, o.Image.H)}
			to := image.Rect(int(o.X), int(o.Y), int(o.X+o.W), int(o.Y+o.H))
			big := image.NewRGBA(to)
			draw.NearestNeighbor.Scale(big, to, src, src.Rect, draw.Src, nil)
			c.DrawImage(big, 0, 0)
		case Glass:
			if light != nil {
				if img := Twin(light, int(o.W), int(o.H)); img != nil {
					c.DrawImage(img, int(o.X), int(o.Y))
				}
			}
		}
	}
	return c.Image().(*image.RGBA)
}

// These are for eyes, not for a verdict: go test -tags pictures ./preview/model,
// with PANEGLOW_PICTURES naming a folder. The window's own pictures are compared in
// preview/endtoend.

// TestLook writes pictures of the window where one asks for them.
func TestLook(t *testing.T) {
	dir := os.Getenv("PANEGLOW_PICTURES")
	if dir == "" {
		dir = t.TempDir()
	}
	w := openDemo(t, plainProver{})
	save := func(name string) {
		w.frame1()
		f, err := os.Create(dir + "/" + name + ".png")
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if err := png.Encode(f, raster(w.Draw(), w.Light(), int(w.in.W), int(w.in.H))); err != nil {
			t.Fatal(err)
		}
	}
	w.tick(2)
	save("rest")
	w.click("state.turning")
	w.tick(1)
	w.click("outlines")
	save("turning")
	w.click("state.service")
	w.key("g")
	w.key("t")
	w.in.W, w.in.H = 1024, 700
	w.tick(1)
	save("service-light-small")
}

// Pictures of the layout, and no text that leaves a small window.
func TestLayoutLook(t *testing.T) {
	dir := os.Getenv("PANEGLOW_PICTURES")
	if dir == "" {
		dir = t.TempDir()
	}
	w := openDemo(t, plainProver{})
	save := func(name string) {
		w.still()
		for _, o := range w.Draw().Ops {
			if o.Kind == Text && o.Clip == nil {
				width, x := Measure(o.Text, o.Size, o.Bold), o.X
				x -= width * float64(o.Align) / 2
				require.True(t, x >= -1 && x+width <= w.in.W+1 && o.Y <= w.in.H, "%q at %.0f, %.0f", o.Text, x, o.Y)
			}
		}
		f, err := os.Create(filepath.Join(dir, name+".png"))
		require.NoError(t, err)
		defer f.Close()
		require.NoError(t, png.Encode(f, raster(w.Draw(), nil, int(w.in.W), int(w.in.H))))
	}
	w.click("layout")
	w.in.X, w.in.Y = 0, 0
	save("layout-plain")
	w.addPhoto("wall.jpg", photoOf(1200, 1600, slanted))
	w.choosePhoto("wall.jpg")
	w.still()
	w.beginMarks()
	save("layout-marking")
	require.True(t, w.takeMarks(mark{Point{310, 1530}, Point{0, 0}}, mark{Point{905, 1490}, Point{560, 0}}))
	w.takeTool(pointTool)
	w.toggleMark("left", 20, "hidden")
	w.toggleMark("left", 21, "hidden")
	w.toggleMark("left", 40, "missing")
	save("layout-marked")
	w.takeTool(photoTool)
	w.key("t")
	w.in.W, w.in.H = 1024, 700
	save("layout-photo-light-small")
	w.takeTool(drawTool)
	w.pressAt(Point{150, 300})
	w.pressAt(Point{300, 300})
	w.to(Point{300, 420})
	save("layout-draw-light-small")
	w.key("t")
	w.takeTool(feedTool)
	w.board.zoom(3, 300, 200)
	save("layout-feeds-zoomed-small")
	w.key("slash")
	save("layout-keys-small")
}
