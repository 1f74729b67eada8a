package table

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
)

// maker appends fields.
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

// taker reads fields; after the first one that is missing it gives zeros and
// keeps short set.
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

// varint reads a folded number of seven bits a byte, lowest first.
func (t *taker) varint() int64 {
	v, n := binary.Varint(t.b)
	if n <= 0 {
		t.short, t.b = true, nil
		return 0
	}
	t.b = t.b[n:]
	return v
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
