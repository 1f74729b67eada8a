package script

import (
	"go.starlark.net/starlark"
)

// function is a builtin of the pattern language: positional arguments that are
// numbers, vectors or light, and the nodes it makes of them.
type function struct {
	least, most int
	usage       string
	make        func(t *tracer, a []*Field) (*Field, error)
}

// lanewise applies a rule of the builder to each lane.
func lanewise(n int, usage string, f func(b *builder, v []int32) int32) function {
	return function{n, n, usage, func(t *tracer, a []*Field) (*Field, error) {
		return t.zip(usage, func(v []int32) int32 { return f(t.b, v) }, a...)
	}}
}

func unary(o op, usage string) function {
	return lanewise(1, usage, func(b *builder, v []int32) int32 { return b.put(o, 0, v[0]) })
}

// degree is pi/180.
const degree = 0.017453292519943295

// functions are those of GLSL ES 3.00, chapter 8, with its argument orders.
var functions = map[string]function{
	"abs": unary(opAbs, "abs(x)"), "sign": unary(opSign, "sign(x)"),
	"floor": unary(opFloor, "floor(x)"), "ceil": unary(opCeil, "ceil(x)"), "trunc": unary(opTrunc, "trunc(x)"),
	"round": unary(opRound, "round(x)"), "roundEven": unary(opRoundEven, "roundEven(x)"),
	"fract": lanewise(1, "fract(x)", func(b *builder, v []int32) int32 { return b.fract(v[0]) }),
	"mod":   lanewise(2, "mod(x, y)", func(b *builder, v []int32) int32 { return b.put(opMod, 0, v[0], v[1]) }),
	"min":   {2, 8, "min(x, y, ...)", extreme((*builder).min)},
	"max":   {2, 8, "max(x, y, ...)", extreme((*builder).max)},
	"clamp": lanewise(3, "clamp(x, low, high)", func(b *builder, v []int32) int32 { return b.clamp(v[0], v[1], v[2]) }),
	"step":  lanewise(2, "step(edge, x)", func(b *builder, v []int32) int32 { return b.put(opStep, 0, v[0], v[1]) }),
	"smoothstep": lanewise(3, "smoothstep(edge0, edge1, x)", func(b *builder, v []int32) int32 {
		return b.smoothstep(v[0], v[1], v[2])
	}),
	"sqrt": unary(opSqrt, "sqrt(x)"), "inversesqrt": unary(opInverseSqrt, "inversesqrt(x)"),
	"exp": unary(opExp, "exp(x)"), "exp2": unary(opExp2, "exp2(x)"),
	"log": unary(opLog, "log(x)"), "log2": unary(opLog2, "log2(x)"),
	"pow": lanewise(2, "pow(x, y)", func(b *builder, v []int32) int32 { return b.pow(v[0], v[1]) }),
	"sin": lanewise(1, "sin(x)", func(b *builder, v []int32) int32 { return b.wave(opSin, v[0]) }),
	"cos": lanewise(1, "cos(x)", func(b *builder, v []int32) int32 { return b.wave(opCos, v[0]) }),
	"tan": unary(opTan, "tan(x)"), "asin": unary(opAsin, "asin(x)"), "acos": unary(opAcos, "acos(x)"),
	"atan": {1, 2, "atan(y, x) or atan(x)", func(t *tracer, a []*Field) (*Field, error) {
		return t.zip("atan", func(v []int32) int32 {
			if len(v) == 1 {
				return t.b.put(opAtan, 0, v[0])
			}
			return t.b.put(opAtan2, 0, v[0], v[1])
		}, a...)
	}},
	"radians":   lanewise(1, "radians(x)", func(b *builder, v []int32) int32 { return b.mul(v[0], b.num(degree)) }),
	"degrees":   lanewise(1, "degrees(x)", func(b *builder, v []int32) int32 { return b.mul(v[0], b.num(1/degree)) }),
	"lightness": unary(opLightness, "lightness(p)"),
	"vec2":      {1, 2, "vec2(x, y)", compose(vec2)},
	"vec3":      {1, 3, "vec3(x, y, z)", compose(vec3)},
	"dot": {2, 2, "dot(a, b)", func(t *tracer, a []*Field) (*Field, error) {
		if err := alike("dot", a[0], a[1]); err != nil {
			return nil, err
		}
		return t.one(t.b.dot(a[0].lanesOf(), a[1].lanesOf()))
	}},
	"length": {1, 1, "length(v)", func(t *tracer, a []*Field) (*Field, error) { return t.one(t.length(a[0])) }},
	"distance": {2, 2, "distance(a, b)", func(t *tracer, a []*Field) (*Field, error) {
		if err := alike("distance", a[0], a[1]); err != nil {
			return nil, err
		}
		d, err := t.zip("distance", func(v []int32) int32 { return t.b.sub(v[0], v[1]) }, a...)
		if err != nil {
			return nil, err
		}
		return t.one(t.length(d))
	}},
	"normalize": {1, 1, "normalize(v)", func(t *tracer, a []*Field) (*Field, error) {
		if a[0].shape == scalar {
			return t.one(t.b.put(opSign, 0, a[0].id[0]))
		}
		l := t.b.put(opInverseSqrt, 0, t.b.dot(a[0].lanesOf(), a[0].lanesOf()))
		return t.zip("normalize", func(v []int32) int32 { return t.b.mul(v[0], l) }, a[0])
	}},
}

func extreme(f func(b *builder, x, y int32) int32) func(t *tracer, a []*Field) (*Field, error) {
	return func(t *tracer, a []*Field) (*Field, error) {
		return t.zip("this", func(v []int32) int32 {
			r := v[0]
			for _, x := range v[1:] {
				r = f(t.b, r, x)
			}
			return r
		}, a...)
	}
}

// compose fills a vector from its parts, or repeats one number.
func compose(s shape) func(t *tracer, a []*Field) (*Field, error) {
	return func(t *tracer, a []*Field) (*Field, error) {
		ids := parts(a)
		if len(ids) == 1 {
			ids = []int32{ids[0], ids[0], ids[0]}[:s.lanes()]
		}
		if len(ids) != s.lanes() {
			return nil, wrong("shape", "give it 1 or as many numbers as it has parts", "a %s has %d parts, got %d", s, s.lanes(), len(ids))
		}
		out := &Field{b: t.b, shape: s}
		copy(out.id[:], ids)
		return out, nil
	}
}

// parts lists the numbers of several values one after the other.
func parts(a []*Field) []int32 {
	var ids []int32
	for _, f := range a {
		ids = append(ids, f.lanesOf()...)
	}
	return ids
}

func alike(name string, a, b *Field) error {
	if a.shape != b.shape {
		return wrong("shape", "give both the same number of parts", "%s takes two vectors of one size, not %s and %s", name, a.word(), b.word())
	}
	return nil
}

func (t *tracer) one(id int32) (*Field, error) {
	return &Field{b: t.b, id: [3]int32{id}}, t.room()
}

func (t *tracer) length(f *Field) int32 {
	if f.shape == scalar {
		return t.b.put(opAbs, 0, f.id[0])
	}
	return t.b.put(opSqrt, 0, t.b.dot(f.lanesOf(), f.lanesOf()))
}

// language are all names a script sees. The builtins find their tracer on the
// thread, so one table serves all.
var (
	language starlark.StringDict
	specials map[string]special
)

func init() {
	specials = makeSpecials()
	language = plainBuiltins()
	for name, g := range guards() {
		language[name] = g
	}
	for name, f := range functions {
		language[name] = f.builtin(name)
	}
	for name, f := range specials {
		language[name] = starlark.NewBuiltin(name, func(th *starlark.Thread, b *starlark.Builtin, a starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
			t := tracerOf(th)
			t.locate(th)
			return f(t, th, a, kw)
		})
	}
}

// builtin wraps a function. Where all arguments are plain numbers the result
// is one too, so that controls and loops can use it.
func (f function) builtin(name string) *starlark.Builtin {
	return starlark.NewBuiltin(name, func(th *starlark.Thread, _ *starlark.Builtin, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
		t := tracerOf(th)
		t.locate(th)
		if len(kw) > 0 {
			return nil, wrong("arguments", "write "+f.usage, "%s takes no argument named %s", name, kw[0][0])
		}
		return t.apply(name, f, args)
	})
}

func (t *tracer) apply(name string, f function, args starlark.Tuple) (starlark.Value, error) {
	if len(args) < f.least || len(args) > f.most {
		return nil, wrong("arguments", "write "+f.usage, "%s got %d arguments", name, len(args))
	}
	all := true
	in := make([]*Field, len(args))
	for i, v := range args {
		all = all && isNumber(v)
		x, err := t.field(v)
		if err != nil {
			return nil, err
		}
		in[i] = x
	}
	out, err := f.make(t, in)
	if err != nil {
		return nil, err
	}
	if all && out.shape == scalar {
		if v, ok := t.b.constant(out.id[0]); ok {
			return starlark.Float(v), nil
		}
	}
	return out, nil
}

// visibleNames are those a script can write.
func visibleNames() []string {
	var out []string
	for name := range functions {
		out = append(out, name)
	}
	for name := range specials {
		if name[0] != '$' {
			out = append(out, name)
		}
	}
	return append(out, "range", "len", "enumerate", "zip", "reversed", "list", "int", "float", "fail", "at", "now")
}
