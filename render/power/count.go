package power

import (
	"encoding/binary"

	"paneglow/anim/show"
)

// addChannels adds up the codes of each channel of whole pixels.
//
// Eight codes are added at a time: the even and the odd bytes of a word go
// into four 16-bit lanes each. A lane holds 257 codes of 255, so lanes are
// emptied after at most 256 words. Three words hold eight pixels of three
// dies, one word two of four, so that a lane always belongs to one channel.
func addChannels(sums *[4]uint64, codes []uint8, dies int) {
	const even = 0x00ff00ff00ff00ff
	if dies == 4 {
		for len(codes) >= 8 {
			n := min(len(codes)/8, 256)
			var e, o uint64
			for i := 0; i < n; i++ {
				w := binary.LittleEndian.Uint64(codes[i*8:])
				e += w & even
				o += w >> 8 & even
			}
			sums[0] += e&0xffff + e>>32&0xffff
			sums[2] += e>>16&0xffff + e>>48
			sums[1] += o&0xffff + o>>32&0xffff
			sums[3] += o>>16&0xffff + o>>48
			codes = codes[n*8:]
		}
		for i, c := range codes {
			sums[i&3] += uint64(c)
		}
		return
	}
	for len(codes) >= 24 {
		n := min(len(codes)/24, 256)
		var e0, o0, e1, o1, e2, o2 uint64
		block := codes[: n*24 : n*24]
		for ; len(block) >= 24; block = block[24:] {
			w := binary.LittleEndian.Uint64(block)
			e0 += w & even
			o0 += w >> 8 & even
			w = binary.LittleEndian.Uint64(block[8:])
			e1 += w & even
			o1 += w >> 8 & even
			w = binary.LittleEndian.Uint64(block[16:])
			e2 += w & even
			o2 += w >> 8 & even
		}
		// Byte j of word w is channel (8w+j) mod 3.
		var s [3]uint64
		for w, eo := range [3][2]uint64{{e0, o0}, {e1, o1}, {e2, o2}} {
			for lane := 0; lane < 4; lane++ {
				s[(8*w+2*lane)%3] += eo[0] >> (16 * lane) & 0xffff
				s[(8*w+2*lane+1)%3] += eo[1] >> (16 * lane) & 0xffff
			}
		}
		for c := range s {
			sums[c] += s[c]
		}
		codes = codes[n*24:]
	}
	for ; len(codes) >= 3; codes = codes[3:] {
		sums[0] += uint64(codes[0])
		sums[1] += uint64(codes[1])
		sums[2] += uint64(codes[2])
	}
}

// perPixel adds up the numerators of whole pixels under the laws that look at
// one pixel at a time. Every product fits 32 bits (see MostPixelCurrent).
func perPixel(p *Part, codes []uint8) int64 {
	r, g, b, w := uint64(p.Channel[0]), uint64(p.Channel[1]), uint64(p.Channel[2]), uint64(p.Channel[3])
	var num uint64
	switch {
	case p.Law == show.Largest && p.Dies == 3:
		for ; len(codes) >= 3; codes = codes[3:] {
			num += max(uint64(codes[0])*r, uint64(codes[1])*g, uint64(codes[2])*b)
		}
	case p.Law == show.Largest:
		for ; len(codes) >= 4; codes = codes[4:] {
			num += max(uint64(codes[0])*r, uint64(codes[1])*g, uint64(codes[2])*b, uint64(codes[3])*w)
		}
	case p.Dies == 3:
		most := uint64(p.Ceiling) * 255
		for ; len(codes) >= 3; codes = codes[3:] {
			num += min(uint64(codes[0])*r+uint64(codes[1])*g+uint64(codes[2])*b, most)
		}
	default:
		most := uint64(p.Ceiling) * 255
		for ; len(codes) >= 4; codes = codes[4:] {
			num += min(uint64(codes[0])*r+uint64(codes[1])*g+uint64(codes[2])*b+uint64(codes[3])*w, most)
		}
	}
	return int64(num)
}
