package table

import (
	"encoding/binary"
	"fmt"

	"paneglow/render/power"
)

// Limits of a reader; a zero field means its default.
type Limits struct {
	Bytes   int   // of the table; default 64 MiB. Stops a file that is no table from filling memory
	Decoded int64 // frames times channels of all clips; default 2 GiB. Stops few bytes that stand for ages of frames
}

func (l Limits) filled() Limits {
	if l.Bytes == 0 {
		l.Bytes = 64 << 20
	}
	if l.Decoded == 0 {
		l.Decoded = 2 << 30
	}
	return l
}

// Table is a verified table. It keeps the bytes it was read from, which must
// not change. It is safe for any number of goroutines.
type Table struct {
	Header
	bytes    []byte
	meter    *power.Meter
	clips    []*StoredClip
	currents [][]int64 // milliamperes
}

// StoredClip is one clip of a table.
type StoredClip struct {
	*ClipInfo
	show    *Show
	payload []byte
}

// Read reads a table and verifies all of it: checksums, fields, every frame of
// every clip (decoded once, without keeping it), every stored current against
// a recount. b may hold nothing but the table.
func Read(b []byte, limits Limits) (*Table, error) { return read(b, limits, nil) }

// read is Read. Where the writer has just decoded and compared every frame, it
// gives their currents, and the frames are not decoded a second time.
func read(b []byte, limits Limits, proven [][]int64) (*Table, error) {
	l := limits.filled()
	if len(b) > l.Bytes {
		return nil, fmt.Errorf("table: %d bytes, the limit is %d: %w", len(b), l.Bytes, ErrLimit)
	}
	h, err := parseHeader(b)
	if err != nil {
		return nil, err
	}
	if len(b) < h.TableLength {
		return nil, fmt.Errorf("table: %d bytes of %d: %w", len(b), h.TableLength, ErrCut)
	}
	if len(b) > h.TableLength {
		return nil, fmt.Errorf("table: %d bytes, it ends after %d: %w", len(b), h.TableLength, ErrExtra)
	}
	var decoded int64
	for i := range h.Clips {
		decoded += int64(h.Clips[i].Frames) * int64(max(h.Channels(), 1))
	}
	if decoded > l.Decoded {
		return nil, fmt.Errorf("table: its frames are %d bytes, the limit is %d: %w", decoded, l.Decoded, ErrLimit)
	}
	t := &Table{Header: *h, bytes: b}
	if t.meter, err = h.Meter(); err != nil {
		return nil, fmt.Errorf("%w: %w", err, ErrData)
	}
	for i := range t.Clips {
		c := &t.Clips[i]
		payload, err := open(b[c.Offset:c.Offset+c.Length+4], fmt.Sprintf("clip %q", c.Name))
		if err != nil {
			return nil, err
		}
		t.clips = append(t.clips, &StoredClip{c, &t.Show, payload})
	}
	body, err := open(b[h.currents:], "currents")
	if err != nil {
		return nil, err
	}
	return t, t.verify(body, proven)
}

// verify decodes every frame, unless its current is given, and holds it
// against the stored currents.
func (t *Table) verify(body []byte, proven [][]int64) error {
	frame := make([]uint8, t.Channels())
	for i, c := range t.clips {
		d, err := newDecoder(&t.Show, c.ClipInfo, c.payload)
		if err != nil {
			return err
		}
		var peak, last int64
		list := make([]int64, 0, min(c.Frames, 1<<16))
		for f := 0; f < c.Frames; f++ {
			var ua int64
			if proven != nil {
				ua = proven[i][f]
			} else {
				if err := d.Next(frame); err != nil {
					return err
				}
				ua = t.meter.Current(frame)
			}
			peak = max(peak, ua)
			diff, n := binary.Varint(body)
			if n <= 0 {
				return fmt.Errorf("table: the currents end in clip %q, frame %d: %w", c.Name, f, ErrData)
			}
			body = body[n:]
			last += diff
			if last != (ua+999)/1000 {
				return fmt.Errorf("table: clip %q, frame %d draws %d uA, the table says %d mA: %w", c.Name, f, ua, last, ErrData)
			}
			list = append(list, last)
		}
		if proven == nil {
			if err := d.end(); err != nil {
				return err
			}
		}
		if peak != c.Peak {
			return fmt.Errorf("table: clip %q draws at most %d uA, the table says %d: %w", t.clips[i].Name, peak, c.Peak, ErrData)
		}
		t.currents = append(t.currents, list)
	}
	if len(body) != 0 {
		return fmt.Errorf("table: %d bytes after the last current: %w", len(body), ErrData)
	}
	return nil
}

// Bytes is the table as it was read, not to be changed.
func (t *Table) Bytes() []byte { return t.bytes }

// Meter counts currents with the part currents that the table holds.
func (t *Table) Meter() *power.Meter { return t.meter }

// Clip gives clip i of the header.
func (t *Table) Clip(i int) *StoredClip { return t.clips[i] }

// Currents is the stored current of every frame of clip i in milliamperes,
// rounded up; not to be changed.
func (t *Table) Currents(i int) []int64 { return t.currents[i] }

// Start gives a decoder before the clip's first frame. Decoders are
// independent of each other; one serves one goroutine.
func (c *StoredClip) Start() *Decoder {
	d, err := newDecoder(c.show, c.ClipInfo, c.payload)
	if err != nil {
		// Read has made this very decoder and run it to the end.
		panic(err)
	}
	return d
}
