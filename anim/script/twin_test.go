package script

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/color"
)

// twin is the slow, obvious way to play a graph: node by node, pixel by pixel,
// no fusing, no hoisting, no blocks. A program must give the same bits.
type twin struct {
	g      *Graph
	states map[int32][]float32
}

func newTwin(g *Graph) *twin {
	w := &twin{g: g, states: map[int32][]float32{}}
	for i := range g.nodes {
		if g.nodes[i].op == opTrail {
			w.states[int32(i)] = make([]float32, len(g.opt.Layout.Pixels))
		}
	}
	return w
}

func (w *twin) frame(f int) []color.Light {
	g := w.g
	shared := make([]float64, len(g.nodes))
	for i := range g.nodes {
		n := &g.nodes[i]
		switch {
		case n.class&PerPixel != 0:
		case n.op == opConst:
			shared[i] = n.value()
		case ops[n.op].arity == 0:
			shared[i] = g.opt.clock(n.op, n.imm, f)
		case n.op == opGradient:
			shared[i] = float64(g.palettes[n.imm>>2].at(float32(shared[n.args[0]]), int(n.imm&3)))
		default:
			var v [3]float64
			for k, a := range n.args {
				if a >= 0 {
					v[k] = shared[a]
				}
			}
			shared[i] = eval64(n.op, n.imm, v[0], v[1], v[2])
		}
	}
	out := make([]color.Light, len(g.opt.Layout.Pixels))
	val := make([]float32, len(g.nodes))
	for p := range out {
		px := g.opt.Layout.Pixels[p]
		for i := range g.nodes {
			n := &g.nodes[i]
			var v [3]float32
			for k, a := range n.args {
				if a >= 0 {
					v[k] = val[a]
				}
			}
			switch {
			case n.class&PerPixel == 0:
				val[i] = float32(shared[i])
			case n.op == opX:
				val[i] = float32(px.X)
			case n.op == opY:
				val[i] = float32(px.Y)
			case n.op == opU:
				val[i] = float32(px.U)
			case n.op == opV:
				val[i] = float32(px.V)
			case n.op == opAlong:
				val[i] = float32(px.Along)
			case n.op == opIndex:
				val[i] = float32(px.Index)
			case n.op == opCount:
				val[i] = float32(g.opt.Layout.Strips[px.Strip].Count)
			case n.op == opStrip:
				val[i] = float32(px.Strip)
			case n.op == opOn:
				val[i] = 0
				if px.Strip == int(n.imm) {
					val[i] = 1
				}
			case n.op == opGradient:
				val[i] = g.palettes[n.imm>>2].at(v[0], int(n.imm&3))
			case n.op == opTrail:
				s := w.states[int32(i)]
				s[p] = max(v[0], float32(s[p]*float32(n.value())))
				val[i] = s[p]
			default:
				val[i] = eval32(n.op, n.imm, v[0], v[1], v[2])
			}
		}
		for k, o := range g.out {
			out[p][k] = val[o]
		}
	}
	return out
}

func eval32(o op, imm uint64, a, b, c float32) float32 {
	cellOf := func(x float32) (int32, float32) {
		f := math.Floor(float64(x))
		return int32(f), x - float32(f)
	}
	switch o {
	case opAdd:
		return a + b
	case opSub:
		return a - b
	case opMul:
		return a * b
	case opDiv:
		if b == 0 {
			return 0
		}
		return a / b
	case opMod:
		return mod32(a, b)
	case opMin:
		return min(a, b)
	case opMax:
		return max(a, b)
	case opClamp:
		return min(max(a, b), c)
	case opSmooth:
		return smooth32(a, b, c)
	case opSlope:
		if a == b {
			return limit
		}
		return 1 / (b - a)
	case opFract:
		return fract32(a)
	case opExp:
		return exp32(a)
	case opExp2:
		return exp2_32(a)
	case opLog:
		return log32(a)
	case opLog2:
		return log2_32(a)
	case opPow:
		return pow32(a, b)
	case opSin:
		return sin32(a)
	case opCos:
		return cos32(a)
	case opTan:
		return tan32(a)
	case opAsin:
		return asin32(a)
	case opAcos:
		return acos32(a)
	case opAtan:
		return atan32(a)
	case opAtan2:
		return atan2_32(a, b)
	case opLightness:
		return lightness32(a)
	case opNoise1:
		i, f := cellOf(a)
		return noise1(latticeOf(imm), i, f)
	case opNoise2:
		i, f := cellOf(a)
		j, g := cellOf(b)
		return noise2(latticeOf(imm), i, j, f, g)
	case opNoise3:
		i, f := cellOf(a)
		j, g := cellOf(b)
		k, h := cellOf(c)
		return noise3(latticeOf(imm), i, j, k, f, g, h)
	}
	// The rest is exact, or rounded once from float64.
	return float32(raw64(o, imm, float64(a), float64(b), float64(c)))
}

// bits compares two frames to the last bit; the sign of zero does not count.
func bits(t require.TestingT, want, got []color.Light, what string) {
	for p := range want {
		for k := range 3 {
			if want[p][k] != got[p][k] {
				require.Failf(t, "light differs", "%s, pixel %d, lane %d: the twin has %v, the program %v", what, p, k, want[p][k], got[p][k])
			}
			if v := float64(got[p][k]); math.IsNaN(v) || math.IsInf(v, 0) {
				require.Failf(t, "light is not finite", "%s, pixel %d, lane %d: %v", what, p, k, v)
			}
		}
	}
}

// expression draws a random expression of the language.
func expression(t *rapid.T, depth int) string {
	if depth == 0 {
		return rapid.SampledFrom([]string{
			"at.x", "at.y", "at.u", "at.v", "at.along", "at.index", "at.count", "at.strip", `at.on("left")`,
			"now.cycle(1)", "now.cycle(0.7)", "now.progress", "now.seconds", "0", "1", "0.5", "-2", "3.25", "1e9", "-1e12", "1e-9",
		}).Draw(t, "leaf")
	}
	sub := func() string { return expression(t, rapid.IntRange(0, depth-1).Draw(t, "depth")) }
	form := rapid.SampledFrom([]string{
		"(%s + %s)", "(%s - %s)", "(%s * %s)", "(%s * %s + %s)", "(%s / (%s + at.u * 0))", "(%s %% (%s + at.v * 0))",
		"min(%s, %s)", "max(%s, %s)", "clamp(%s, 0, 1)", "clamp(%s, %s, %s)", "mix(%s, %s, %s)", "step(%s, %s)",
		"smoothstep(0.2, 0.8, %s)", "smoothstep(%s, %s, %s)", "fract(%s)", "fract(%s + now.seconds)", "sin(%s)", "cos(%s + now.seconds * 9)", "tan(%s)",
		"abs(%s)", "sign(%s)", "floor(%s)", "ceil(%s)", "trunc(%s)", "round(%s)", "roundEven(%s)", "mod(%s, 3)", "mod(%s, %s)",
		"sqrt(%s)", "inversesqrt(%s)", "exp(%s)", "exp2(%s)", "log(%s)", "log2(%s)", "pow(%s, %s)", "pow(%s, 3)", "pow(%s, 0.7)", "pow(2.5, %s)",
		"asin(%s)", "acos(%s)", "atan(%s)", "atan(%s, %s)", "lightness(%s)", "hash(%s)", "hash(%s, %s)", "hash(%s, %s, %s)",
		"noise(%s)", "noise(%s, %s)", "noise(%s, %s, %s, seed = 3)", "noise(%s, %s, now.seconds)", "noise(%s, %s, %s, period = 4)", "fbm(%s, %s, octaves = 2)",
		"length(vec2(%s, %s))", "dot(vec3(%s, %s, %s), vec3(%s))", "normalize(vec2(%s, %s)).x", "distance(vec2(%s), vec2(%s))",
		`gradient("navy", "gold 30%%", "white")(%s).g`, `trail(%s, half = "0.1 s")`, "-%s", "degrees(%s)", "vec3(%s).z", "int(3) * %s",
	}).Draw(t, "form")
	args := make([]any, strings.Count(strings.ReplaceAll(form, "%%", ""), "%s"))
	for i := range args {
		args[i] = sub()
	}
	return fmt.Sprintf(form, args...)
}

func randomScript(t *rapid.T) string {
	e := func() string { return expression(t, rapid.IntRange(0, 4).Draw(t, "depth")) }
	form := rapid.SampledFrom([]string{
		`color("white") * (%s)`, `color("tomato") * (%s) + color("#013") * (%s)`, `mix(color("red"), color("blue"), %s)`,
		`gradient("black", "teal", "white")(%s)`, `gradient("black", "teal", "white")(%s) * (%s)`,
		`color("white") * vec3(%s, %s, %s)`, `trail(color("white") * (%s), half = 0.2)`,
	}).Draw(t, "light")
	args := make([]any, strings.Count(form, "%s"))
	for i := range args {
		args[i] = e()
	}
	return "def light(at, now):\n    a = " + e() + "\n    return " + fmt.Sprintf(form, args...) + " * clamp(a, 0, 1)\n"
}

func TestProgramEqualsItsTwin(t *testing.T) {
	l := portal()
	for len(l.Pixels) < 300 { // more than one block
		l.Pixels = append(l.Pixels, l.Pixels[len(l.Pixels)-180])
	}
	rapid.Check(t, func(t *rapid.T) {
		src := randomScript(t)
		p, err := Load("random.star", []byte(src))
		require.NoError(t, err, src)
		g, err := p.Trace(Options{Layout: l, Frames: 6, FPS: 5})
		if err != nil && (strings.Contains(err.Error(), "more than 8192 operations") || strings.Contains(err.Error(), "division by zero")) {
			return
		}
		require.NoError(t, err, src)
		prog, err := g.Compile()
		require.NoError(t, err, src)
		w, r := newTwin(g), prog.Start()
		got := make([]color.Light, len(l.Pixels))
		for f := range 6 {
			require.NoError(t, r.Next(got))
			bits(t, w.frame(f), got, fmt.Sprintf("%s\nframe %d", src, f))
		}
	})
}
