package photo

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	_ "image/jpeg" // the formats that cameras and raw converters write
	_ "image/png"
	"io"
	"io/fs"
	"os"
)

// MaxPixels is the most pixels of one photo, and MaxBytes of its file: the
// largest that a phone writes in its plain mode is some 50 million pixels.
const (
	MaxPixels = 64_000_000
	MaxBytes  = 256 << 20
)

// clipCode is where a code counts as clipped, in 16 bits: 250 of 255. Cameras
// bend their curve over the last codes, and JPEG rings around a clipped core.
const clipCode = 250 * 257

// Picture is one decoded photo.
type Picture struct {
	Name   string // of its file
	W, H   int
	Format string // "png" or "jpeg"
	Bits   int    // of one code: 8 or 16

	img   image.Image
	light []float32 // by 16-bit code
}

// Open reads a photo from disk; see Read.
func Open(path string, e Encoding) (*Picture, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, refuse(path, "photo.unreadable", "name a PNG or JPEG file", "there is no such file")
	}
	if err != nil {
		return nil, refuse(path, "photo.unreadable", "make the file readable", "%v", err)
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, MaxBytes+1))
	if err != nil {
		return nil, refuse(path, "photo.unreadable", "name the photo itself, not its folder", "%v", err)
	}
	return Read(path, b, e)
}

// Read decodes a photo; name stands in what is told about it. Its size is looked
// at first: over MaxPixels nothing is decoded.
func Read(name string, b []byte, e Encoding) (*Picture, error) {
	if len(b) > MaxBytes {
		return nil, refuse(name, "photo.too_large", "save it as JPEG, or crop it around the spot", "the file is larger than %d MiB", MaxBytes>>20)
	}
	const formats = "name a photo as PNG or JPEG; save raw and HEIC files as 16-bit PNG"
	conf, format, err := image.DecodeConfig(bytes.NewReader(b))
	if err != nil {
		return nil, refuse(name, "photo.unreadable", formats, "not a picture: %v", err)
	}
	if conf.Width < 1 || conf.Height < 1 {
		return nil, refuse(name, "photo.unreadable", formats, "the picture is %d x %d pixels", conf.Width, conf.Height)
	}
	if n := int64(conf.Width) * int64(conf.Height); n > MaxPixels {
		return nil, refuse(name, "photo.too_large", "crop it around the spot, or halve its size",
			"the picture has %d x %d pixels, %d million; the most is %d million", conf.Width, conf.Height, n/1_000_000, MaxPixels/1_000_000)
	}
	img, _, err := image.Decode(bytes.NewReader(b))
	if err != nil {
		return nil, refuse(name, "photo.unreadable", "copy it from the camera again", "the picture is damaged: %v", err)
	}
	p := &Picture{Name: name, W: img.Bounds().Dx(), H: img.Bounds().Dy(), Format: format, Bits: 8, img: img, light: e.table()}
	switch m := img.(type) {
	case *image.Gray16, *image.RGBA64, *image.NRGBA64:
		p.Bits = 16
	case *image.CMYK:
		return nil, refuse(name, "photo.unreadable", "save it in sRGB", "the picture is in CMYK, made for printing")
	case *image.NRGBA:
		for i := 3; i < len(m.Pix); i += 4 {
			if m.Pix[i] != 255 {
				return nil, transparent(name)
			}
		}
	}
	if m, ok := img.(*image.NRGBA64); ok {
		for i := 6; i < len(m.Pix); i += 8 {
			if m.Pix[i] != 255 || m.Pix[i+1] != 255 {
				return nil, transparent(name)
			}
		}
	}
	return p, nil
}

func transparent(name string) error {
	return refuse(name, "photo.unreadable", "save it without transparency", "parts of the picture are transparent, so how bright they are is not told")
}

// row reads one row's codes, 16 bits a channel.
func (p *Picture) row(y int, dst [][3]uint16) {
	y += p.img.Bounds().Min.Y
	x0 := p.img.Bounds().Min.X
	switch m := p.img.(type) {
	case *image.Gray:
		o := m.PixOffset(x0, y)
		for x := range dst {
			v := uint16(m.Pix[o+x]) * 257
			dst[x] = [3]uint16{v, v, v}
		}
	case *image.Gray16:
		o := m.PixOffset(x0, y)
		for x := range dst {
			v := uint16(m.Pix[o+2*x])<<8 | uint16(m.Pix[o+2*x+1])
			dst[x] = [3]uint16{v, v, v}
		}
	case *image.YCbCr:
		for x := range dst {
			i, c := m.YOffset(x0+x, y), m.COffset(x0+x, y)
			r, g, b := color.YCbCrToRGB(m.Y[i], m.Cb[c], m.Cr[c])
			dst[x] = [3]uint16{uint16(r) * 257, uint16(g) * 257, uint16(b) * 257}
		}
	case *image.RGBA:
		codes8(dst, m.Pix[m.PixOffset(x0, y):])
	case *image.NRGBA:
		codes8(dst, m.Pix[m.PixOffset(x0, y):])
	case *image.RGBA64:
		codes16(dst, m.Pix[m.PixOffset(x0, y):])
	case *image.NRGBA64:
		codes16(dst, m.Pix[m.PixOffset(x0, y):])
	default: // a palette
		for x := range dst {
			r, g, b, _ := m.At(x0+x, y).RGBA()
			dst[x] = [3]uint16{uint16(r), uint16(g), uint16(b)}
		}
	}
}

func codes8(dst [][3]uint16, pix []uint8) {
	for x := range dst {
		q := pix[4*x : 4*x+3]
		dst[x] = [3]uint16{uint16(q[0]) * 257, uint16(q[1]) * 257, uint16(q[2]) * 257}
	}
}

func codes16(dst [][3]uint16, pix []uint8) {
	for x := range dst {
		q := pix[8*x : 8*x+6]
		dst[x] = [3]uint16{uint16(q[0])<<8 | uint16(q[1]), uint16(q[2])<<8 | uint16(q[3]), uint16(q[4])<<8 | uint16(q[5])}
	}
}

// at is where something stands in the photo, counted from its upper left corner.
func (p *Picture) at(x, y float64) string {
	return fmt.Sprintf("%s, pixel %.0f,%.0f", p.Name, x, y)
}
