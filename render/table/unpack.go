package table

import (
	"encoding/binary"
	"fmt"
	"math/bits"
)

// unpacker unpacks frames of kind predict. Its state between frames is the
// last frame, a prediction a strip, and the mode of the last block.
type unpacker struct {
	spans   []span
	block   int // pixels
	keys    int // frames from one key to the next; 0: only the first is one
	offsets []byte
	stream  []byte
	in      bitReader
	last    []uint8 // the frame before, unpacked in place
	res     []uint8 // residuals of a strip, zero between strips
	how     []uint8
	mode    uint8
}

// newUnpacker reads what precedes the bits and stands before the first frame.
func newUnpacker(t *Show, c *ClipInfo, payload []byte) (*unpacker, error) {
	bad := func(what string) (*unpacker, error) {
		return nil, fmt.Errorf("table: clip %q: %s: %w", c.Name, what, ErrData)
	}
	if len(payload) < 2 {
		return bad("no room for its own header")
	}
	u := &unpacker{spans: spans(t), block: int(payload[0]), keys: int(payload[1]), stream: payload[2:]}
	if u.block < 1 || u.block > 32 {
		return bad(fmt.Sprintf("blocks of %d pixels, want 1 to 32", u.block))
	}
	if u.keys > 0 {
		n := 4 * ((c.Frames + u.keys - 1) / u.keys)
		if n > len(u.stream) {
			return bad("its keys leave it")
		}
		u.offsets, u.stream = u.stream[:n], u.stream[n:]
	}
	widest := 0
	for _, s := range u.spans {
		widest = max(widest, s.bytes)
	}
	u.last = make([]uint8, t.Channels())
	u.res = make([]uint8, widest+8)
	u.how = make([]uint8, len(u.spans))
	return u, u.key(0)
}

// key begins at a key: everything is 0, and the bits start with a byte.
func (u *unpacker) key(i int) error {
	at := 0
	if u.keys > 0 {
		at = int(binary.LittleEndian.Uint32(u.offsets[4*i:]))
		if at > len(u.stream) {
			return fmt.Errorf("table: key %d leaves its clip: %w", i, ErrData)
		}
	}
	clear(u.last)
	clear(u.how)
	u.mode = allZero
	u.in = bitReader{b: u.stream[at:]}
	return nil
}

// next unpacks frame f, the one after the last.
func (u *unpacker) next(f int) error {
	if u.keys > 0 && f > 0 && f%u.keys == 0 {
		if int(binary.LittleEndian.Uint32(u.offsets[4*(f/u.keys):])) != len(u.stream)-u.in.rest() {
			return fmt.Errorf("table: frame %d: its key is not where the frame before ends: %w", f, ErrData)
		}
		if err := u.key(f / u.keys); err != nil {
			return err
		}
	}
	u.in.fill()
	if u.in.take(1) == 1 {
		return u.in.check(f)
	}
	for i := range u.spans {
		s := &u.spans[i]
		u.in.fill()
		if u.in.take(1) == 1 {
			u.how[i] = uint8(u.in.take(3))
		}
		any, err := u.residuals(s)
		if err != nil {
			return err
		}
		px := u.last[s.first : s.first+s.bytes]
		if any {
			restore(px, u.res, s.dies, u.how[i])
			clear(u.res[:s.bytes])
		} else if u.how[i] != fromOld {
			restore(px, u.res, s.dies, u.how[i])
		}
	}
	return u.in.check(f)
}

// residuals reads a strip's blocks into res and tells whether one is not zero.
func (u *unpacker) residuals(s *span) (any bool, err error) {
	in := u.in // in registers
	size := u.block * s.dies
	mode := u.mode
	for at := 0; at < s.bytes; at += size {
		in.fill()
		if in.acc&1 == 0 {
			in.skip(1)
		} else {
			mode = uint8(in.acc >> 1 & 7)
			in.skip(4)
		}
		if mode == allZero {
			continue
		}
		any = true
		dst := u.res[at:min(at+size, s.bytes)]
		k := lowBits[mode]
		mask := uint64(1)<<k - 1
		if mode >= plain0 {
			for i := range dst {
				if in.n < 24 {
					in.fill()
				}
				q := uint(bits.TrailingZeros64(in.acc | 1<<escape))
				if q == escape {
					dst[i] = uint8(in.acc >> escape)
					in.skip(escape + 8)
					continue
				}
				dst[i] = uint8(uint64(q)<<k | in.acc>>(q+1)&mask)
				in.skip(q + 1 + k)
			}
			continue
		}
		for ; len(dst) >= s.dies; dst = dst[s.dies:] {
			if in.n < 24 {
				in.fill()
			}
			on := in.acc & 1
			in.skip(1)
			if on == 0 {
				continue
			}
			for i := 0; i < s.dies; i++ {
				if in.n < 24 {
					in.fill()
				}
				q := uint(bits.TrailingZeros64(in.acc | 1<<escape))
				if q == escape {
					dst[i] = uint8(in.acc >> escape)
					in.skip(escape + 8)
					continue
				}
				dst[i] = uint8(uint64(q)<<k | in.acc>>(q+1)&mask)
				in.skip(q + 1 + k)
			}
		}
	}
	u.in, u.mode = in, mode
	return any, nil
}

// restore adds the residuals to their predictions, in place: px holds the old
// codes before and the new ones after.
func restore(px, res []uint8, dies int, how uint8) {
	switch how {
	case fromOld:
		n := len(px) &^ 7
		for i := 0; i < n; i += 8 {
			if r := binary.LittleEndian.Uint64(res[i:]); r != 0 {
				b := px[i : i+8]
				binary.LittleEndian.PutUint64(b, addBytes(binary.LittleEndian.Uint64(b), unfold(r)))
			}
		}
		for i := n; i < len(px); i++ {
			px[i] += unfold1(res[i])
		}
		return
	case fromAhead, fromAhead2:
		// The pixels ahead are still the old ones: a move, then a sum.
		d := dies
		if how == fromAhead2 {
			d *= 2
		}
		d = min(d, len(px))
		copy(px, px[d:])
		clear(px[len(px)-d:])
		restore(px, res, dies, fromOld)
		return
	case fromBehind, fromBehind2:
		d := dies
		if how == fromBehind2 {
			d *= 2
		}
		d = min(d, len(px))
		copy(px[d:], px)
		clear(px[:d])
		restore(px, res, dies, fromOld)
		return
	}
	// Each pixel needs the one before: die by die, with its old and new code.
	for die := 0; die < dies; die++ {
		var was, is uint8
		switch how {
		case fromLeft:
			for i := die; i < len(px); i += dies {
				is += unfold1(res[i])
				px[i] = is
			}
		case fromChange:
			for i := die; i < len(px); i += dies {
				// old + (is - was): only the change so far is carried on.
				is += unfold1(res[i])
				px[i] += is
			}
		default:
			for i := die; i < len(px); i += dies {
				old := px[i]
				px[i] += uint8(int8(is-was)>>1) + unfold1(res[i])
				was, is = old, px[i]
			}
		}
	}
}

func unfold1(r uint8) uint8 { return r>>1 ^ -(r & 1) }

// bitReader takes bits from bytes, the lowest of each byte first. After the
// end it gives zeros; check tells.
type bitReader struct {
	b    []byte
	acc  uint64
	n    uint // bits in acc; counts below zero bits that were never there
	over int  // bytes of zeros that fill added after the end
}

// fill leaves at least 56 bits in acc.
func (r *bitReader) fill() {
	if len(r.b) >= 8 {
		r.acc |= binary.LittleEndian.Uint64(r.b) << r.n
		k := (63 - r.n) >> 3
		r.b = r.b[k:]
		r.n |= 56
		return
	}
	for r.n <= 56 {
		if len(r.b) > 0 {
			r.acc |= uint64(r.b[0]) << r.n
			r.b = r.b[1:]
		} else {
			r.over++
		}
		r.n += 8
	}
}

func (r *bitReader) skip(n uint) {
	r.acc >>= n
	r.n -= n
}

func (r *bitReader) take(n uint) uint64 {
	v := r.acc & (1<<n - 1)
	r.skip(n)
	return v
}

// left is the number of true bits not taken yet that are already in acc; it is
// negative when bits after the end were taken.
func (r *bitReader) left() int { return int(r.n) - 8*r.over }

// rest is the number of whole bytes not begun yet.
func (r *bitReader) rest() int { return len(r.b) + max(r.left(), 0)/8 }

func (r *bitReader) check(frame int) error {
	if r.left() < 0 {
		return fmt.Errorf("table: the bits end in frame %d: %w", frame, ErrData)
	}
	return nil
}
