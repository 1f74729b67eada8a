package table

import (
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
	cycles   [][]int64 // by the notes; nil without

	// Bare tells that the notes were left off: the table is what a controller
	// holds, all names are numbers, and there is no title.
	Bare bool
}

// StoredClip is one clip of a table.
type StoredClip struct {
	*ClipInfo
	show    *Show
	payload []byte
	frames  []uint8 // of a clip just written: its codes, which were compared with the unpacked ones
	points  []start // of kind coded
}

// Read reads a table and verifies all of it: checksums, fields, every frame of
// every clip (decoded once, without keeping it), every current in the notes against
// a recount. b may hold nothing but the table, whole or without its notes (see
// ForController).
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
	bare := len(b) == h.NotesOffset
	if len(b) < h.TableLength && !bare {
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
		t.clips = append(t.clips, &StoredClip{ClipInfo: c, show: &t.Show, payload: payload})
	}
	var stored [][]int64
	if !bare {
		if stored, t.cycles, err = t.readNotes(b[h.NotesOffset:]); err != nil {
			return nil, err
		}
	}
	t.Bare = bare
	return t, t.verify(stored, proven)
}

// verify decodes every frame, unless its current is given, and holds it
// against the currents of the notes.
func (t *Table) verify(stored, proven [][]int64) error {
	frame := make([]uint8, t.Channels())
	for i, c := range t.clips {
		d, err := newDecoder(&t.Show, c.ClipInfo, c.payload)
		if err != nil {
			return err
		}
		if d.coded != nil {
			c.points = d.coded.m.k.starts
		}
		var peak int64
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
			ma := (ua + 999) / 1000
			if stored != nil && stored[i][f] != ma {
				return fmt.Errorf("table: clip %q, frame %d draws %d uA, the notes say %d mA: %w", c.Name, f, ua, stored[i][f], ErrData)
			}
			list = append(list, ma)
		}
		if peak != c.Peak {
			return fmt.Errorf("table: clip %q draws at most %d uA, the table says %d: %w", c.Name, peak, c.Peak, ErrData)
		}
		t.currents = append(t.currents, list)
		if err := t.verifyCycles(i); err != nil {
			return err
		}
	}
	return nil
}

// verifyCycles holds the costs of a clip's frames against its record.
func (t *Table) verifyCycles(i int) error {
	if t.cycles == nil {
		return nil
	}
	most := int64(0)
	for _, cycles := range t.cycles[i] {
		if cycles < 0 {
			return fmt.Errorf("table: clip %q, a frame of %d cycles: %w", t.Clips[i].Name, cycles, ErrData)
		}
		most = max(most, cycles)
	}
	if c := int64(t.Clips[i].Cycles); most != (c+cycleUnit-1)/cycleUnit*cycleUnit {
		return fmt.Errorf("table: clip %q takes at most %d cycles a frame by its record and %d by the notes: %w", t.Clips[i].Name, c, most, ErrData)
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

// Cycles bounds what every frame of clip i costs a controller to unpack, in
// processor cycles, a multiple of 256; nil when the table does not say. Not to
// be changed.
func (t *Table) Cycles(i int) []int64 {
	if t.cycles == nil {
		return nil
	}
	return t.cycles[i]
}

// ForController is the part of the table that a controller reads: all but the
// notes. Read takes it too.
func (t *Table) ForController() []byte { return t.bytes[:t.NotesOffset] }

// Start gives a decoder before the clip's first frame. Decoders are
// independent of each other; one serves one goroutine.
func (c *StoredClip) Start() *Decoder {
	if c.frames != nil {
		return &Decoder{clip: c.ClipInfo, size: c.show.Channels(), frames: c.frames}
	}
	d, err := newDecoder(c.show, c.ClipInfo, c.payload)
	if err != nil {
		// Read has made this very decoder and run it to the end.
		panic(err)
	}
	return d
}
