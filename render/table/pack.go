package table

import (
	"encoding/binary"
	"math/bits"
)

// margin is the zeros around each strip in a packer's frames: two pixels of
// four dies before it, and as much and a word after it.
const margin = 16

// packer packs the frames of one clip.
type packer struct {
	spans    []span // in frames of the clip
	at       []int  // where each strip begins in the padded frames
	block    int
	best     bool
	now, old []uint8 // padded
	res      []uint8 // folded residuals of a strip
	how      []uint8
	mode     uint8
	out      bitWriter
}

func newPacker(t *Show, block int, best bool) *packer {
	p := &packer{spans: spans(t), block: block, best: best}
	end, widest := margin, 0
	for _, s := range p.spans {
		p.at = append(p.at, end)
		end += s.bytes + margin
		widest = max(widest, s.bytes)
	}
	p.now, p.old = make([]uint8, end+8), make([]uint8, end+8)
	p.res = make([]uint8, widest+8)
	p.how = make([]uint8, len(p.spans))
	return p
}

// packPredict packs a clip in the kind predict. keys is the number of frames
// from key to key, 0 for a clip that is only played forwards.
func packPredict(t *Show, c *Clip, block, keys int, best bool) []byte {
	p := newPacker(t, block, best)
	p.out.b = make([]byte, 0, len(c.Bytes)/4)
	head := []byte{uint8(block), uint8(keys)}
	if keys > 0 {
		head = append(head, make([]byte, 4*((c.Frames+keys-1)/keys))...)
	}
	for f := 0; f < c.Frames; f++ {
		if f == 0 || keys > 0 && f%keys == 0 {
			p.out.flush()
			if keys > 0 {
				binary.LittleEndian.PutUint32(head[2+4*(f/keys):], uint32(len(p.out.b)))
			}
			p.reset()
		}
		p.frame(c.Bytes[f*c.Channels : (f+1)*c.Channels])
	}
	p.out.flush()
	return append(head, p.out.b...)
}

func (p *packer) reset() {
	clear(p.now)
	clear(p.old)
	clear(p.how)
	p.mode = allZero
}

// frame packs the next frame.
func (p *packer) frame(codes []uint8) {
	p.now, p.old = p.old, p.now
	for i, s := range p.spans {
		copy(p.now[p.at[i]:], codes[s.first:s.first+s.bytes])
	}
	if string(p.now) == string(p.old) {
		p.out.put(1, 1)
		return
	}
	p.out.put(0, 1)
	for i := range p.spans {
		s := &p.spans[i]
		how := p.choose(i)
		if how == p.how[i] {
			p.out.put(0, 1)
		} else {
			p.out.put(1|uint64(how)<<1, 4)
			p.how[i] = how
		}
		p.residuals(i, how)
		p.blocks(s)
	}
}

// word gives eight residuals of a prediction, from byte x of the padded frames.
func (p *packer) word(x, d int, how uint8) uint64 {
	c := load(p.now, x)
	switch how {
	case fromOld:
		return subBytes(c, load(p.old, x))
	case fromLeft:
		return subBytes(c, load(p.now, x-d))
	case fromChange:
		return subBytes(subBytes(c, load(p.old, x)), subBytes(load(p.now, x-d), load(p.old, x-d)))
	case fromBehind:
		return subBytes(c, load(p.old, x-d))
	case fromAhead:
		return subBytes(c, load(p.old, x+d))
	case fromBehind2:
		return subBytes(c, load(p.old, x-2*d))
	case fromAhead2:
		return subBytes(c, load(p.old, x+2*d))
	}
	// Half a change keeps its sign: shift each byte, then copy bit 7 down.
	h := subBytes(load(p.now, x-d), load(p.old, x-d))
	h = h>>1&^highBits | h&highBits
	return subBytes(subBytes(c, load(p.old, x)), h)
}

func load(b []uint8, i int) uint64 { return binary.LittleEndian.Uint64(b[i:]) }

// lengths adds up the bit lengths of eight folded residuals, a fair measure of
// what they will cost.
func lengths(r uint64) int {
	r |= r >> 1 & 0x7f7f7f7f7f7f7f7f
	r |= r >> 2 & 0x3f3f3f3f3f3f3f3f
	r |= r >> 4 & 0x0f0f0f0f0f0f0f0f
	return bits.OnesCount64(r)
}

// choose finds the prediction with the shortest residuals; on a tie the one in
// use, then the lowest number.
func (p *packer) choose(strip int) uint8 {
	s, at := &p.spans[strip], p.at[strip]
	d := s.dies
	if string(p.now[at:at+s.bytes]) == string(p.old[at:at+s.bytes]) {
		return fromOld
	}
	var cost [predictions]int
	stride := 16 // every other word is enough to choose by
	if p.best || s.bytes < 96 {
		stride = 8
	}
	for x := 0; x+8 <= s.bytes || x == 0; x += stride {
		mask := ^uint64(0)
		if s.bytes < 8 {
			mask >>= 8 * uint(8-s.bytes)
		}
		i := at + x
		c, o := load(p.now, i), load(p.old, i)
		l, b, a := load(p.now, i-d), load(p.old, i-d), load(p.old, i+d)
		t := subBytes(c, o)
		cost[fromOld] += lengths(fold(t) & mask)
		cost[fromLeft] += lengths(fold(subBytes(c, l)) & mask)
		cost[fromChange] += lengths(fold(subBytes(t, subBytes(l, b))) & mask)
		cost[fromBehind] += lengths(fold(subBytes(c, b)) & mask)
		cost[fromAhead] += lengths(fold(subBytes(c, a)) & mask)
		if p.best {
			for how := uint8(fromHalf); how < predictions; how++ {
				cost[how] += lengths(fold(p.word(i, d, how)) & mask)
			}
		}
	}
	how, most := p.how[strip], predictions
	if !p.best {
		most = fromHalf
		if int(how) >= most {
			how = fromOld
		}
	}
	for h := 0; h < most; h++ {
		if cost[h] < cost[how] {
			how = uint8(h)
		}
	}
	return how
}

// residuals writes a strip's folded residuals into res, zeros after its end.
func (p *packer) residuals(strip int, how uint8) {
	s, at := &p.spans[strip], p.at[strip]
	d, n := s.dies, s.bytes+7
	now, old, res := p.now[at:at+n+8], p.old[at:at+n+8], p.res
	switch how {
	case fromOld, fromBehind, fromAhead:
		from := old
		if how == fromBehind {
			from = p.old[at-d:]
		} else if how == fromAhead {
			from = p.old[at+d:]
		}
		for x := 0; x < s.bytes; x += 8 {
			binary.LittleEndian.PutUint64(res[x:], fold(subBytes(load(now, x), load(from, x))))
		}
	case fromChange:
		left, was := p.now[at-d:], p.old[at-d:]
		for x := 0; x < s.bytes; x += 8 {
			e := subBytes(subBytes(load(now, x), load(old, x)), subBytes(load(left, x), load(was, x)))
			binary.LittleEndian.PutUint64(res[x:], fold(e))
		}
	default:
		for x := 0; x < s.bytes; x += 8 {
			binary.LittleEndian.PutUint64(res[x:], fold(p.word(at+x, d, how)))
		}
	}
	clear(p.res[s.bytes:min(s.bytes+8, len(p.res))])
}

// blocks writes a strip's residuals, block by block, each in its cheapest mode;
// on a tie the one in use.
func (p *packer) blocks(s *span) {
	size := p.block * s.dies
	for at := 0; at < s.bytes; at += size {
		b := p.res[at:min(at+size, s.bytes)]
		mode := p.cheapest(b, s.dies)
		if mode == p.mode {
			p.out.put(0, 1)
		} else {
			p.out.put(1|uint64(mode)<<1, 4)
			p.mode = mode
		}
		switch {
		case mode == allZero:
		case mode >= plain0:
			p.out.plain(b, &riceCode[mode])
		default:
			p.out.pixels(b, &riceCode[mode], s.dies)
		}
	}
}

// riceCode is the code of every folded residual in each block mode, its length
// in the bits from 24 on: zeros and a one for the high part, then the low
// bits; or escape zeros and the whole.
var riceCode = func() (t [blockModes][256]uint32) {
	for mode, k := range lowBits {
		for r := range t[mode] {
			q, low := uint(r)>>k, uint32(r)&(1<<k-1)
			if q >= escape {
				t[mode][r] = uint32(r)<<escape | (escape+8)<<24
				continue
			}
			t[mode][r] = 1<<q | low<<(q+1) | uint32(q+1+k)<<24
		}
	}
	return
}()

// riceLength is the bits that a folded residual takes with 0, 1, 2 and 4 low
// bits, 16 bits of a word each.
var riceLength = func() (t [256]uint64) {
	for r := range t {
		for lane, mode := range [4]int{plain0, plain1, plain2, plain4} {
			t[r] |= uint64(riceCode[mode][r]>>24) << (16 * lane)
		}
	}
	return
}()

// cheapest counts what a block costs in every mode.
func (p *packer) cheapest(b []uint8, dies int) uint8 {
	zero := uint64(0)
	for x := 0; x+8 <= len(b); x += 8 {
		zero |= load(b, x)
	}
	for _, r := range b[len(b)&^7:] {
		zero |= uint64(r)
	}
	if zero == 0 {
		return allZero
	}
	var lit uint64 // the bits of all pixels that are not zero
	pixels, dark := 0, 0
	if dies == 3 {
		for rest := b; len(rest) >= 3; rest = rest[3:] {
			pixels++
			x, y, z := rest[0], rest[1], rest[2]
			if x|y|z == 0 {
				dark++
				continue
			}
			lit += riceLength[x] + riceLength[y] + riceLength[z]
		}
	} else {
		for rest := b; len(rest) >= 4; rest = rest[4:] {
			pixels++
			if rest[0]|rest[1]|rest[2]|rest[3] == 0 {
				dark++
				continue
			}
			lit += riceLength[rest[0]] + riceLength[rest[1]] + riceLength[rest[2]] + riceLength[rest[3]]
		}
	}
	l0, l1, l2, l4 := int(lit&0xffff), int(lit>>16&0xffff), int(lit>>32&0xffff), int(lit>>48)
	zeros := dark * dies
	cost := [blockModes]int{
		allZero: 1 << 30,
		pixels0: pixels + l0, pixels1: pixels + l1, pixels2: pixels + l2,
		plain0: l0 + zeros, plain1: l1 + 2*zeros, plain2: l2 + 3*zeros, plain4: l4 + 5*zeros,
	}
	if p.mode != allZero {
		cost[p.mode] -= 3 // no change to announce
	}
	mode := p.mode
	for m := range cost {
		if cost[m] < cost[mode] {
			mode = uint8(m)
		}
	}
	return mode
}

// bitWriter puts bits into bytes, the lowest of each byte first.
type bitWriter struct {
	b   []byte
	acc uint64
	n   uint
}

// put appends the n lowest bits of v; the others are 0, and n is at most 32.
func (w *bitWriter) put(v uint64, n uint) {
	w.acc |= v << (w.n & 63)
	w.n += n
	if w.n >= 32 {
		w.b = binary.LittleEndian.AppendUint32(w.b, uint32(w.acc))
		w.acc >>= 32
		w.n -= 32
	}
}

// plain appends a block's residuals, one code after the other.
func (w *bitWriter) plain(b []uint8, code *[256]uint32) {
	out, acc, n := w.b, w.acc, w.n // in registers
	for _, r := range b {
		c := code[r]
		acc |= uint64(c&0xffffff) << (n & 63)
		n += uint(c >> 24)
		if n >= 32 {
			out = binary.LittleEndian.AppendUint32(out, uint32(acc))
			acc >>= 32
			n -= 32
		}
	}
	w.b, w.acc, w.n = out, acc, n
}

// pixels appends a block's residuals with a bit before each pixel.
func (w *bitWriter) pixels(b []uint8, code *[256]uint32, dies int) {
	out, acc, n := w.b, w.acc, w.n
	for ; len(b) >= dies; b = b[dies:] {
		px := b[:dies]
		any := uint8(0)
		for _, r := range px {
			any |= r
		}
		if any == 0 {
			n++
		} else {
			acc |= 1 << (n & 63)
			n++
			for _, r := range px {
				c := code[r]
				acc |= uint64(c&0xffffff) << (n & 63)
				n += uint(c >> 24)
				if n >= 32 {
					out = binary.LittleEndian.AppendUint32(out, uint32(acc))
					acc >>= 32
					n -= 32
				}
			}
		}
		if n >= 32 {
			out = binary.LittleEndian.AppendUint32(out, uint32(acc))
			acc >>= 32
			n -= 32
		}
	}
	w.b, w.acc, w.n = out, acc, n
}

// flush ends the byte that was begun, with zeros.
func (w *bitWriter) flush() {
	for w.n > 0 {
		w.b = append(w.b, uint8(w.acc))
		w.acc >>= 8
		w.n -= min(w.n, 8)
	}
}
