package script

import (
	"fmt"

	"paneglow/anim/color"
	"paneglow/anim/finding"
)

// Program is a compiled pattern for one layout and clip. It does not change
// after Compile, so any number of goroutines may Start runs of it.
type Program struct {
	g      *Graph
	n      int // pixels
	frames int

	f64       []float64   // shared numbers, constants filled in
	clocks    []shared    // those that come from the frame number
	uniform   []shared    // the once-a-frame list
	code      []instr     // the list per block of pixels
	whole     [][]float32 // leaves and what was computed once a clip
	temps     int
	flatConst []flat // temporaries filled once a run
	flatFrame []flat // and once a frame
	outS      [3]int32
	outT      [3]int32
	shadeBy   int32
	trails    int
	kept      [][]float32 // what trails remember before frame i*keepEvery
	keepEvery int
	notes     finding.List
}

type flat struct {
	r    reg
	slot int32
}

func (p *Program) addWhole(v []float32) reg {
	p.whole = append(p.whole, v)
	return whole(len(p.whole) - 1)
}

// Frames is the clip's length; a clip that follows a value has 256 frames,
// frame = value.
func (p *Program) Frames() int { return p.frames }

// Notes tells what the pattern does that its author may want to know: snapped
// cycles, a seam where the loop closes, doubtful uses of hash.
func (p *Program) Notes() []finding.Finding {
	return append([]finding.Finding(nil), p.notes...)
}

// Run plays a program. It belongs to one goroutine.
type Run struct {
	p     *Program
	frame int
	f64   []float64
	f32   []float32
	tmp   []float32
	state [][]float32 // of each trail, a number per pixel
}

// Start makes a run that stands before frame 0.
func (p *Program) Start() *Run {
	r := p.newRun(p.temps)
	for _, f := range p.flatConst {
		fill(r.tmp[int(f.r)*block:int(f.r+1)*block], float32(p.f64[f.slot]))
	}
	r.recall(0)
	return r
}

func (p *Program) newRun(temps int) *Run {
	r := &Run{p: p, f64: append([]float64(nil), p.f64...), f32: make([]float32, len(p.f64)), tmp: make([]float32, temps*block)}
	for range p.trails {
		r.state = append(r.state, make([]float32, p.n))
	}
	return r
}

// Seek makes frame the next one. It costs nothing, except that a pattern with
// a trail replays from the nearest kept frame.
func (r *Run) Seek(frame int) error {
	if frame < 0 || frame >= r.p.frames {
		return fmt.Errorf("frame %d is outside the clip's %d frames (0 to %d)", frame, r.p.frames, r.p.frames-1)
	}
	if r.p.trails > 0 {
		k := frame / r.p.keepEvery
		r.recall(k)
		for f := k * r.p.keepEvery; f < frame; f++ {
			r.render(f, nil)
		}
	}
	r.frame = frame
	return nil
}

// Next writes the next frame's light, one entry a pixel in the layout's order,
// and steps on; after the last frame comes frame 0. It allocates nothing. It
// fails only when dst has another length than the layout has pixels.
func (r *Run) Next(dst []color.Light) error {
	if len(dst) != r.p.n {
		return fmt.Errorf("a frame has %d pixels, not %d", r.p.n, len(dst))
	}
	r.render(r.frame, dst)
	if r.frame++; r.frame == r.p.frames {
		r.frame = 0
		r.recall(0)
	}
	return nil
}

// recall sets what the trails remember to what was kept.
func (r *Run) recall(k int) {
	if r.p.trails == 0 || len(r.p.kept) == 0 {
		return
	}
	from := r.p.kept[k]
	for i, s := range r.state {
		copy(s, from[i*r.p.n:])
	}
}

// render computes one frame. Without dst only what trails remember moves on.
func (r *Run) render(frame int, dst []color.Light) {
	r.shareFrame(frame)
	p := r.p
	for _, f := range p.flatFrame {
		fill(r.tmp[int(f.r)*block:int(f.r+1)*block], r.f32[f.slot])
	}
	for at := 0; at < p.n; at += block {
		n := min(block, p.n-at)
		if dst == nil {
			r.exec(p.code, at, n, nil)
		} else {
			r.exec(p.code, at, n, dst[at:at+n])
		}
	}
}

// shareFrame computes the numbers that all pixels share.
func (r *Run) shareFrame(frame int) {
	v := r.f64
	for i := range r.p.clocks {
		c := &r.p.clocks[i]
		v[c.d] = r.p.g.opt.clock(c.op, c.imm, frame)
	}
	for i := range r.p.uniform {
		u := &r.p.uniform[i]
		var a, b, c float64
		a = v[u.a]
		if u.b >= 0 {
			b = v[u.b]
		}
		if u.c >= 0 {
			c = v[u.c]
		}
		if u.op == opGradient {
			v[u.d] = float64(r.p.g.palettes[u.imm>>2].at(float32(a), int(u.imm&3)))
		} else {
			v[u.d] = eval64(u.op, u.imm, a, b, c)
		}
	}
	for i, x := range v {
		r.f32[i] = float32(x)
	}
}

func (r *Run) array(x reg, at, n int) []float32 {
	if x >= 0 {
		return r.tmp[int(x)*block : int(x)*block+n]
	}
	if x == noReg {
		return nil
	}
	return r.p.whole[-1-x][at : at+n]
}

// exec runs a list for n pixels from at on.
func (r *Run) exec(code []instr, at, n int, dst []color.Light) {
	for i := range code {
		in := &code[i]
		d := r.array(in.d, at, n)
		a := r.array(in.a, at, n)
		b := r.array(in.b, at, n)
		c := r.array(in.c, at, n)
		var s, t float32
		if in.s >= 0 {
			s = r.f32[in.s]
		}
		if in.t >= 0 && in.k != kernel(opTrail) {
			t = r.f32[in.t]
		}
		switch in.k {
		case kernel(opAdd):
			addVV(d, a, b)
		case kernel(opSub):
			subVV(d, a, b)
		case kernel(opMul):
			mulVV(d, a, b)
		case kernel(opDiv):
			divVV(d, a, b)
		case kernel(opMod):
			modVV(d, a, b)
		case kernel(opMin):
			minVV(d, a, b)
		case kernel(opMax):
			maxVV(d, a, b)
		case kernel(opClamp):
			clampVSS(d, a, s, t)
		case kernel(opAbs):
			absV(d, a)
		case kernel(opSign):
			signV(d, a)
		case kernel(opFloor):
			floorV(d, a)
		case kernel(opCeil):
			ceilV(d, a)
		case kernel(opTrunc):
			truncV(d, a)
		case kernel(opRound):
			roundV(d, a)
		case kernel(opRoundEven):
			roundEvenV(d, a)
		case kernel(opFract):
			fractV(d, a)
		case kernel(opStep):
			stepVV(d, a, b)
		case kernel(opSlope):
			slopeVV(d, a, b)
		case kernel(opSmooth):
			smoothVSS(d, a, s, t)
		case kernel(opSqrt):
			sqrtV(d, a)
		case kernel(opInverseSqrt):
			inverseSqrtV(d, a)
		case kernel(opExp):
			expV(d, a)
		case kernel(opExp2):
			exp2V(d, a)
		case kernel(opLog):
			logV(d, a)
		case kernel(opLog2):
			log2V(d, a)
		case kernel(opPow):
			powVV(d, a, b)
		case kernel(opSin):
			sinV(d, a)
		case kernel(opCos):
			cosV(d, a)
		case kernel(opTan):
			tanV(d, a)
		case kernel(opAsin):
			asinV(d, a)
		case kernel(opAcos):
			acosV(d, a)
		case kernel(opAtan):
			atanV(d, a)
		case kernel(opAtan2):
			atan2VV(d, a, b)
		case kernel(opLightness):
			lightnessV(d, a)
		case kernel(opHash1):
			hash1V(d, a, in.imm)
		case kernel(opHash2):
			hash2V(d, a, b, in.imm)
		case kernel(opHash3):
			hash3V(d, a, b, c, in.imm)
		case kernel(opNoise1):
			noise1V(d, a, in.imm)
		case kernel(opNoise2):
			noise2V(d, a, b, in.imm)
		case kernel(opNoise3):
			noise3V(d, a, b, c, in.imm)
		case kNoise3VVS:
			noise3VVS(d, a, b, s, in.imm)
		case kernel(opGradient):
			gradientV(d, r.array(in.e, at, n), r.array(in.f, at, n), a, r.p.g.palettes[in.imm])
		case kernel(opTrail):
			trailV(d, a, r.state[in.t][at:at+n], float32(valueOf(in.imm)))
		case kAddVS:
			addVS(d, a, s)
		case kSubSV:
			subSV(d, a, s)
		case kMulVS:
			mulVS(d, a, s)
		case kMadVVV:
			madVVV(d, a, b, c)
		case kMadVVS:
			madVVS(d, a, b, s)
		case kMadVSV:
			madVSV(d, a, b, s)
		case kMadVSS:
			madVSS(d, a, s, t)
		case kDivSV:
			divSV(d, a, s)
		case kMinVS:
			minVS(d, a, s)
		case kMaxVS:
			maxVS(d, a, s)
		case kModVS:
			modVS(d, a, s)
		case kPowVS:
			powVS(d, a, s)
		case kPowSV:
			powSV(d, a, s)
		case kStepSV:
			stepSV(d, a, s)
		case kFractVS:
			fractVS(d, a, s)
		default: // the last step: light
			if dst != nil {
				r.light(in, dst, d, a, b, c)
			}
		}
	}
}

// light runs the last step.
func (r *Run) light(in *instr, dst []color.Light, d, a, b, c []float32) {
	switch in.k {
	case kTint:
		s := r.three(r.p.outS)
		tint(dst, a, &s)
	case kRamp:
		s, t := r.three(r.p.outS), r.three(r.p.outT)
		ramp(dst, a, &s, &t)
	case kFractRamp:
		s, t := r.three(r.p.outS), r.three(r.p.outT)
		fractRamp(dst, a, r.f32[in.s], &s, &t)
	case kShadedRamp:
		s, t := r.three(r.p.outS), r.three(r.p.outT)
		shadedRamp(dst, a, b, &s, &t)
	case kShade:
		shade(dst, d, a, b, c)
	case kPaint:
		paint(dst, a, r.p.g.palettes[in.imm])
	case kShadedPaint:
		shadedPaint(dst, a, b, r.p.g.palettes[in.imm])
	case kPoints:
		points(dst, a, b, c)
	}
}

// three gathers shared light.
func (r *Run) three(at [3]int32) [3]float32 {
	return [3]float32{r.f32[at[0]], r.f32[at[1]], r.f32[at[2]]}
}
