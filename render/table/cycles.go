package table

// What the parts of a frame cost on the controller, in processor cycles. The
// numbers are fitted to runs of port/avr's decoder in the simulator over clips of
// every kind and then raised until no frame exceeded its bound, built to be small or
// for speed; over all frames of the demo the bound is 4 % above the truth, of its
// clips kept smooth 5 to 7 % (controller/sim holds it).
const (
	costFrame   = 3200 // steps between the parts included
	costMixed   = 126  // a bit of two contexts
	costSingle  = 71   // a bit of one
	costPlain   = 45   // a bit of chance 1/2
	costShift   = 15   // a doubling of the range, fetching included
	costSample  = 97   // a coded sample, what follows not included
	costValued  = 56   // its second context by value
	costShaped  = 69   // or by shape
	costPast    = 12   // its history
	costFree    = 60   // a sample of a plane that equals its prediction
	costPlane   = 700
	costStretch = 850
	costStart   = 300
	costCopied  = 19   // a byte of a copied stretch
	costPushed  = 9    // a byte kept among the older frames
	costAged    = 12   // a sample's history in a repeated frame
	costRaw     = 80   // a byte of a raw frame
	costCleared = 7    // a byte of memory at a start
	costTurned  = 18   // a byte of a frame that is turned: kept, and put in its place
	costRun     = 2200 // a run of it: how far it has turned
	costHead    = 9000
	costMapped  = 85 // a sample that becomes light, of a field's map
)

// OpeningCycles is what opening a clip may take before its first frame, which the
// bounds of frames leave out: reading its head and its palette. The writer takes no
// palette that would need more, such as one of 256 colours with nothing in common.
const OpeningCycles = 300_000

// costBy is what a sample's prediction costs more than its base.
var costBy = [corrections]int{asSlope: 13, asHalf: 35, asBefore: 26, asLinear: 49, asAgain: 37}

// cycles is a bound of what a frame takes to unpack on the controller.
func (t *toil) cycles() int {
	n := costFrame + costMixed*t.mixed + costSingle*t.single + costPlain*t.plain + costShift*t.shifts +
		costSample*t.samples + costValued*t.valued + costShaped*t.shaped + costPast*t.past + costFree*t.free +
		costPlane*t.planes + costStretch*t.entries + costStart*t.started + costCopied*t.copied + costPushed*t.pushed +
		costAged*t.aged + costRaw*t.raw + costCleared*t.cleared + costTurned*t.turned + costRun*t.runs
	for by, samples := range t.by {
		n += costBy[by] * samples
	}
	return n
}

// What a frame of key frames costs beside unpacking a key; measured so too.
const (
	costKeys       = 2400 // how far it is, and the steps
	costKeyTaken   = 9    // a byte of a key that becomes the one before
	costKeyUnpack  = 16   // a byte of a key that is unpacked, more than a coded clip's: firmware that is built to be small
	costKeyCode    = 50   // a code
	costKeyBetween = 24   // more, where the keys before and after it differ
	costKeyRest    = 14   // more, where its rounding error is carried

	costFieldPixel    = 27 // a pixel of a field
	costFieldDie      = 14 // a die of it
	costFieldApart    = 10 // a pixel more, where the keys before and after it differ
	costFieldApartDie = 20 // a die more
)
