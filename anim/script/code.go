package script

import "math"

// block is how many pixels a kernel call works on: temporaries of that size
// stay in the first-level cache.
const block = 256

// reg names an array: a temporary of one block (0 and up), or one of the
// program's arrays of all pixels (-1 and down).
type reg int32

const noReg = reg(math.MinInt32)

func whole(i int) reg { return reg(-1 - i) }

// instr is one kernel call for a block.
type instr struct {
	k       kernel
	d, e, f reg // destinations; e and f for gradients only
	a, b, c reg
	s, t    int32 // shared numbers
	imm     uint64
}

// shared is one operation of the once-a-frame list, on slots of shared numbers.
type shared struct {
	op      op
	d       int32
	a, b, c int32
	imm     uint64
}

// kernel says which block function an instruction runs.
type kernel uint8

const (
	kAddVS kernel = iota + kernel(opCount_) // below: the operation itself, operands in arrays
	kSubSV
	kMulVS
	kMadVVV
	kMadVVS
	kMadVSV
	kMadVSS
	kDivSV
	kMinVS
	kMaxVS
	kModVS
	kPowVS
	kPowSV
	kStepSV
	kFractVS
	kNoise3VVS
	kTint   // light = a * (three shared numbers)
	kRamp   // light = a * (three shared) + (three shared)
	kShade  // light = (three arrays) * a
	kPaint  // light = gradient at a
	kPoints // light = three arrays
	kFractRamp
	kShadedRamp
	kShadedPaint
)
