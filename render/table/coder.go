//go:generate go run ./internal/states
//go:generate go run ./internal/curve

package table

import "math/bits"

// coder is the adaptive binary coder of kind coded, in both directions, so that
// writer and reader share every line of arithmetic. It keeps 16 bits of a range;
// a bit of chance p/256 takes the lower (range>>8)*p of it when it is 1.
type coder struct {
	way   way
	rng   uint32 // 0x8000..0xFFFF between bits
	value uint32 // decoding: the number inside the range
	in    []byte // decoding
	at    int    // decoding: the next byte of in
	acc   uint32 // decoding: bits fetched and not used, the first one topmost
	have  int    // decoding: how many
	low   uint32 // encoding: bit 24 a carry, 16..23 a byte in the making
	made  int    // encoding: bits of that byte
	out   []byte // encoding
	spent uint64 // weighing: 256ths of a bit
	toil  toil
}

// way is what a coder does.
type way uint8

const (
	decoding way = iota
	encoding
	weighing // only counts what encoding would cost
)

// toil counts what a frame asks of a player, for the model of its cycles.
type toil struct {
	mixed   int              // bits of two contexts
	single  int              // bits of one context
	plain   int              // bits of chance 1/2
	shifts  int              // doublings of the range
	samples int              // coded samples; those of them with a second context
	valued  int              // by value
	shaped  int              // by shape
	past    int              // samples with history
	by      [corrections]int // samples by their correction
	free    int              // samples that equal their prediction by one bit for all
	planes  int              // channels of stretches, coded or free
	entries int              // stretches
	started int              // start points
	copied  int              // bytes of copied stretches
	pushed  int              // bytes that went into the ring
	aged    int              // samples of a repeated frame with history
	raw     int              // bytes of raw frames
	turned  int              // bytes of a frame that is turned
	runs    int              // runs of it
	cleared int              // bytes of memory at a start
}

// begin starts on fresh bytes.
func (c *coder) begin() {
	c.rng, c.low, c.made = 0xFFFF, 0, 0
	if c.way == decoding {
		c.value, c.acc, c.have = 0, 0, 0
		c.value = uint32(c.byte())<<8 | uint32(c.byte())
	}
}

// byte fetches the next byte; after the end come zeros, and at runs on, so that
// the end is noticed.
func (c *coder) byte() uint8 {
	c.at++
	if c.at > len(c.in) {
		return 0
	}
	return c.in[c.at-1]
}

// finish ends the bytes of an encoder so that a decoder has fetched exactly
// these.
func (c *coder) finish() {
	for range 16 {
		c.shift()
	}
	for c.made > 0 {
		c.shift()
	}
}

func (c *coder) shift() {
	c.low <<= 1
	if c.made++; c.made < 8 {
		return
	}
	c.made = 0
	if c.low>>24 != 0 {
		for i := len(c.out) - 1; ; i-- { // the first byte never overflows: low stays below 1
			c.out[i]++
			if c.out[i] != 0 {
				break
			}
		}
	}
	c.out = append(c.out, uint8(c.low>>16))
	c.low &= 0xFFFF
}

// split codes one bit of chance p/256 to be 1.
func (c *coder) split(p uint32, bit int) int {
	if c.way == weighing {
		if bit != 0 {
			c.spent += uint64(price[p])
		} else {
			c.spent += uint64(price[256-p])
		}
		return bit
	}
	bound := (c.rng >> 8) * p
	if c.way == decoding {
		if c.value < bound {
			c.rng, bit = bound, 1
		} else {
			c.value -= bound
			c.rng, bit = c.rng-bound, 0
		}
		if c.rng < 0x8000 {
			n := bits.LeadingZeros16(uint16(c.rng))
			c.rng <<= n
			c.toil.shifts += n
			if c.have < n {
				c.acc |= uint32(c.byte()) << (24 - c.have)
				c.have += 8
				if c.have < n {
					c.acc |= uint32(c.byte()) << (24 - c.have)
					c.have += 8
				}
			}
			c.value = (c.value<<n | c.acc>>(32-n)) & 0xFFFF // bytes that no encoder makes may go over
			c.acc <<= n
			c.have -= n
		}
		return bit
	}
	if bit != 0 {
		c.rng = bound
	} else {
		c.low += bound
		c.rng -= bound
	}
	for c.rng < 0x8000 {
		c.rng <<= 1
		c.toil.shifts++
		c.shift()
	}
	return bit
}

// half codes one bit of chance 1/2.
func (c *coder) half(bit int) int {
	c.toil.plain++
	return c.split(128, bit)
}

// number codes n bits of chance 1/2, the highest first.
func (c *coder) number(v, n int) int {
	got := 0
	for n--; n >= 0; n-- {
		got = got<<1 | c.half(v>>n&1)
	}
	return got
}

// single codes one bit in one context.
func (c *coder) single(cell *uint8, bit int) int {
	c.toil.single++
	s := *cell
	bit = c.split(uint32(chance[uint8(evidence[s]>>1)]), bit)
	*cell = nextState[bit&1][s]
	return bit
}

// mixed codes one bit in two contexts, each heard as far as it has been right:
// the weights are learned, 64 in the high byte being 1.
func (c *coder) mixed(w *[2]int16, a, b *uint8, bit int) int {
	c.toil.mixed++
	sa, sb := *a, *b
	ea, eb := int16(evidence[sa]), int16(evidence[sb])
	sum := ((w[0]>>8)*ea + (w[1]>>8)*eb) >> 7
	sum = max(-127, min(127, sum))
	p := chance[uint8(sum)]
	bit = c.split(uint32(p), bit)
	err := -int16(p >> 1)
	if bit != 0 {
		err = int16((256 - uint16(p)) >> 1)
	}
	w[0] += err * ea >> 4
	w[1] += err * eb >> 4
	*a, *b = nextState[bit&1][sa], nextState[bit&1][sb]
	return bit
}
