package table

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"strings"

	"paneglow/anim/show"
)

// magic opens every table: "Pane" with the high bit of the first letter set,
// so that no text file passes for a table (docs/table-format.md, section 1).
var magic = [4]byte{'P' | 0x80, 'a', 'n', 'e'}

// preamble is the part of the header whose size is fixed: magic, version,
// flags, header length, table length.
const preamble = 14

// Kind says how a clip's frames are stored.
type Kind uint8

// The kinds of version 1 (docs/table-format.md, section 4).
const (
	Still   Kind = 0 // all frames equal: one frame
	Raw     Kind = 1 // every frame as it is
	Predict Kind = 2 // differences to a prediction, in blocks
)

// String gives the word used on screens and in JSON.
func (k Kind) String() string {
	switch k {
	case Still:
		return "still"
	case Raw:
		return "raw"
	case Predict:
		return "predict"
	}
	return fmt.Sprintf("kind %d", uint8(k))
}

// ClipInfo is a clip's entry in the header.
type ClipInfo struct {
	Name   string
	Frames int
	Kind   Kind
	Value  bool  // frame = value; else frames follow each other
	Loop   bool  // begins again after its last frame; else the last frame stays
	Offset int   // of the payload in the table
	Length int   // of the payload in bytes, checksum not included
	Peak   int64 // largest current of its frames, microamperes
}

// Header is everything in a table but its frames.
type Header struct {
	Show
	Version      int
	HeaderLength int // bytes, its checksum included
	TableLength  int // bytes
	Clips        []ClipInfo
	currents     int // offset of the block of currents; it ends at TableLength
}

// maker appends the header's fields.
type maker struct{ b []byte }

func (m *maker) u8(v int)    { m.b = append(m.b, uint8(v)) }
func (m *maker) u16(v int)   { m.b = binary.LittleEndian.AppendUint16(m.b, uint16(v)) }
func (m *maker) u32(v int64) { m.b = binary.LittleEndian.AppendUint32(m.b, uint32(v)) }
func (m *maker) text(s string) {
	m.u8(len(s))
	m.b = append(m.b, s...)
}

// index writes a reference to a state, 255 for None.
func (m *maker) index(i int) { m.u8(i & 0xff) }

// marshal gives the header's bytes, checksum included. Its own length
// does not depend on the values of offsets, so a first call measures.
func (h *Header) marshal() []byte {
	var m maker
	m.b = append(m.b, magic[:]...)
	m.u8(Version)
	m.u8(h.flags())
	m.u32(int64(h.HeaderLength))
	m.u32(int64(h.TableLength))
	m.u32(int64(h.currents))
	m.u16(h.FPS)
	m.text(h.Title)
	m.u32(h.Steady)
	m.u32(h.Surge)
	m.u32(h.Least)
	m.u32(h.Raise)
	m.u32(h.Silence)
	m.index(h.Then)
	m.u8(len(h.Lines))
	for _, name := range h.Lines {
		m.text(name)
	}
	m.u8(len(h.Parts))
	for i := range h.Parts {
		p := &h.Parts[i]
		m.text(p.Name)
		m.u8(p.Dies)
		order := 0
		for i := range p.Order {
			order |= strings.IndexByte("RGBW", p.Order[i]) << (2 * i)
		}
		m.u8(order)
		m.u8(int(p.Law))
		m.u32(p.Idle)
		for c := 0; c < p.Dies; c++ {
			m.u32(p.Channel[c])
		}
		m.u32(p.Ceiling)
		m.u16(int(p.Bit))
		m.u32(p.Latch)
		m.u32(p.Gap)
	}
	m.u8(len(h.Strips))
	for i := range h.Strips {
		st := &h.Strips[i]
		m.text(st.Name)
		m.u8(st.Part)
		m.u8(st.Line)
		m.u16(st.Pixels)
		m.u16(len(st.Missing))
		for _, px := range st.Missing {
			m.u16(px)
		}
	}
	m.u8(len(h.Loads))
	for _, ld := range h.Loads {
		m.text(ld.Name)
		m.u32(ld.Run)
		m.u32(ld.Start)
	}
	m.u8(len(h.States))
	for i := range h.States {
		st := &h.States[i]
		m.text(st.Name)
		m.u8(st.Clip)
		m.u8(int(st.HandOver))
		m.u16(int(st.Fade))
		m.u16(int(st.Loads))
		m.u8(flag(st.Still, 1))
		m.u32(st.AtMost)
		m.index(st.Then)
		m.u32(st.Budget)
	}
	m.u8(len(h.Levels))
	for _, lv := range h.Levels {
		m.u32(lv.From)
		m.u8(int(lv.Days))
		m.u16(int(lv.Lightness))
	}
	m.u8(len(h.Clips))
	for i := range h.Clips {
		c := &h.Clips[i]
		m.text(c.Name)
		m.u32(int64(c.Frames))
		m.u8(int(c.Kind))
		m.u8(flag(c.Value, 1) | flag(c.Loop, 2))
		m.u32(int64(c.Offset))
		m.u32(int64(c.Length))
		m.u32(c.Peak)
	}
	if h.flags()&flagSlew != 0 {
		m.u32(h.Slew)
	}
	if h.flags()&flagSupplies != 0 {
		h.marshalFurther(&m)
	}
	return sealed(m.b)
}

// Flags of the header: what follows its clips (docs/table-format.md, section 2).
const (
	flagSlew     = 1 // the first supply's slew
	flagSupplies = 2 // more supplies, and what hangs on which
)

func (h *Header) flags() int {
	return flag(h.Slew > 0, flagSlew) | flag(len(h.Further) > 0, flagSupplies)
}

func (h *Header) marshalFurther(m *maker) {
	m.u8(len(h.Further))
	for _, s := range h.Further {
		m.text(s.Name)
		m.u32(s.Steady)
		m.u32(s.Surge)
		m.u32(s.Least)
		m.u32(s.Raise)
		m.u32(s.Slew)
	}
	for i := range h.Strips {
		m.u8(h.Strips[i].Supply)
	}
	for i := range h.Loads {
		m.u8(h.Loads[i].Supply)
	}
	for i := range h.States {
		for _, ua := range h.States[i].Further {
			m.u32(ua)
		}
	}
}

// further reads what marshalFurther wrote.
func (h *Header) further(t *taker) {
	for n := t.u8(); n > 0 && !t.short; n-- {
		h.Further = append(h.Further, Supply{t.text(), t.u32(), t.u32(), t.i32(), t.u32(), t.u32()})
	}
	for i := range h.Strips {
		h.Strips[i].Supply = t.u8()
	}
	for i := range h.Loads {
		h.Loads[i].Supply = t.u8()
	}
	for i := range h.States {
		for range h.Further {
			h.States[i].Further = append(h.States[i].Further, t.i32())
		}
	}
}

func flag(on bool, bit int) int {
	if on {
		return bit
	}
	return 0
}

// sealed appends the CRC-32/ISO-HDLC of a block to it.
func sealed(b []byte) []byte {
	return binary.LittleEndian.AppendUint32(b, crc32.ChecksumIEEE(b))
}

// open checks a block's CRC and returns what stands before it.
func open(b []byte, what string) ([]byte, error) {
	if len(b) < 4 {
		return nil, fmt.Errorf("table: %s: %w", what, ErrCut)
	}
	body, sum := b[:len(b)-4], binary.LittleEndian.Uint32(b[len(b)-4:])
	if got := crc32.ChecksumIEEE(body); got != sum {
		return nil, fmt.Errorf("table: %s: CRC-32 is %08x, the block says %08x: %w", what, got, sum, ErrChecksum)
	}
	return body, nil
}

// taker reads the header's fields; after the first one that is missing it
// gives zeros and keeps short set.
type taker struct {
	b     []byte
	short bool
}

func (t *taker) next(n int) []byte {
	if n > len(t.b) {
		t.short, t.b = true, nil
		return make([]byte, n)
	}
	b := t.b[:n]
	t.b = t.b[n:]
	return b
}

func (t *taker) u8() int      { return int(t.next(1)[0]) }
func (t *taker) u16() int     { return int(binary.LittleEndian.Uint16(t.next(2))) }
func (t *taker) u32() int64   { return int64(binary.LittleEndian.Uint32(t.next(4))) }
func (t *taker) i32() int64   { return int64(int32(binary.LittleEndian.Uint32(t.next(4)))) }
func (t *taker) text() string { return string(t.next(t.u8())) }
func (t *taker) index() int {
	if i := t.u8(); i != 255 {
		return i
	}
	return None
}

// ReadHeader reads a table's header from its first bytes: it decodes no frame
// and needs no more of the table than the header. It verifies the header's
// checksum and everything in it but the blocks it points to.
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
	if len(b) < preamble {
		return nil, fmt.Errorf("table: %d bytes, its header alone has more: %w", len(b), ErrCut)
	}
	if b[4] != Version {
		return nil, fmt.Errorf("table: version %d, this reader knows %d: %w", b[4], Version, ErrVersion)
	}
	length := int64(binary.LittleEndian.Uint32(b[6:]))
	if length < preamble+4 || length > 1<<20 {
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
	t := &taker{b: body[10:]}
	if b[5]&^(flagSlew|flagSupplies) != 0 {
		return nil, fmt.Errorf("table: flags %02x, this reader knows %02x: %w", b[5], flagSlew|flagSupplies, ErrVersion)
	}
	h.TableLength = int(t.u32())
	h.currents = int(t.u32())
	h.fields(t)
	if b[5]&flagSlew != 0 {
		h.Slew = t.u32()
	}
	if b[5]&flagSupplies != 0 {
		h.further(t)
	}
	if t.short || len(t.b) != 0 {
		return nil, fmt.Errorf("table: the header's fields do not end where it does: %w", ErrData)
	}
	if err := h.Show.check(); err != nil {
		return nil, err
	}
	if err := h.checkClips(); err != nil {
		return nil, err
	}
	// One header, one spelling: this finds every bit that no field uses.
	if !bytes.Equal(h.marshal(), b[:length]) {
		return nil, fmt.Errorf("table: the header sets bits that mean nothing: %w", ErrData)
	}
	return h, nil
}

// fields reads what follows the fixed part, in the order of marshal.
func (h *Header) fields(t *taker) {
	h.FPS = t.u16()
	h.Title = t.text()
	h.Steady, h.Surge, h.Least, h.Raise = t.u32(), t.u32(), t.i32(), t.u32()
	h.Silence = t.u32()
	h.Then = t.index()
	for n := t.u8(); n > 0 && !t.short; n-- {
		h.Lines = append(h.Lines, t.text())
	}
	for n := t.u8(); n > 0 && !t.short; n-- {
		p := Part{Name: t.text()}
		p.Dies = t.u8()
		if p.Dies != 3 && p.Dies != 4 {
			t.short = true
			return
		}
		order := t.u8()
		for i := 0; i < p.Dies; i++ {
			p.Order += string("RGBW"[order>>(2*i)&3])
		}
		p.Law = show.Law(t.u8())
		p.Idle = t.u32()
		for c := 0; c < p.Dies; c++ {
			p.Channel[c] = t.u32()
		}
		p.Ceiling = t.u32()
		p.Bit, p.Latch, p.Gap = int64(t.u16()), t.u32(), t.u32()
		h.Parts = append(h.Parts, p)
	}
	for n := t.u8(); n > 0 && !t.short; n-- {
		st := Strip{Name: t.text(), Part: t.u8(), Line: t.u8(), Pixels: t.u16()}
		for k := t.u16(); k > 0 && !t.short; k-- {
			st.Missing = append(st.Missing, t.u16())
		}
		h.Strips = append(h.Strips, st)
	}
	for n := t.u8(); n > 0 && !t.short; n-- {
		h.Loads = append(h.Loads, Load{Name: t.text(), Run: t.u32(), Start: t.u32()})
	}
	for n := t.u8(); n > 0 && !t.short; n-- {
		h.States = append(h.States, State{Name: t.text(), Clip: t.u8(), HandOver: show.HandOver(t.u8()), Fade: int64(t.u16()),
			Loads: uint32(t.u16()), Still: t.u8()&1 != 0, AtMost: t.u32(), Then: t.index(), Budget: t.i32()})
	}
	for n := t.u8(); n > 0 && !t.short; n-- {
		h.Levels = append(h.Levels, Level{t.u32(), uint8(t.u8()), uint16(t.u16())})
	}
	for n := t.u8(); n > 0 && !t.short; n-- {
		c := ClipInfo{Name: t.text(), Frames: int(t.u32()), Kind: Kind(t.u8())}
		f := t.u8()
		c.Value, c.Loop = f&1 != 0, f&2 != 0
		c.Offset, c.Length, c.Peak = int(t.u32()), int(t.u32()), t.u32()
		h.Clips = append(h.Clips, c)
	}
}

// checkClips holds the clips' entries against the table's lengths: blocks
// stand one after the other and fill the table.
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
		at += c.Length + 4
	}
	if h.currents != at || h.TableLength < at+4 {
		return fmt.Errorf("table: its blocks end at byte %d, the header says %d of %d: %w", at, h.currents, h.TableLength, ErrData)
	}
	for i := range h.States {
		if h.States[i].Clip >= len(h.Clips) {
			return fmt.Errorf("table: state %q shows clip %d of %d: %w", h.States[i].Name, h.States[i].Clip, len(h.Clips), ErrData)
		}
	}
	return nil
}
