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
	var cost [predictions]int
	same := true
	for x := 0; x < s.bytes; x += 8 {
		mask := ^uint64(0)
		if s.bytes-x < 8 {
			mask >>= 8 * uint(8-(s.bytes-x))
		}
		i := at + x
		c, o := load(p.now, i), load(p.old, i)
		l, b, a := load(p.now, i-d), load(p.old, i-d), load(p.old, i+d)
		t := subBytes(c, o)
		if t&mask != 0 {
			same = false
		}
		cost[fromOld] += lengths(fold(t & mask))
		cost[fromLeft] += lengths(fold(subBytes(c, l) & mask))
		cost[fromChange] += lengths(fold(subBytes(t, subBytes(l, b)) & mask))
		cost[fromBehind] += lengths(fold(subBytes(c, b) & mask))
		cost[fromAhead] += lengths(fold(subBytes(c, a) & mask))
		if p.best {
			for how := uint8(fromHalf); how < predictions; how++ {
				cost[how] += lengths(fold(p.word(i, d, how) & mask))
			}
		}
	}
	if same {
		return fromOld
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
	x := 0
	if how == fromOld {
		for ; x+8 <= s.bytes; x += 8 {
			binary.LittleEndian.PutUint64(p.res[x:], fold(subBytes(load(p.now, at+x), load(p.old, at+x))))
		}
	}
	for ; x < s.bytes; x += 8 {
		binary.LittleEndian.PutUint64(p.res[x:], fold(p.word(at+x, s.dies, how)))
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
		k := lowBits[mode]
		switch {
		case mode == allZero:
		case mode >= plain0:
			for _, r := range b {
				p.out.rice(r, k)
			}
		default:
			for ; len(b) >= s.dies; b = b[s.dies:] {
				if b[0]|b[1]|b[2] == 0 && (s.dies == 3 || b[3] == 0) {
					p.out.put(0, 1)
					continue
				}
				p.out.put(1, 1)
				for _, r := range b[:s.dies] {
					p.out.rice(r, k)
				}
			}
		}
	}
}

// riceLength is the bits that a folded residual takes in Rice code with 0, 1,
// 2 and 4 low bits, 16 bits of a word each.
var riceLength = func() (t [256]uint64) {
	for r := range t {
		for lane, k := range [4]uint{0, 1, 2, 4} {
			n := uint(r)>>k + 1 + k
			if r>>k >= escape {
				n = escape + 8
			}
			t[r] |= uint64(n) << (16 * lane)
		}
	}
	return
}()

// cheapest counts what a block costs in every mode.
func (p *packer) cheapest(b []uint8, dies int) uint8 {
	var plain, lit uint64 // all residuals; those of pixels that are not zero
	pixels := 0
	for rest := b; len(rest) >= dies; rest = rest[dies:] {
		n := riceLength[rest[0]] + riceLength[rest[1]] + riceLength[rest[2]]
		if dies == 4 {
			n += riceLength[rest[3]]
		}
		plain += n
		pixels++
		if rest[0]|rest[1]|rest[2] != 0 || dies == 4 && rest[3] != 0 {
			lit += n
		}
	}
	if lit == 0 {
		return allZero
	}
	cost := [blockModes]int{
		allZero: 1 << 30,
		pixels0: pixels + int(lit&0xffff), pixels1: pixels + int(lit>>16&0xffff), pixels2: pixels + int(lit>>32&0xffff),
		plain0: int(plain & 0xffff), plain1: int(plain >> 16 & 0xffff), plain2: int(plain >> 32 & 0xffff), plain4: int(plain >> 48),
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
	w.acc |= v << w.n
	w.n += n
	if w.n >= 32 {
		w.b = binary.LittleEndian.AppendUint32(w.b, uint32(w.acc))
		w.acc >>= 32
		w.n -= 32
	}
}

// rice appends a folded residual: its high part as zeros and a one, then its k
// low bits; or escape zeros and the whole.
func (w *bitWriter) rice(r uint8, k uint) {
	q := uint(r) >> k
	if q >= escape {
		w.put(uint64(r)<<escape, escape+8)
		return
	}
	w.put(1<<q|uint64(r)&(1<<k-1)<<(q+1), q+1+k)
}

// flush ends the byte that was begun, with zeros.
func (w *bitWriter) flush() {
	for w.n > 0 {
		w.b = append(w.b, uint8(w.acc))
		w.acc >>= 8
		w.n -= min(w.n, 8)
	}
}
