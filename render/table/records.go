package table

import (
	"hash/crc32"
	"strconv"
	"strings"

	"paneglow/anim/layout"
	"paneglow/anim/show"
)

// The records' sizes in bytes (docs/table-format.md, section 2). All records of
// one kind have one size, so that a player reads any of them in place.
const (
	supplyRecord  = 20
	loadRecord    = 9
	stateRecord   = 12
	budgetRecord  = 4
	levelRecord   = 7
	clipRecord    = 24
	partRecord    = 37
	stripRecord   = 7
	missingRecord = 2
)

// records gives the records that a player reads: supplies, loads, states,
// budgets, levels, clips.
func (t *Show) records(clips []ClipInfo) []byte {
	var m maker
	for _, s := range t.Supplies() {
		m.u32(s.Steady)
		m.u32(s.Surge)
		m.u32(s.Least)
		m.u32(s.Raise)
		m.u32(s.Slew)
	}
	for _, ld := range t.Loads {
		m.u32(ld.Run)
		m.u32(ld.Start)
		m.u8(ld.Supply)
	}
	for i := range t.States {
		st := &t.States[i]
		m.u8(st.Clip)
		m.u8(int(st.HandOver))
		m.u16(int(st.Fade))
		m.u16(int(st.Loads))
		m.u8(flag(st.Still, 1))
		m.index(st.Then)
		m.u32(st.AtMost)
	}
	for i := range t.States {
		for s := range 1 + len(t.Further) {
			m.u32(t.States[i].Limit(s))
		}
	}
	for _, lv := range t.Levels {
		m.u32(lv.From)
		m.u8(int(lv.Days))
		m.u16(int(lv.Lightness))
	}
	for i := range clips {
		c := &clips[i]
		m.u8(int(c.Kind))
		m.u8(flag(c.Value, 1) | flag(c.Loop, 2) | flag(c.Random, 4))
		m.u16(c.Work)
		m.u32(int64(c.Frames))
		m.u32(int64(c.Offset))
		m.u32(int64(c.Length))
		m.u32(c.Peak)
		m.u32(int64(c.Cycles))
	}
	return m.b
}

// panel gives the records of what is soldered: parts, strips, missing pixels.
func (t *Show) panel() []byte {
	var m maker
	for i := range t.Parts {
		p := &t.Parts[i]
		m.u8(p.Dies)
		order := 0
		for i := range p.Order {
			order |= strings.IndexByte("RGBW", p.Order[i]) << (2 * i)
		}
		m.u8(order)
		m.u8(int(p.Law))
		m.u32(p.Idle)
		for c := range p.Channel {
			m.u32(p.Channel[c])
		}
		m.u32(p.Ceiling)
		m.u16(int(p.Bit))
		m.u32(p.Latch)
		m.u32(p.Gap)
	}
	for i := range t.Strips {
		st := &t.Strips[i]
		m.u8(st.Part)
		m.u8(st.Line)
		m.u8(st.Supply)
		m.u16(st.Pixels)
		m.u16(len(st.Missing))
	}
	for i := range t.Strips {
		for _, px := range t.Strips[i].Missing {
			m.u16(px)
		}
	}
	return m.b
}

// PanelSum is the CRC-32 of the records of parts, strips and missing pixels:
// the panel's fingerprint. Firmware holds the panel's currents and wiring
// itself, and its player refuses a table made for another panel by this sum.
func (t *Show) PanelSum() uint32 { return crc32.ChecksumIEEE(t.panel()) }

// PanelOf is the fingerprint of a machine, whatever it shows.
func PanelOf(m *show.Machine, l *layout.Layout) (uint32, error) {
	t, err := NewShow(&show.Show{FPS: 1}, m, l)
	if err != nil {
		return 0, err
	}
	return t.PanelSum(), nil
}

// parse reads what records and panel wrote; counts are the header's eight:
// supplies, loads, states, levels, clips, parts, strips, lines.
func (h *Header) parse(t *taker, counts []byte) {
	n := make([]int, len(counts))
	for i, c := range counts {
		n[i] = int(c)
	}
	for i := range n[0] {
		s := Supply{Steady: t.u32(), Surge: t.u32(), Least: t.i32(), Raise: t.u32(), Slew: t.u32()}
		if i == 0 {
			h.Steady, h.Surge, h.Least, h.Raise, h.Slew = s.Steady, s.Surge, s.Least, s.Raise, s.Slew
			continue
		}
		h.Further = append(h.Further, s)
	}
	for range n[1] {
		h.Loads = append(h.Loads, Load{Run: t.u32(), Start: t.u32(), Supply: t.u8()})
	}
	for range n[2] {
		h.States = append(h.States, State{Clip: t.u8(), HandOver: show.HandOver(t.u8()), Fade: int64(t.u16()),
			Loads: uint32(t.u16()), Still: t.u8()&1 != 0, Then: t.index(), AtMost: t.u32()})
	}
	for i := range h.States {
		h.States[i].Budget = t.i32()
		for range h.Further {
			h.States[i].Further = append(h.States[i].Further, t.i32())
		}
	}
	for range n[3] {
		h.Levels = append(h.Levels, Level{t.u32(), uint8(t.u8()), uint16(t.u16())})
	}
	for range n[4] {
		c := ClipInfo{Kind: Kind(t.u8())}
		f := t.u8()
		c.Value, c.Loop, c.Random = f&1 != 0, f&2 != 0, f&4 != 0
		c.Work, c.Frames = t.u16(), int(t.u32())
		c.Offset, c.Length, c.Peak, c.Cycles = int(t.u32()), int(t.u32()), t.u32(), uint32(t.u32())
		h.Clips = append(h.Clips, c)
	}
	for range n[5] {
		p := Part{}
		p.Dies = t.u8()
		order := t.u8()
		for i := range min(p.Dies, 4) {
			p.Order += string("RGBW"[order>>(2*i)&3])
		}
		p.Law = show.Law(t.u8())
		p.Idle = t.u32()
		for c := range p.Channel {
			p.Channel[c] = t.u32()
		}
		p.Ceiling = t.u32()
		p.Bit, p.Latch, p.Gap = int64(t.u16()), t.u32(), t.u32()
		h.Parts = append(h.Parts, p)
	}
	missing := make([]int, 0, n[6])
	for range n[6] {
		h.Strips = append(h.Strips, Strip{Part: t.u8(), Line: t.u8(), Supply: t.u8(), Pixels: t.u16()})
		missing = append(missing, t.u16())
	}
	for i := range h.Strips {
		for k := missing[i]; k > 0 && !t.short; k-- {
			h.Strips[i].Missing = append(h.Strips[i].Missing, t.u16())
		}
	}
	h.Lines = make([]string, n[7])
}

// number names everything by its place, for as long as the notes are not read:
// "0", "1" and so on.
func (h *Header) number() {
	for _, name := range h.names() {
		*name.to = strconv.Itoa(name.at)
	}
}

// name is one place for a name, and its number among those of its kind.
type name struct {
	to *string
	at int
}

// names lists the places of all names in the order of the notes.
func (h *Header) names() (all []name) {
	for i := range h.Lines {
		all = append(all, name{&h.Lines[i], i})
	}
	for i := range h.Parts {
		all = append(all, name{&h.Parts[i].Name, i})
	}
	for i := range h.Strips {
		all = append(all, name{&h.Strips[i].Name, i})
	}
	for i := range h.Further {
		all = append(all, name{&h.Further[i].Name, i + 1})
	}
	for i := range h.Loads {
		all = append(all, name{&h.Loads[i].Name, i})
	}
	for i := range h.States {
		all = append(all, name{&h.States[i].Name, i})
	}
	for i := range h.Clips {
		all = append(all, name{&h.Clips[i].Name, i})
	}
	return all
}
