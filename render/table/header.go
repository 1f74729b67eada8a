package table

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
)

// magic opens every table: "Pane" with the high bit of the first letter set,
// so that no text file passes for a table (docs/table-format.md, section 2).
var magic = [4]byte{'P' | 0x80, 'a', 'n', 'e'}

// preamble is the length of the header's fixed part, before its records.
const preamble = 48

// mostHeader is more than any header within the limits of records.
const mostHeader = 1 << 16

// Kind says how a clip's frames are stored.
type Kind uint8

// The kinds of clip (docs/table-format.md, section 4).
const (
	Still Kind = 0 // all frames equal: one frame
	Raw   Kind = 1 // every frame as it is
	Coded Kind = 2 // differences to a prediction, by adaptive binary coding
	Keys  Kind = 3 // every so many frames, on a scale of lightness; light in straight lines between
	Field Kind = 4 // the same, every pixel one number, which a map of the clip's own turns into light
)

// Between tells whether light goes in straight lines between frames that are
// stored: what kinds Keys and Field have in common.
func (k Kind) Between() bool { return k == Keys || k == Field }

// String gives the word used on screens and in JSON.
func (k Kind) String() string {
	switch k {
	case Still:
		return "still"
	case Raw:
		return "raw"
	case Coded:
		return "coded"
	case Keys:
		return "keys"
	case Field:
		return "field"
	}
	return fmt.Sprintf("kind %d", uint8(k))
}

// ClipInfo is a clip's record in the header, and its name.
type ClipInfo struct {
	Name   string
	Frames int
	Kind   Kind
	Value  bool   // frame = value; else frames follow each other
	Loop   bool   // begins again after its last frame; else the last frame stays
	Random bool   // begins at a frame drawn by lot each time it is entered
	Offset int    // of the payload in the table
	Length int    // of the payload in bytes, checksum not included
	Peak   int64  // largest current of its frames, microamperes
	Work   int    // bytes of memory beside the frame that unpacking needs
	Cycles uint32 // processor cycles that its costliest frame takes to unpack, a bound; 0: not stated
}

// Header is everything in a table but its frames.
type Header struct {
	Show
	Version      int
	HeaderLength int    // bytes, its checksum included
	TableLength  int    // bytes
	NotesOffset  int    // of the notes, which no controller reads: it needs the bytes before them
	Panel        uint32 // CRC-32 of the records of parts, strips and missing pixels; see Show.PanelSum
	Clips        []ClipInfo
}

// Work is the most memory beside the frame that unpacking any clip needs, in
// bytes.
func (h *Header) Work() int {
	most := 0
	for i := range h.Clips {
		most = max(most, h.Clips[i].Work)
	}
	return most
}

// marshal gives the header's bytes, checksum included. Its length does not
// depend on the values of offsets, so a first call measures.
func (h *Header) marshal() []byte {
	records := h.Show.records(h.Clips)
	panel := h.Show.panel()
	missing := 0
	for i := range h.Strips {
		missing += len(h.Strips[i].Missing)
	}
	m := maker{b: make([]byte, 0, preamble+len(records)+len(panel)+4)}
	m.b = append(m.b, magic[:]...)
	m.u8(Version)
	m.u8(0)
	m.u16(h.FPS)
	m.u32(int64(h.HeaderLength))
	m.u32(int64(h.TableLength))
	m.u32(int64(h.NotesOffset))
	m.u32(int64(crc32.ChecksumIEEE(panel)))
	m.u16(h.Channels())
	m.u16(h.Pixels())
	m.u16(h.Work())
	m.u16(missing)
	m.u32(h.Silence)
	m.index(h.Then)
	m.u8(1 + len(h.Further))
	m.u8(len(h.Loads))
	m.u8(len(h.States))
	m.u8(len(h.Levels))
	m.u8(len(h.Clips))
	m.u8(len(h.Parts))
	m.u8(len(h.Strips))
	m.u8(len(h.Lines))
	m.b = append(m.b, make([]byte, preamble-len(m.b))...)
	m.b = append(m.b, records...)
	m.b = append(m.b, panel...)
	return sealed(m.b)
}

// Is tells whether bytes begin as a table does.
func Is(b []byte) bool { return len(b) >= len(magic) && bytes.Equal(b[:len(magic)], magic[:]) }

// ReadHeader reads a table's header from its first bytes: it decodes no frame
// and needs no more of the table than the header. It verifies the header's
// checksum and everything in it but the blocks it points to. Names stand in
// the notes at the table's end; those given here are numbers.
func ReadHeader(b []byte) (Header, error) {
	h, err := parseHeader(b)
	if err != nil {
		return Header{}, err
	}
	return *h, nil
}

func parseHeader(b []byte) (*Header, error) {
	for i := 0; i < len(b) && i < len(magic); i++ {
		if b[i] != magic[i] {
			return nil, fmt.Errorf("table: it starts with %x: %w", b[:min(4, len(b))], ErrNotTable)
		}
	}
	if len(b) > 4 && b[4] != Version {
		return nil, fmt.Errorf("table: version %d of the format, this program reads version %d; export the show again: %w", b[4], Version, ErrVersion)
	}
	if len(b) < preamble {
		return nil, fmt.Errorf("table: %d bytes, its header alone has more: %w", len(b), ErrCut)
	}
	length := int64(binary.LittleEndian.Uint32(b[8:]))
	if length < preamble+4 || length > mostHeader {
		return nil, fmt.Errorf("table: a header of %d bytes: %w", length, ErrData)
	}
	if int64(len(b)) < length {
		return nil, fmt.Errorf("table: %d bytes of a header of %d: %w", len(b), length, ErrCut)
	}
	body, err := open(b[:length], "header")
	if err != nil {
		return nil, err
	}
	h := &Header{Version: int(b[4]), HeaderLength: int(length)}
	t := &taker{b: body[6:]}
	h.FPS = t.u16()
	t.u32() // the header's length, above
	h.TableLength, h.NotesOffset = int(t.u32()), int(t.u32())
	h.Panel = uint32(t.u32())
	t.next(8) // channels, pixels, work, missing: told by the records, compared below
	h.Silence, h.Then = t.u32(), t.index()
	counts := t.next(8)
	t.next(preamble - 45) // reserved, 0
	h.parse(t, counts)
	if t.short || len(t.b) != 0 {
		return nil, fmt.Errorf("table: the header's fields do not end where it does: %w", ErrData)
	}
	h.number()
	if err := h.Show.check(); err != nil {
		return nil, err
	}
	if err := h.checkClips(); err != nil {
		return nil, err
	}
	// One header, one spelling: this finds every bit that no field uses, and
	// every sum that is not that of the records.
	if !bytes.Equal(h.marshal(), b[:length]) {
		return nil, fmt.Errorf("table: the header contradicts its records or sets bits that mean nothing: %w", ErrData)
	}
	return h, nil
}

// checkClips holds the clips' records against the table's lengths: blocks
// stand one after the other and fill the table up to the notes.
func (h *Header) checkClips() error {
	if len(h.Clips) > MostClips {
		return fmt.Errorf("table: %d clips, at most %d: %w", len(h.Clips), MostClips, ErrData)
	}
	at := h.HeaderLength
	for i := range h.Clips {
		c := &h.Clips[i]
		if err := checkName("clip", c.Name); err != nil {
			return err
		}
		if c.Frames < 1 || c.Frames > MostFrames || c.Value && c.Frames != 256 || c.Length < 0 || c.Offset != at {
			return fmt.Errorf("table: clip %q has %d frames at byte %d, expected at %d: %w", c.Name, c.Frames, c.Offset, at, ErrData)
		}
		if c.Work < 0 || c.Work > MostWork || c.Value && c.Random {
			return fmt.Errorf("table: clip %q needs %d bytes of work memory, at most %d, or follows a value and begins by lot: %w", c.Name, c.Work, MostWork, ErrData)
		}
		at += c.Length + 4
	}
	if h.NotesOffset != at || h.TableLength < at+4 {
		return fmt.Errorf("table: its clips end at byte %d, the header says notes at %d of %d: %w", at, h.NotesOffset, h.TableLength, ErrData)
	}
	for i := range h.States {
		if h.States[i].Clip >= len(h.Clips) {
			return fmt.Errorf("table: state %q shows clip %d of %d: %w", h.States[i].Name, h.States[i].Clip, len(h.Clips), ErrData)
		}
	}
	return nil
}
