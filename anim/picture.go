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

// Seen is a picture of the light on the glass: N targets, top to bottom, each W
// by H points over the whole panel, the upper row at the panel's upper edge.
type Seen struct {
	W, H, N int
	Light   []Light // N x H x W, linear sRGB, 1 = white; transparent points are dark
	frames  int
}

// maxSeen bounds a seen picture's points.
const maxSeen = 40_000_000

// readSeen decodes a picture of n targets.
func readSeen(data []byte, n, frames int, gamma float64) (*Seen, error) {
	cfg, kind, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("is no PNG, GIF or JPEG picture that can be read (%w)", err)
	}
	if cfg.Width*cfg.Height > maxSeen {
		return nil, fmt.Errorf("is %d x %d, over the limit of %d million points", cfg.Width, cfg.Height, maxSeen/1_000_000)
	}
	if cfg.Width < 1 || cfg.Height < n || cfg.Height%n != 0 {
		return nil, fmt.Errorf("is %d points high, which is not a multiple of %d targets", cfg.Height, n)
	}
	if n > frames {
		return nil, fmt.Errorf("holds %d targets, but the clip has %d frames", n, frames)
	}
	img, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("%s picture is damaged (%w)", kind, err)
	}
	flat := image.NewNRGBA(image.Rect(0, 0, cfg.Width, cfg.Height))
	draw.Draw(flat, flat.Bounds(), img, img.Bounds().Min, draw.Src)
	s := &Seen{W: cfg.Width, H: cfg.Height / n, N: n, Light: make([]Light, cfg.Width*cfg.Height), frames: frames}
	table := color.DecodeTable(gamma)
	for i := range s.Light {
		q := flat.Pix[4*i : 4*i+4 : 4*i+4]
		alpha := float32(q[3]) / 255
		for k := range s.Light[i] {
			s.Light[i][k] = float32(table[q[k]] * alpha)
		}
	}
	return s, nil
}

// Of is the target that a frame of the clip shows.
func (s *Seen) Of(frame int) int { return frame * s.N / s.frames }

// Target is one of the targets.
func (s *Seen) Target(n int) []Light { return s.Light[n*s.W*s.H : (n+1)*s.W*s.H] }

// seenGuess lights every pixel as the picture is at its place: how the clip
// would look if nothing blurred.
type seenGuess struct {
	*Seen
	layout *layout.Layout
}

func (g *seenGuess) Frames() int   { return g.frames }
func (g *seenGuess) Start() Cursor { return &seenCursor{seenGuess: g} }

type seenCursor struct {
	*seenGuess
	frame int
}

func (c *seenCursor) Seek(frame int) error { c.frame = frame; return nil }

func (c *seenCursor) Next(dst []Light) error {
	t := c.Target(c.Of(c.frame))
	for i := range dst {
		p := &c.layout.Pixels[i]
		x := min(max(int(float64(p.U*float64(c.W))), 0), c.W-1)
		y := min(max(int(float64((1-p.V)*float64(c.H))), 0), c.H-1)
		dst[i] = t[y*c.W+x]
	}
	c.frame = (c.frame + 1) % c.frames
	return nil
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
