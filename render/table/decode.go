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
	frame   int          // the next one
	coded   *codedReader // kind coded only
	keys    *keyReader   // kinds keys and field only
	frames  []uint8      // in place of all that: every frame's codes
}

func newDecoder(t *Show, c *ClipInfo, payload []byte) (*Decoder, error) {
	d := &Decoder{clip: c, size: t.Channels(), payload: payload}
	want := -1
	switch c.Kind {
	case Still:
		want = d.size
	case Raw:
		want = d.size * c.Frames
	case Coded:
		var err error
		if d.coded, err = newCodedReader(t, c, payload); err != nil {
			return nil, err
		}
	case Keys, Field:
		var err error
		if d.keys, err = newKeyReader(t, c, payload); err != nil {
			return nil, err
		}
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
	if d.frames != nil {
		copy(dst, d.frames[d.frame*d.size:])
		d.frame++
		return nil
	}
	switch d.clip.Kind {
	case Still:
		copy(dst, d.payload)
	case Raw:
		copy(dst, d.payload[d.frame*d.size:])
	case Coded:
		if err := d.coded.next(); err != nil {
			return fmt.Errorf("table: clip %q: %w", d.clip.Name, err)
		}
		d.coded.codes(dst)
	case Keys, Field:
		if err := d.keys.next(dst, d.frame); err != nil {
			return fmt.Errorf("table: clip %q: %w", d.clip.Name, err)
		}
	}
	d.frame++
	return nil
}

// Seek goes to a frame of the clip, 0 to Frames (where Next gives io.EOF). A
// coded clip is decoded from its nearest start point, or from where it stands
// when that is nearer.
func (d *Decoder) Seek(frame int) error {
	if frame < 0 || frame > d.clip.Frames {
		return fmt.Errorf("table: clip %q has no frame %d of %d: %w", d.clip.Name, frame, d.clip.Frames, ErrData)
	}
	if d.coded != nil && frame < d.clip.Frames {
		if err := d.coded.seek(frame); err != nil {
			return fmt.Errorf("table: clip %q: %w", d.clip.Name, err)
		}
	}
	d.frame = frame
	return nil
}

// Starts is how many frames of the clip a player may begin with, without
// unpacking any before.
func (c *StoredClip) Starts() int {
	switch c.Kind {
	case Raw:
		return min(c.Frames, 65_535)
	case Coded:
		return len(c.points)
	}
	return 1
}

// StartFrame is the frame of start point i.
func (c *StoredClip) StartFrame(i int) int {
	if c.Kind == Coded {
		return c.points[i].frame
	}
	return i
}
