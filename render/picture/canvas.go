package picture

import (
	"fmt"
	"image"
	"image/color"
	"sync"

	"github.com/fogleman/gg"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gomedium"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
)

// The pictures' own colours: a dark surround, as the panel has at night.
var (
	ground  = color.NRGBA{0x14, 0x16, 0x1a, 0xff}
	sheet   = color.NRGBA{0x1e, 0x22, 0x28, 0xff}
	rule    = color.NRGBA{0x3a, 0x42, 0x4c, 0xff}
	ink     = color.NRGBA{0xe6, 0xea, 0xee, 0xff}
	pale    = color.NRGBA{0x9a, 0xa4, 0xb0, 0xff}
	current = color.NRGBA{0xf2, 0xb1, 0x34, 0xff}
	wanted  = color.NRGBA{0xb8, 0x94, 0x5c, 0xff}
	limit   = color.NRGBA{0xf0, 0x5a, 0x4a, 0xff}
)

var parsed = sync.OnceValues(func() ([2]*opentype.Font, error) {
	var f [2]*opentype.Font
	var err error
	for i, b := range [][]byte{goregular.TTF, gomedium.TTF} {
		if f[i], err = opentype.Parse(b); err != nil {
			return f, err
		}
	}
	return f, nil
})

// face is a font of a size in pixels.
func face(size float64, medium bool) (font.Face, error) {
	f, err := parsed()
	if err != nil {
		return nil, fmt.Errorf("the embedded font is damaged: %w", err)
	}
	i := 0
	if medium {
		i = 1
	}
	return opentype.NewFace(f[i], &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingFull})
}

// canvas is a drawing with two fonts set up.
type canvas struct {
	*gg.Context
	small, normal, title font.Face
}

func newCanvas(w, h int, scale float64) (*canvas, error) {
	c := &canvas{Context: gg.NewContext(w, h)}
	var err error
	if c.small, err = face(12*scale, false); err != nil {
		return nil, err
	}
	if c.normal, err = face(14*scale, false); err != nil {
		return nil, err
	}
	if c.title, err = face(18*scale, true); err != nil {
		return nil, err
	}
	c.SetColor(ground)
	c.Clear()
	return c, nil
}

// text writes a line with its anchor (0 left, 1 right; 0 baseline) at a place
// and returns its width.
func (c *canvas) text(s string, x, y, ax float64, f font.Face, col color.Color) float64 {
	c.SetFontFace(f)
	c.SetColor(col)
	c.DrawStringAnchored(s, x, y, ax, 0)
	w, _ := c.MeasureString(s)
	return w
}

// wrap breaks a caption into lines that fit a width.
func (c *canvas) wrap(s string, width float64, f font.Face) []string {
	c.SetFontFace(f)
	return c.WordWrap(s, width)
}

// reserve wraps a note and pads it to as many lines as the longest note of the
// same animation takes, so that all its frames have one size.
func (c *canvas) reserve(note, longest string, width float64, f font.Face) []string {
	lines := c.wrap(note, width, f)
	for n := len(c.wrap(longest, width, f)); len(lines) < n; {
		lines = append(lines, "")
	}
	return lines
}

// rgba is the finished drawing.
func (c *canvas) rgba() *image.RGBA { return c.Image().(*image.RGBA) }
