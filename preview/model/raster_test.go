package model

import (
	"image"
	"image/png"
	"os"
	"testing"

	"github.com/fogleman/gg"
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
