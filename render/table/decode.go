package table

import (
	"fmt"
	"io"
)

// Decoder unpacks a clip frame by frame, forwards.
type Decoder struct {
	clip    *ClipInfo
	size    int
	payload []byte
	frame   int // the next one
}

func newDecoder(t *Show, c *ClipInfo, payload []byte) (*Decoder, error) {
	d := &Decoder{clip: c, size: t.Channels(), payload: payload}
	want := -1
	switch c.Kind {
	case Still:
		want = d.size
	case Raw:
		want = d.size * c.Frames
	default:
		return nil, fmt.Errorf("table: clip %q is of kind %d: %w", c.Name, c.Kind, ErrKind)
	}
	if want >= 0 && len(payload) != want {
		return nil, fmt.Errorf("table: clip %q: %d bytes of kind %v, want %d: %w", c.Name, len(payload), c.Kind, want, ErrData)
	}
	return d, nil
}

// Frame is the number of the frame that Next gives next.
func (d *Decoder) Frame() int { return d.frame }

// Next unpacks the next frame into dst, a frame long (or it panics); after the
// last one it returns io.EOF. It allocates nothing.
func (d *Decoder) Next(dst []uint8) error {
	if len(dst) != d.size {
		panic("table: a frame of another length than the table's")
	}
	if d.frame >= d.clip.Frames {
		return io.EOF
	}
	switch d.clip.Kind {
	case Still:
		copy(dst, d.payload)
	case Raw:
		copy(dst, d.payload[d.frame*d.size:])
	}
	d.frame++
	return nil
}

// Seek goes to a frame of the clip, 0 to Frames (where Next gives io.EOF).
func (d *Decoder) Seek(frame int) error {
	if frame < 0 || frame > d.clip.Frames {
		return fmt.Errorf("table: clip %q has no frame %d of %d: %w", d.clip.Name, frame, d.clip.Frames, ErrData)
	}
	d.frame = frame
	return nil
}

// end tells whether the payload was used up with the last frame.
func (d *Decoder) end() error { return nil }
