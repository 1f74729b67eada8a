package table

import (
	"encoding/binary"
	"fmt"
	"math"
)

// Bits of a coded clip's first byte.
const (
	hasPalette = 1 << 0
	hasWrap    = 1 << 1
	hasHistory = 1 << 2
	secondBits = 3 // 2 bits
	hasPeriod  = 1 << 5
	hasStarts  = 1 << 6
	hasTurns   = 1 << 7
)

// strides is the stride that two bits of a stretch stand for.
var strides = [4]int{1, 3, 4, 0}

const mostStretch = 1<<12 - 1

// marshal gives the bytes before the palette.
func (k *coded) marshal() []byte {
	flags := uint8(k.second) << secondBits
	if k.palette {
		flags |= hasPalette
	}
	if k.wrap {
		flags |= hasWrap
	}
	if k.history {
		flags |= hasHistory
	}
	if k.period > 0 {
		flags |= hasPeriod
	}
	if len(k.starts) > 1 {
		flags |= hasStarts
	}
	if len(k.turns) > 0 {
		flags |= hasTurns
	}
	b := []byte{flags, uint8(k.slots) | k.shift<<4}
	if k.palette {
		b = append(b, uint8(k.colours-1))
	}
	if k.period > 0 {
		b = append24(b, k.period)
	}
	if len(k.starts) > 1 {
		b = append(b, uint8(len(k.starts)-1))
		for _, s := range k.starts[1:] {
			b = append24(b, s.frame)
			b = append24(b, s.at)
		}
	}
	b = append(b, uint8(len(k.stretches)))
	for _, s := range k.stretches {
		stride := 0
		for strides[stride] != s.stride {
			stride++
		}
		b = binary.LittleEndian.AppendUint16(b, uint16(s.pixels|int(s.how)<<12|stride<<14))
		if s.how != isCoded {
			b = binary.LittleEndian.AppendUint16(b, uint16(s.from))
		}
	}
	if len(k.turns) > 0 {
		b = append(b, uint8(len(k.turns)))
		for _, t := range k.turns {
			b = binary.LittleEndian.AppendUint16(b, uint16(t.bytes))
			b = binary.LittleEndian.AppendUint16(b, uint16(t.by))
		}
	}
	return b
}

func append24(b []byte, v int) []byte { return append(b, uint8(v), uint8(v>>8), uint8(v>>16)) }

// parseCoded reads what marshal wrote and gives the length read.
func parseCoded(t *Show, c *ClipInfo, b []byte) (*coded, int, error) {
	bad := func(format string, args ...any) (*coded, int, error) {
		return nil, 0, fmt.Errorf("table: clip %q: %s: %w", c.Name, fmt.Sprintf(format, args...), ErrData)
	}
	at := 0
	short := false
	get := func(n int) (v int) {
		if short = short || at+n > len(b); short {
			return 0
		}
		for i := range n {
			v |= int(b[at+i]) << (8 * i)
		}
		at += n
		return v
	}
	flags, slots := get(1), get(1)
	k := &coded{palette: flags&hasPalette != 0, wrap: flags&hasWrap != 0, history: flags&hasHistory != 0,
		second: second(flags >> secondBits & 3), slots: slots & 15, shift: uint8(slots >> 4)}
	if k.second >= seconds || k.shift > 7 {
		return bad("flags %#x, %#x are unknown", flags, slots)
	}
	k.bytes = t.Channels()
	if k.palette {
		k.bytes = t.Pixels()
		k.colours, k.dies = get(1)+1, t.mostDies()
	}
	if flags&hasPeriod != 0 {
		k.period = get(3)
		if !short && (k.period == 0 || k.period >= c.Frames) {
			return bad("it repeats after %d of %d frames", k.period, c.Frames)
		}
	}
	k.starts = []start{{}}
	if flags&hasStarts != 0 {
		for range get(1) {
			s := start{get(3), get(3)}
			if last := k.starts[len(k.starts)-1]; !short && (s.frame <= last.frame || s.at <= last.at || s.at > len(b) || s.frame >= k.stored(c.Frames)) {
				return bad("a start at frame %d, byte %d", s.frame, s.at)
			}
			k.starts = append(k.starts, s)
		}
	}
	at0 := 0
	for range get(1) {
		v := get(2)
		s := stretch{at: at0, pixels: v & mostStretch, how: howCopied(v >> 12 & 3), stride: strides[v>>14]}
		if s.how != isCoded {
			s.from = get(2)
		}
		if short {
			break
		}
		if s.stride == 0 || k.palette != (s.stride == 1) || s.pixels == 0 || s.at+s.pixels*s.stride > k.bytes {
			return bad("stretch %d of %d pixels, %d bytes each, does not fit", len(k.stretches), s.pixels, s.stride)
		}
		last := s.from // byte of the last pixel copied
		switch s.how {
		case isForward:
			last += (s.pixels - 1) * s.stride
		case isBackward:
			last -= (s.pixels - 1) * s.stride
		}
		if s.how != isCoded && (last < 0 || max(last, s.from)+s.stride > s.at) {
			return bad("stretch %d copies what does not stand before it", len(k.stretches))
		}
		at0 += s.pixels * s.stride
		k.stretches = append(k.stretches, s)
	}
	if !short && at0 != k.bytes {
		return bad("its stretches have %d bytes of %d", at0, k.bytes)
	}
	if flags&hasTurns != 0 {
		all := 0
		for range get(1) {
			t := turn{get(2), get(2)}
			if !short && t.by >= t.bytes {
				return bad("a run of %d bytes that turns by %d", t.bytes, t.by)
			}
			all += t.bytes
			k.turns = append(k.turns, t)
		}
		if !short && (all != k.bytes || k.period == 0 || k.slots == 0) {
			return bad("turns of %d bytes of %d, after %d frames, %d are kept", all, k.bytes, k.period, k.slots)
		}
	}
	if short {
		return bad("no room for its own header")
	}
	return k, at, nil
}

// stored is the number of frames that have bits.
func (k *coded) stored(frames int) int {
	if k.period > 0 {
		return k.period
	}
	return frames
}

// mostDies is the dies of the show's widest part, 3 for a show without parts.
func (t *Show) mostDies() int {
	n := 3
	for i := range t.Parts {
		n = max(n, t.Parts[i].Dies)
	}
	return n
}

// colours codes the palette, one die after the other, in the clip's contexts.
func (m *model) colours(src []uint8) error {
	k := m.k
	if !k.palette {
		return nil
	}
	frame, history := m.frame, m.history
	m.frame, m.history, m.hi, m.pair = m.palette, nil, 255, alone
	m.forget()
	clear(m.palette)
	m.begin()
	s := stretch{pixels: k.colours, stride: k.dies}
	ok := true
	for ch := range k.dies {
		ok = ok && m.plane(&s, ch, prediction{asBefore, 1, 0}, false, src)
	}
	if m.way == encoding {
		m.finish()
	}
	m.frame, m.history = frame, history
	if !ok || m.way == decoding && m.at > len(m.in) {
		return fmt.Errorf("its palette: %w", errCoded)
	}
	return nil
}

// chain orders colours along their curve: from one to the nearest that is
// left, from the start that makes the way shortest. Colours are dies bytes.
func chain(cols [][4]uint8) [][4]uint8 {
	n := len(cols)
	dist := make([]float32, n*n)
	for i := range cols {
		for j := range cols {
			s := 0
			for k := range 4 {
				d := int(cols[i][k]) - int(cols[j][k])
				s += d * d
			}
			dist[i*n+j] = float32(math.Sqrt(float64(s)))
		}
	}
	var best []int
	shortest := float32(math.MaxFloat32)
	left := make([]int, n)
	for from := range cols {
		order := []int{from}
		rest := left[:0]
		for i := range cols {
			if i != from {
				rest = append(rest, i)
			}
		}
		at, way := from, float32(0)
		for len(rest) > 0 && way < shortest {
			near := 0
			for i, c := range rest {
				if dist[at*n+c] < dist[at*n+rest[near]] {
					near = i
				}
			}
			at, way = rest[near], way+dist[at*n+rest[near]]
			order = append(order, at)
			rest = append(rest[:near], rest[near+1:]...)
		}
		if len(rest) == 0 && way < shortest {
			best, shortest = order, way
		}
	}
	out := make([][4]uint8, 0, n)
	for _, i := range best {
		out = append(out, cols[i])
	}
	return out
}
