package picture

import (
	"bytes"
	"encoding/binary"
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

// GIF writes an animation that repeats, with one palette of 256 colors for all
// frames, found by median cut over a sample of them. GIF times are hundredths
// of a second, so the rate is the nearest that they allow.
func GIF(w io.Writer, frames []*image.RGBA, fps float64) error {
	if len(frames) == 0 {
		return fmt.Errorf("an animation needs at least 1 frame")
	}
	b := frames[0].Bounds()
	sample := image.NewRGBA(image.Rect(0, 0, b.Dx(), b.Dy()*min(len(frames), 8)))
	for i := range min(len(frames), 8) {
		f := frames[i*len(frames)/min(len(frames), 8)]
		draw.Draw(sample, image.Rect(0, i*b.Dy(), b.Dx(), (i+1)*b.Dy()), f, f.Bounds().Min, draw.Src)
	}
	palette := median.Quantizer(256).Quantize(make(color.Palette, 0, 256), sample)
	g := &gif.GIF{}
	elapsed := 0
	for i, f := range frames {
		p := image.NewPaletted(b, palette)
		draw.FloydSteinberg.Draw(p, b, f, b.Min)
		until := int(float64(i+1)*100/fps + 0.5)
		g.Image = append(g.Image, p)
		g.Delay = append(g.Delay, max(2, until-elapsed)) // under 2 viewers slow down
		elapsed = until
	}
	return gif.EncodeAll(w, g)
}

var pngSignature = []byte("\x89PNG\r\n\x1a\n")

// APNG writes an animation that repeats as a PNG with animation chunks (PNG
// third edition, W3C 2025: acTL, fcTL, fdAT). Viewers without animation show
// the first frame.
func APNG(w io.Writer, frames []*image.RGBA, fps float64) error {
	if len(frames) == 0 {
		return fmt.Errorf("an animation needs at least 1 frame")
	}
	a := &chunks{w: w}
	a.raw(pngSignature)
	for i, f := range frames {
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
			binary.BigEndian.PutUint32(ac[:], uint32(len(frames)))
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
			continue
		}
		fd := binary.BigEndian.AppendUint32(nil, a.next())
		a.chunk("fdAT", append(fd, data...))
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
