package script

// OpSet is the version of the operation set below. A graph is only meaningful
// together with it: once released, what an operation computes, down to its
// rounding, does not change under the same number.
const OpSet = 1

// op is one operation of a graph. All operations take and give single numbers.
type op uint8

const (
	opConst op = iota

	// Leaves that change with the frame.
	opSeconds  // time since the clip began
	opProgress // 0..1 over the clip
	opValue    // 0..1, of a clip that follows a value
	opCycle    // 0..1, whole turns in a clip that loops

	// Leaves that change with the pixel.
	opX
	opY
	opU
	opV
	opAlong
	opIndex
	opCount
	opStrip
	opOn // 1 on one strip, else 0

	opAdd
	opSub
	opMul
	opDiv   // x/0 is 0
	opRecip // 1/0 is 0; uniform operands only
	opMod
	opMin
	opMax
	opClamp // clamp(x, lo, hi), lo and hi uniform
	opAbs
	opSign
	opFloor
	opCeil
	opTrunc
	opRound
	opRoundEven
	opFract
	opStep
	opSlope  // 1/(e1-e0), or a jump where the edges are equal
	opSmooth // t*t*(3-2t), t = clamp((x-e0)*slope, 0, 1); e0 and slope uniform
	opSqrt
	opInverseSqrt
	opExp
	opExp2
	opLog
	opLog2
	opPow
	opSin
	opCos
	opTan
	opAsin
	opAcos
	opAtan
	opAtan2
	opLightness
	opHash1
	opHash2
	opHash3
	opNoise1
	opNoise2
	opNoise3
	opGradient // one lane of a gradient's light
	opTrail    // max(x, what it was a frame ago times the decay)
	opCount_
)

// opInfo is a row of the operation table.
type opInfo struct {
	name  string
	arity int
	// weight is the cost of one pixel in additions. The figures are rounded
	// from BenchmarkOperations on one busy machine (an addition took 0.6 ns); they
	// rank patterns, they do not predict nanoseconds.
	weight float64
}

var ops = [opCount_]opInfo{
	opConst: {"const", 0, 0}, opSeconds: {"seconds", 0, 0}, opProgress: {"progress", 0, 0},
	opValue: {"value", 0, 0}, opCycle: {"cycle", 0, 0},
	opX: {"x", 0, 0}, opY: {"y", 0, 0}, opU: {"u", 0, 0}, opV: {"v", 0, 0}, opAlong: {"along", 0, 0},
	opIndex: {"index", 0, 0}, opCount: {"count", 0, 0}, opStrip: {"strip", 0, 0}, opOn: {"on", 0, 0},
	opAdd: {"add", 2, 1}, opSub: {"sub", 2, 1}, opMul: {"mul", 2, 1}, opDiv: {"div", 2, 5}, opRecip: {"recip", 1, 5},
	opMod: {"mod", 2, 9}, opMin: {"min", 2, 2}, opMax: {"max", 2, 2}, opClamp: {"clamp", 3, 3},
	opAbs: {"abs", 1, 2}, opSign: {"sign", 1, 3}, opFloor: {"floor", 1, 5}, opCeil: {"ceil", 1, 5}, opTrunc: {"trunc", 1, 5},
	opRound: {"round", 1, 5}, opRoundEven: {"roundEven", 1, 5}, opFract: {"fract", 1, 3}, opStep: {"step", 2, 2},
	opSlope: {"slope", 2, 6}, opSmooth: {"smoothstep", 3, 4}, opSqrt: {"sqrt", 1, 4}, opInverseSqrt: {"inversesqrt", 1, 8},
	opExp: {"exp", 1, 30}, opExp2: {"exp2", 1, 30}, opLog: {"log", 1, 18}, opLog2: {"log2", 1, 18}, opPow: {"pow", 2, 40},
	opSin: {"sin", 1, 11}, opCos: {"cos", 1, 11}, opTan: {"tan", 1, 24}, opAsin: {"asin", 1, 38}, opAcos: {"acos", 1, 38},
	opAtan: {"atan", 1, 40}, opAtan2: {"atan2", 2, 50}, opLightness: {"lightness", 1, 5},
	opHash1: {"hash1", 1, 11}, opHash2: {"hash2", 2, 17}, opHash3: {"hash3", 3, 19},
	opNoise1: {"noise1", 1, 13}, opNoise2: {"noise2", 2, 25}, opNoise3: {"noise3", 3, 50},
	opGradient: {"gradient", 1, 6}, opTrail: {"trail", 1, 4},
}

// Class says what a node's value depends on, and so how often it is computed.
type Class uint8

const (
	// Constant nodes are known when the script is traced.
	Constant Class = 0
	// PerFrame nodes are one number a frame, computed in float64.
	PerFrame Class = 1
	// PerPixel nodes are computed once a clip for every pixel.
	PerPixel Class = 2
	// PerBoth nodes are computed for every pixel of every frame, in float32.
	PerBoth Class = 3
)

// String names the class.
func (c Class) String() string {
	return [...]string{"constant", "frame", "pixel", "both"}[c&3]
}
