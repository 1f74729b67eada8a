package picture

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/draw"
	"image/gif"
	"image/png"
	"io"

	"github.com/soniakeys/quant/median"
)

// PNG writes one picture.
func PNG(w io.Writer, img image.Image) error {
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	return enc.Encode(w, img)
}

// Frames draws frame i of an animation. What it returns is used until the next
// call. An error ends the animation.
type Frames func(i int) (*image.RGBA, error)

// all gives pictures that are there already.
func all(frames []*image.RGBA) Frames {
	return func(i int) (*image.RGBA, error) { return frames[i], nil }
}

// GIF writes an animation that repeats; see GIFOf.
func GIF(w io.Writer, frames []*image.RGBA, fps float64) error {
	return GIFOf(w, len(frames), fps, all(frames))
}

// Samples is how many frames GIFOf draws twice: first for the palette.
func Samples(n int) int { return min(n, 8) }

// GIFOf writes an animation of n frames that repeats, with one palette of 256
// colors for all of them, found by median cut over a sample. GIF times are
// hundredths of a second, so the rate is the nearest that they allow. It keeps one
// byte a pixel until the end.
func GIFOf(w io.Writer, n int, fps float64, frame Frames) error {
	if n < 1 {
		return errNoFrames
	}
	k := Samples(n)
	var sample *image.RGBA
	var b image.Rectangle
	for i := range k {
		f, err := frame(i * n / k)
		if err != nil {
			return err
		}
		if i == 0 {
			b = f.Bounds()
			sample = image.NewRGBA(image.Rect(0, 0, b.Dx(), b.Dy()*k))
		}
		draw.Draw(sample, image.Rect(0, i*b.Dy(), b.Dx(), (i+1)*b.Dy()), f, f.Bounds().Min, draw.Src)
	}
	palette := median.Quantizer(256).Quantize(make(color.Palette, 0, 256), sample)
	g := &gif.GIF{}
	elapsed := 0
	for i := range n {
		f, err := frame(i)
		if err != nil {
			return err
		}
		if f.Bounds() != b {
			return fmt.Errorf("frame %d has another size than frame 0", i)
		}
		p := image.NewPaletted(b, palette)
		draw.FloydSteinberg.Draw(p, b, f, b.Min)
		until := int(float64(i+1)*100/fps + 0.5)
		g.Image = append(g.Image, p)
		g.Delay = append(g.Delay, max(2, until-elapsed)) // under 2 viewers slow down
		elapsed = until
	}
	return gif.EncodeAll(w, g)
}

var errNoFrames = errors.New("an animation needs at least 1 frame")

var pngSignature = []byte("\x89PNG\r\n\x1a\n")

// APNG writes an animation that repeats; see APNGOf.
func APNG(w io.Writer, frames []*image.RGBA, fps float64) error {
	return APNGOf(w, len(frames), fps, all(frames))
}

// APNGOf writes an animation of n frames that repeats as a PNG with animation
// chunks (PNG third edition, W3C 2025: acTL, fcTL, fdAT). Viewers without animation
// show the first frame. Frames are written as they are drawn.
func APNGOf(w io.Writer, n int, fps float64, frame Frames) error {
	if n < 1 {
		return errNoFrames
	}
	a := &chunks{w: w}
	a.raw(pngSignature)
	for i := range n {
		f, err := frame(i)
		if err != nil {
			return err
		}
		var buf bytes.Buffer
		if err := PNG(&buf, f); err != nil {
			return err
		}
		header, data, err := split(buf.Bytes())
		if err != nil {
			return err
		}
		if i == 0 {
			a.chunk("IHDR", header)
			var ac [8]byte
			binary.BigEndian.PutUint32(ac[:], uint32(n))
			a.chunk("acTL", ac[:])
			a.first = header
		}
		if !bytes.Equal(header, a.first) {
			return fmt.Errorf("frame %d has another size or colour type than frame 0", i)
		}
		var fc [26]byte
		binary.BigEndian.PutUint32(fc[0:], a.next())
		copy(fc[4:12], header[:8]) // width, height; offsets stay 0
		binary.BigEndian.PutUint16(fc[20:], 100)
		binary.BigEndian.PutUint16(fc[22:], uint16(fps*100+0.5))
		a.chunk("fcTL", fc[:])
		if i == 0 {
			a.chunk("IDAT", data)
			if a.err != nil {
				return a.err
			}
			continue
		}
		fd := binary.BigEndian.AppendUint32(nil, a.next())
		a.chunk("fdAT", append(fd, data...))
		if a.err != nil {
			return a.err
		}
	}
	a.chunk("IEND", nil)
	return a.err
}

type chunks struct {
	w        io.Writer
	first    []byte
	sequence uint32
	err      error
}

func (a *chunks) next() uint32 { a.sequence++; return a.sequence - 1 }

func (a *chunks) raw(b []byte) {
	if a.err == nil {
		_, a.err = a.w.Write(b)
	}
}

func (a *chunks) chunk(kind string, data []byte) {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	b = append(append(b, kind...), data...)
	b = binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
	a.raw(b)
}

// split takes the header and the joined image data out of a PNG that this
// package wrote.
func split(b []byte) (header, data []byte, err error) {
	b = b[len(pngSignature):]
	for len(b) >= 12 {
		n := int(binary.BigEndian.Uint32(b))
		if len(b) < 12+n {
			break
		}
		switch string(b[4:8]) {
		case "IHDR":
			header = b[8 : 8+n]
		case "IDAT":
			data = append(data, b[8:8+n]...)
		case "IEND":
			return header, data, nil
		}
		b = b[12+n:]
	}
	return nil, nil, fmt.Errorf("the PNG encoder wrote a picture without an end")
}
