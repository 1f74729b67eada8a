package table

// The kind predict (docs/table-format.md, section 4.3) stores each frame as
// what a prediction got wrong. For every strip the writer chooses one of eight
// predictions; residuals are taken modulo 256, folded so that small ones of
// either sign become small numbers, and stored in blocks of a few pixels, each
// with the cheapest of eight codes. An unpacker needs one frame, the eight
// bytes of the two pixels before, and a dozen bytes of state.

// Predictions of a die's code from codes known by then: of the frame before
// (old) and of this one. Outside the strip every code is 0.
const (
	fromOld     = iota // old
	fromLeft           // the pixel before
	fromChange         // old + what the pixel before changed by
	fromBehind         // old of the pixel before: everything moved on by one
	fromAhead          // old of the pixel after: everything moved back by one
	fromHalf           // old + half of what the pixel before changed by, rounded down
	fromBehind2        // old of the second pixel before
	fromAhead2         // old of the second pixel after
	predictions
)

// A block's code: how its folded residuals are written.
const (
	allZero = iota // nothing is written
	pixels0        // a bit a pixel: 0 all zero, 1 Rice with 0 low bits
	pixels1        // the same with 1 low bit
	pixels2        // the same with 2
	plain0         // Rice with 0 low bits, no bits for pixels
	plain1         // 1
	plain2         // 2
	plain4         // 4
	blockModes
)

// lowBits is the Rice parameter of every block mode, and whether pixels have
// a bit of their own.
var lowBits = [blockModes]uint{pixels0: 0, pixels1: 1, pixels2: 2, plain0: 0, plain1: 1, plain2: 2, plain4: 4}

// escape is the number of zeros that announces a folded residual as it is, in
// eight bits: no residual takes more than 20 bits.
const escape = 12

// span is a strip's place in a frame.
type span struct{ first, bytes, dies int }

func spans(t *Show) []span {
	out := make([]span, len(t.Strips))
	at := 0
	for i := range t.Strips {
		dies := t.Parts[t.Strips[i].Part].Dies
		out[i] = span{at, t.Strips[i].Pixels * dies, dies}
		at += out[i].bytes
	}
	return out
}

// Eight residuals at a time: bytes of a word, each modulo 256.
const (
	highBits = 0x8080808080808080
	ones     = 0x0101010101010101
)

// subBytes subtracts each byte of y from that of x.
func subBytes(x, y uint64) uint64 { return (x | highBits) - (y &^ highBits) ^ (x^^y)&highBits }

// addBytes adds each byte of y to that of x.
func addBytes(x, y uint64) uint64 { return (x &^ highBits) + (y &^ highBits) ^ (x^y)&highBits }

// fold maps 0 -1 1 -2 2 ... to 0 1 2 3 4 ... in each byte.
func fold(e uint64) uint64 { return e<<1&^ones ^ (e>>7&ones)*0xff }

// unfold undoes fold.
func unfold(r uint64) uint64 { return r>>1&^highBits ^ (r&ones)*0xff }
