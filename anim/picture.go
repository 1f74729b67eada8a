package anim

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	_ "image/gif"  // picture clips may be GIF,
	_ "image/jpeg" // JPEG (soft edges: fine for light, useless for exact codes)
	_ "image/png"  // or PNG

	"paneglow/anim/color"
	"paneglow/anim/layout"
)

// maxPicture bounds a picture clip: ten minutes at 60 fps of 2000 pixels.
const maxPicture = 36_000 * 2_000

// readPicture decodes a picture of one row a frame and one column a pixel, and
// refuses one that does not fit before its pixels are decoded.
func readPicture(data []byte, rows, columns int) (*image.NRGBA, error) {
	cfg, kind, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("is no PNG, GIF or JPEG picture that can be read (%w)", err)
	}
	if cfg.Width*cfg.Height > maxPicture {
		return nil, fmt.Errorf("is %d x %d, over the limit of %d million points", cfg.Width, cfg.Height, maxPicture/1_000_000)
	}
	if cfg.Width != columns || cfg.Height != rows {
		return nil, fmt.Errorf("is %d wide and %d high, but the clip wants one column a pixel, %d, and one row a frame, %d", cfg.Width, cfg.Height, columns, rows)
	}
	img, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("%s picture is damaged (%w)", kind, err)
	}
	out := image.NewNRGBA(image.Rect(0, 0, columns, rows))
	draw.Draw(out, out.Bounds(), img, img.Bounds().Min, draw.Src)
	return out, nil
}

// picture is a picture clip's source: row = frame, column = pixel of the
// layer's strips in data order. Transparent points are dark.
type picture struct {
	img    *image.NRGBA
	pixels []int // layout index of each column
	all    int   // pixels of the layout
	table  *[256]float32
}

// columns lists the pixels of some strips in data order; nil means all strips.
func columns(l *layout.Layout, mask []bool) []int {
	var out []int
	for i := range l.Pixels {
		if mask == nil || mask[i] {
			out = append(out, i)
		}
	}
	return out
}

func newPicture(img *image.NRGBA, pixels []int, all int, gamma float64) *picture {
	return &picture{img, pixels, all, color.DecodeTable(gamma)}
}

func (p *picture) Frames() int   { return p.img.Rect.Dy() }
func (p *picture) Start() Cursor { return &pictureCursor{picture: p} }

type pictureCursor struct {
	*picture
	frame int
}

func (c *pictureCursor) Seek(frame int) error { c.frame = frame; return nil }

func (c *pictureCursor) Next(dst []Light) error {
	row := c.img.Pix[c.frame*c.img.Stride:]
	clear(dst)
	for i, p := range c.pixels {
		q := row[4*i : 4*i+4 : 4*i+4]
		alpha := float32(q[3]) / 255
		for k := range dst[p] {
			dst[p][k] = float32(c.table[q[k]] * alpha)
		}
	}
	c.frame = (c.frame + 1) % c.Frames()
	return nil
}
