package table

import (
	"encoding/binary"
	"fmt"
)

// What the notes may hold beside names (docs/table-format.md, section 5).
const (
	noteCurrents = 1
	noteCycles   = 2
)

// cycleUnit is the unit of the cycles in the notes: 16 us of a processor of
// 16 MHz. The header's figure is exact.
const cycleUnit = 256

// notes packs what a controller does without: title and names, every frame's
// current, and what every frame costs to unpack. A clip without a list of
// costs gets zeros; when none has one they are left out.
func (h *Header) notes(currents [][]int64, cycles [][]uint32) []byte {
	costs := false
	for _, c := range cycles {
		costs = costs || c != nil
	}
	m := h.named(noteCurrents | flag(costs, noteCycles))
	for _, list := range currents {
		last := int64(0)
		for _, ua := range list {
			ma := (ua + 999) / 1000
			m.b = binary.AppendVarint(m.b, ma-last)
			last = ma
		}
	}
	for i := range h.Clips {
		if !costs {
			break
		}
		last := int64(0)
		for f := range h.Clips[i].Frames {
			units := int64(0)
			if cycles[i] != nil {
				units = (int64(cycles[i][f]) + cycleUnit - 1) / cycleUnit
			}
			m.b = binary.AppendVarint(m.b, units-last)
			last = units
		}
	}
	return sealed(m.b)
}

// named begins notes: which lists follow, title, names.
func (h *Header) named(holds int) (m maker) {
	m.u8(holds)
	m.text(h.Title)
	for _, n := range h.names() {
		m.text(*n.to)
	}
	return m
}

// Slim is the same table whose notes hold title and names, and no lists: what a
// controller is given, so that a small change of the show is a small upload.
func (t *Table) Slim() (*Table, error) {
	h := t.Header
	m := h.named(0)
	notes := sealed(m.b)
	h.TableLength = h.NotesOffset + len(notes)
	b := make([]byte, 0, h.TableLength)
	b = append(b, h.marshal()...)
	b = append(b, t.bytes[h.HeaderLength:h.NotesOffset]...)
	return Read(append(b, notes...), Limits{Bytes: 1<<31 - 1, Decoded: 1 << 62})
}

// NameFrom takes title and names from the beginning of the notes, unverified:
// enough to tell people what a controller plays. More bytes than the names take do
// no harm; fewer are an error, ErrCut.
func (h *Header) NameFrom(notes []byte) error {
	t := &taker{b: notes}
	t.u8()
	title := t.text()
	var names []string
	for range h.names() {
		names = append(names, t.text())
	}
	if t.short {
		return fmt.Errorf("table: %d bytes of notes, the names alone have more: %w", len(notes), ErrCut)
	}
	h.Title = title
	for i, n := range h.names() {
		*n.to = names[i]
	}
	if err := h.Show.check(); err != nil {
		return err
	}
	return h.checkClips()
}

// readNotes reads the notes into the header's names and gives the stored
// currents in milliamperes and the costs in cycles; nil where they are left
// out.
func (h *Header) readNotes(block []byte) (currents, cycles [][]int64, err error) {
	body, err := open(block, "notes")
	if err != nil {
		return nil, nil, err
	}
	t := &taker{b: body}
	holds := t.u8()
	if holds&^(noteCurrents|noteCycles) != 0 {
		return nil, nil, fmt.Errorf("table: notes of sorts %02x, this program knows %02x: %w", holds, noteCurrents|noteCycles, ErrVersion)
	}
	h.Title = t.text()
	for _, n := range h.names() {
		*n.to = t.text()
	}
	lists := func(unit int64) [][]int64 {
		out := make([][]int64, len(h.Clips))
		for i := range h.Clips {
			// Not made at once: a few bytes may stand for a million frames.
			last := int64(0)
			for range h.Clips[i].Frames {
				if t.short {
					return nil
				}
				last += t.varint()
				out[i] = append(out[i], last*unit)
			}
		}
		return out
	}
	if holds&noteCurrents != 0 {
		currents = lists(1)
	}
	if holds&noteCycles != 0 {
		cycles = lists(cycleUnit)
	}
	if t.short || len(t.b) != 0 {
		return nil, nil, fmt.Errorf("table: the notes' fields do not end where they do: %w", ErrData)
	}
	if err := h.Show.check(); err != nil {
		return nil, nil, err
	}
	return currents, cycles, h.checkClips()
}
