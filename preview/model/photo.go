package model

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	_ "image/jpeg" // photos are read in these two forms
	_ "image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/image/draw"
	"golang.org/x/image/math/f64"
)

const (
	// mostPhotoBytes and mostPhotoPixels keep a wrong file from taking the
	// machine: a camera's largest JPEG is about 40 MB for 100 million pixels
	// (common practice).
	mostPhotoBytes  = 64 << 20
	mostPhotoPixels = 120e6
	// mostSide is the longer side a photo is kept at. The panel is shown on a
	// thousand screen pixels or so; zoomed in fourfold, this is still one for two.
	mostSide = 2048
)

// photo is a picture of the panel, upright as the camera held it.
type photo struct {
	path    string
	w, h    int // as the file has it, turned upright
	img     *image.RGBA
	changed time.Time // of the file
}

// readPhoto reads a PNG or JPEG. The error says what is wrong and what helps.
func readPhoto(path string) (*photo, error) {
	name := filepath.Base(path)
	st, err := os.Stat(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, fmt.Errorf("there is no photo %s: type the name of a PNG or JPEG file", path)
	case err != nil:
		return nil, fmt.Errorf("the photo cannot be read: %w", err)
	case st.IsDir():
		return nil, fmt.Errorf("%s is a folder: type the name of a PNG or JPEG file in it", name)
	case st.Size() > mostPhotoBytes:
		return nil, fmt.Errorf("%s has %d MB, the most is %d MB: save it smaller", name, st.Size()>>20, mostPhotoBytes>>20)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("the photo cannot be read: %w", err)
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, mostPhotoBytes))
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", name, err)
	}
	p, err := decodePhoto(name, b)
	if err != nil {
		return nil, err
	}
	p.path, p.changed = path, st.ModTime()
	return p, nil
}

// decodePhoto is readPhoto for bytes.
func decodePhoto(name string, b []byte) (*photo, error) {
	c, form, err := image.DecodeConfig(bytes.NewReader(b))
	if err != nil || form != "png" && form != "jpeg" {
		return nil, fmt.Errorf("%s is not a PNG or JPEG picture, whatever its name says: save the photo as one of them", name)
	}
	if c.Width < 1 || c.Height < 1 || float64(c.Width)*float64(c.Height) > mostPhotoPixels {
		return nil, fmt.Errorf("%s has %d x %d pixels, the most is %.0f million: save it smaller", name, c.Width, c.Height, mostPhotoPixels/1e6)
	}
	src, _, err := image.Decode(bytes.NewReader(b))
	if err != nil {
		return nil, fmt.Errorf("%s is damaged: %w; copy it from the camera again", name, err)
	}
	w, h := src.Bounds().Dx(), src.Bounds().Dy()
	if long := max(w, h); long > mostSide {
		w, h = max(1, w*mostSide/long), max(1, h*mostSide/long)
	}
	p := &photo{w: src.Bounds().Dx(), h: src.Bounds().Dy(), img: shrunk(src, w, h)}
	if form == "jpeg" {
		p.turn(turnOf(b))
	}
	return p, nil
}

// shrunk averages a picture down to w by h, at most its own size. It goes band by
// band: the general scalers keep a whole picture of floating-point numbers, a
// quarter of a gigabyte for a telephone's photo.
func shrunk(src image.Image, w, h int) *image.RGBA {
	at := src.Bounds()
	dst := image.NewRGBA(image.Rect(0, 0, w, h))
	rows := (at.Dy() + h - 1) / h
	band := image.NewRGBA(image.Rect(0, 0, at.Dx(), rows+1))
	for y := range h {
		y0, y1 := y*at.Dy()/h, (y+1)*at.Dy()/h
		draw.Draw(band, image.Rect(0, 0, at.Dx(), y1-y0), src, image.Pt(at.Min.X, at.Min.Y+y0), draw.Src)
		for x := range w {
			x0, x1 := x*at.Dx()/w, (x+1)*at.Dx()/w
			var sum [4]uint32
			for sy := range y1 - y0 {
				q := band.Pix[band.PixOffset(x0, sy) : band.PixOffset(x0, sy)+4*(x1-x0)]
				for i := 0; i < len(q); i += 4 {
					sum[0] += uint32(q[i])
					sum[1] += uint32(q[i+1])
					sum[2] += uint32(q[i+2])
					sum[3] += uint32(q[i+3])
				}
			}
			n := uint32((y1 - y0) * (x1 - x0))
			o := dst.PixOffset(x, y)
			for c := range sum {
				dst.Pix[o+c] = uint8((sum[c] + n/2) / n)
			}
		}
	}
	return dst
}

// turn sets a picture upright by the number that cameras write: 1 to 8, the
// tag Orientation of Exif 2.3 (TIFF 6.0 section "Orientation").
func (p *photo) turn(o int) {
	if o < 2 || o > 8 {
		return
	}
	src := p.img
	w, h := src.Rect.Dx(), src.Rect.Dy()
	across := o >= 5 // rows become columns
	dw, dh := w, h
	if across {
		dw, dh, p.w, p.h = h, w, p.h, p.w
	}
	dst := image.NewRGBA(image.Rect(0, 0, dw, dh))
	for y := range dh {
		for x := range dw {
			// Where the stored row 0 and column 0 are seen, by the tag's table.
			sx, sy := x, y
			if across {
				sx, sy = y, x
			}
			switch o {
			case 2, 7, 3, 8:
				sx = w - 1 - sx
			}
			switch o {
			case 3, 4, 6, 7:
				sy = h - 1 - sy
			}
			copy(dst.Pix[dst.PixOffset(x, y):][:4], src.Pix[src.PixOffset(sx, sy):][:4])
		}
	}
	p.img = dst
}

// turnOf finds Orientation in a JPEG's Exif block; 1, upright, where there is
// none or it cannot be read: then one sees it lie, and marks it all the same.
func turnOf(b []byte) int {
	for at := 2; at+4 <= len(b) && b[at] == 0xff; {
		kind, n := b[at+1], int(binary.BigEndian.Uint16(b[at+2:]))
		if kind == 0xda || n < 2 || at+2+n > len(b) {
			break
		}
		body := b[at+4 : at+2+n]
		if kind == 0xe1 && bytes.HasPrefix(body, []byte("Exif\x00\x00")) {
			return tiffTurn(body[6:])
		}
		at += 2 + n
	}
	return 1
}

// tiffTurn reads the tag 0x0112 of the first directory.
func tiffTurn(b []byte) int {
	if len(b) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.BigEndian
	if b[0] == 'I' {
		order = binary.LittleEndian
	}
	at := int64(order.Uint32(b[4:]))
	if at+2 > int64(len(b)) {
		return 1
	}
	n := int64(order.Uint16(b[at:]))
	for i := range n {
		e := at + 2 + 12*i
		if e+12 > int64(len(b)) {
			break
		}
		if order.Uint16(b[e:]) == 0x0112 {
			return int(order.Uint16(b[e+8:]))
		}
	}
	return 1
}

// laid is a part of the panel's plane with the photo on it.
type laid struct {
	box   Rect // mm: X, Y its lower left corner
	image *Image
}

// lay draws the photo as it lies on a box of the panel's plane, w by h pixels.
func (p *photo) lay(m mapping, box Rect, w, h, version int) *laid {
	dst := image.NewRGBA(image.Rect(0, 0, w, h))
	// From the kept picture's pixels to those of dst; both count from their upper
	// left corner, the panel from the lower left.
	kx, ky := float64(p.w)/float64(p.img.Rect.Dx()), float64(p.h)/float64(p.img.Rect.Dy())
	sx, sy := float64(w)/box.W, float64(h)/box.H
	o, ex, ey := m.mm(Point{0, 0}), m.mm(Point{kx, 0}), m.mm(Point{0, ky})
	to := f64.Aff3{
		(ex.X - o.X) * sx, (ey.X - o.X) * sx, (o.X - box.X) * sx,
		-(ex.Y - o.Y) * sy, -(ey.Y - o.Y) * sy, float64(h) - (o.Y-box.Y)*sy,
	}
	draw.Draw(dst, dst.Rect, image.NewUniform(color.RGBA{}), image.Point{}, draw.Src)
	draw.ApproxBiLinear.Transform(dst, to, p.img, p.img.Rect, draw.Src, nil)
	return &laid{box: box, image: &Image{W: w, H: h, Pix: dst.Pix, Version: version, Smooth: true}}
}

// photosIn is the names of the PNG and JPEG files of a folder, the newest first.
func photosIn(dir string) []string {
	list, err := os.ReadDir(dir)
	if err != nil {
		return nil // told when the show itself is read
	}
	type one struct {
		name string
		at   time.Time
	}
	var all []one
	for _, e := range list {
		switch strings.ToLower(filepath.Ext(e.Name())) {
		case ".png", ".jpg", ".jpeg":
		default:
			continue
		}
		if st, err := e.Info(); err == nil && st.Mode().IsRegular() && !strings.HasPrefix(e.Name(), ".") {
			all = append(all, one{e.Name(), st.ModTime()})
		}
	}
	var names []string
	for len(all) > 0 {
		k := 0
		for i := range all {
			if all[i].at.After(all[k].at) {
				k = i
			}
		}
		names = append(names, all[k].name)
		all = append(all[:k], all[k+1:]...)
	}
	return names
}
