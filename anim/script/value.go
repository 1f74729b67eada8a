package script

import (
	"fmt"

	"go.starlark.net/starlark"
	"go.starlark.net/syntax"

	"paneglow/anim/color"
)

// shape is how many numbers a value has, and what they mean.
type shape uint8

const (
	scalar shape = iota // one number
	vec2
	vec3
	light // red, green, blue of linear light
)

func (s shape) lanes() int { return [...]int{1, 2, 3, 3}[s] }

func (s shape) String() string { return [...]string{"number", "vec2", "vec3", "light"}[s] }

// Field is a value that is traced: one or more nodes of the graph. It may be
// different for every pixel and frame, or not; scripts need not care.
type Field struct {
	b     *builder
	shape shape
	id    [3]int32
}

var (
	_ starlark.HasAttrs = (*Field)(nil)
	_ starlark.HasAttrs = (*spot)(nil)
	_ starlark.HasAttrs = (*moment)(nil)
	_ starlark.HasAttrs = (*Color)(nil)
	_ starlark.Callable = (*Ramp)(nil)
)

// word says what the value is, as error messages put it.
func (f *Field) word() string {
	c := Constant
	for _, id := range f.lanesOf() {
		c |= f.b.nodes[id].class
	}
	switch {
	case f.shape == scalar && c == Constant:
		return "a number"
	case f.shape == scalar && c == PerFrame:
		return "a number that changes with time"
	case f.shape == scalar:
		return "a field of numbers"
	case c&PerPixel != 0:
		return "a field of " + f.shape.String()
	case f.shape == light:
		return "light"
	}
	return "a " + f.shape.String()
}

func (f *Field) lanesOf() []int32 { return f.id[:f.shape.lanes()] }

// lane repeats a number for every lane of a wider value.
func (f *Field) lane(i int) int32 {
	if f.shape == scalar {
		return f.id[0]
	}
	return f.id[i]
}

func (f *Field) String() string        { return "<" + f.word() + ">" }
func (f *Field) Type() string          { return f.shape.String() }
func (f *Field) Freeze()               {}
func (f *Field) Truth() starlark.Bool  { return true } // never asked: the fence refuses first
func (f *Field) Hash() (uint32, error) { return 0, wrong("shape", "", "%s is not a key", f.word()) }

// Attr gives one number of a vector or light.
func (f *Field) Attr(name string) (starlark.Value, error) {
	set := "xyz"
	if f.shape == light {
		set = "rgb"
	}
	for i := range f.shape.lanes() {
		if f.shape != scalar && name == set[i:i+1] {
			return &Field{b: f.b, id: [3]int32{f.id[i]}}, nil
		}
	}
	fix := ""
	if names := f.AttrNames(); len(names) > 0 {
		fix = fmt.Sprintf("there are .%s", names[0])
		for _, n := range names[1:] {
			fix += " ." + n
		}
	}
	return nil, wrong("attribute", fix, "%s has no .%s", f.word(), name)
}

// AttrNames lists the numbers.
func (f *Field) AttrNames() []string {
	switch f.shape {
	case vec2:
		return []string{"x", "y"}
	case vec3:
		return []string{"x", "y", "z"}
	case light:
		return []string{"r", "g", "b"}
	}
	return nil
}

// Color is a color constant or control. In arithmetic it is its light.
type Color struct {
	c    color.Color
	text string
}

func (c *Color) String() string        { return fmt.Sprintf("color(%q)", c.text) }
func (c *Color) Type() string          { return "color" }
func (c *Color) Freeze()               {}
func (c *Color) Truth() starlark.Bool  { return true }
func (c *Color) Hash() (uint32, error) { return starlark.String(c.text).Hash() }

// Attr gives one number of the color's linear light.
func (c *Color) Attr(name string) (starlark.Value, error) {
	l := c.c.Light()
	for i, n := range c.AttrNames() {
		if n == name {
			return starlark.Float(l[i]), nil
		}
	}
	return nil, wrong("attribute", "there are .r .g .b, in linear light", "a color has no .%s", name)
}

// AttrNames lists the numbers.
func (c *Color) AttrNames() []string { return []string{"r", "g", "b"} }

// Ramp is a gradient: a function from a number, 0 to 1, to light.
type Ramp struct {
	g   *color.Gradient
	key string
}

func (r *Ramp) String() string        { return "<gradient>" }
func (r *Ramp) Type() string          { return "gradient" }
func (r *Ramp) Freeze()               {}
func (r *Ramp) Truth() starlark.Bool  { return true }
func (r *Ramp) Hash() (uint32, error) { return starlark.String(r.key).Hash() }

// Name is how errors call it.
func (r *Ramp) Name() string { return "gradient" }

// CallInternal looks the gradient's light up at a number.
func (r *Ramp) CallInternal(th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	t := tracerOf(th)
	if len(args) != 1 || len(kw) > 0 {
		return nil, wrong("arguments", "write palette(t), t a number from 0 to 1", "a gradient takes 1 argument, got %d", len(args)+len(kw))
	}
	x, err := t.field(args[0])
	if err != nil {
		return nil, err
	}
	if x.shape != scalar {
		return nil, wrong("shape", "give it one number, 0 at its first stop, 1 at its last", "a gradient is looked up with a number, not with %s", x.word())
	}
	return t.paint(r, x)
}

// kindOf says what any value is, as error messages put it.
func kindOf(v starlark.Value) string {
	switch v := v.(type) {
	case *Field:
		return v.word()
	case *Color:
		return "a color"
	case *Ramp:
		return "a gradient"
	case *spot:
		return "at"
	case *moment:
		return "now"
	case starlark.Int, starlark.Float:
		return "a number"
	case starlark.String:
		return "text"
	case starlark.Bool:
		return "True or False"
	case starlark.NoneType:
		return "None"
	case *starlark.List:
		return fmt.Sprintf("a list of %d", v.Len())
	case starlark.Tuple:
		return fmt.Sprintf("a tuple of %d", v.Len())
	case *starlark.Function, *starlark.Builtin:
		return "a function"
	}
	return "a " + v.Type()
}

// field turns a value into nodes, or says why it cannot.
func (t *tracer) field(v starlark.Value) (*Field, error) {
	switch v := v.(type) {
	case *Field:
		return v, nil
	case starlark.Int, starlark.Float:
		x, err := plain(v)
		if err != nil {
			return nil, err
		}
		return &Field{b: t.b, id: [3]int32{t.b.num(x)}}, nil
	case *Color:
		f := &Field{b: t.b, shape: light}
		for i, x := range v.c.Light() {
			f.id[i] = t.b.num(float64(x))
		}
		return f, nil
	case *Ramp:
		return nil, wrong("shape", "look it up: palette(t)", "a gradient is not light until it is looked up")
	case starlark.Bool:
		return nil, wrong("shape", "write a if name else b", "True and False do not take part in arithmetic")
	case *spot:
		return nil, wrong("shape", "write at.v, at.along, at.index", "at is a place, not a number")
	case *moment:
		return nil, wrong("shape", "write now.cycle(T), now.progress, now.seconds", "now is a moment, not a number")
	}
	return nil, wrong("shape", "", "%s is not a number, a vector or light", kindOf(v))
}

// plain is the value of a number of the language.
func plain(v starlark.Value) (float64, error) {
	switch v := v.(type) {
	case starlark.Float:
		return float64(v), finite(float64(v))
	case starlark.Int:
		f, ok := starlark.AsFloat(v)
		if !ok {
			return 0, wrong("number", "", "this number is too large")
		}
		return f, nil
	}
	return 0, wrong("shape", "", "%s is not a plain number", kindOf(v))
}

// zip applies f lane by lane; a number goes with every lane.
func (t *tracer) zip(name string, f func(a []int32) int32, args ...*Field) (*Field, error) {
	out := &Field{b: t.b}
	for _, a := range args {
		s, ok := joint(out.shape, a.shape)
		if !ok {
			return nil, wrong("shape", "give both the same number of parts, or one of them a single number",
				"%s does not go with a %s and a %s", name, out.shape, a.shape)
		}
		out.shape = s
	}
	in := make([]int32, len(args))
	for l := range out.shape.lanes() {
		for i, a := range args {
			in[i] = a.lane(l)
		}
		out.id[l] = f(in)
	}
	return out, t.room()
}

func joint(a, b shape) (shape, bool) {
	switch {
	case a == b || b == scalar:
		return a, true
	case a == scalar:
		return b, true
	case a == light && b == vec3 || a == vec3 && b == light:
		return light, true
	}
	return 0, false
}

// room is an error when the graph is full.
func (t *tracer) room() error {
	if t.b.full {
		return wrong("too_large", "draw with fewer parts, or with fract and floor, which repeat a part for free",
			"the pattern has more than %d operations", maxNodes)
	}
	return nil
}

// arithmetic is + - * / % on anything that has a field, color or vector in it.
func (t *tracer) arithmetic(op syntax.Token, x, y starlark.Value) (starlark.Value, error) {
	a, err := t.field(x)
	if err != nil {
		return nil, err
	}
	c, err := t.field(y)
	if err != nil {
		return nil, err
	}
	b := t.b
	var f func(v []int32) int32
	switch op {
	case syntax.PLUS:
		f = func(v []int32) int32 { return b.add(v[0], v[1]) }
	case syntax.MINUS:
		f = func(v []int32) int32 { return b.sub(v[0], v[1]) }
	case syntax.STAR:
		f = func(v []int32) int32 { return b.mul(v[0], v[1]) }
	case syntax.SLASH, syntax.PERCENT, syntax.SLASHSLASH:
		for _, id := range c.lanesOf() {
			if v, ok := b.constant(id); ok && v == 0 {
				return nil, wrong("division", "", "division by zero")
			}
		}
		f = func(v []int32) int32 { return b.div(v[0], v[1]) }
		if op == syntax.PERCENT {
			f = func(v []int32) int32 { return b.put(opMod, 0, v[0], v[1]) }
		} else if op == syntax.SLASHSLASH {
			f = func(v []int32) int32 { return b.put(opFloor, 0, b.div(v[0], v[1])) }
		}
	}
	if _, ok := joint(a.shape, c.shape); !ok {
		return nil, wrong("shape", "give both the same number of parts, or one of them a single number",
			"%s %s %s has no meaning", kindOf(x), op, kindOf(y))
	}
	return t.zip(op.String(), f, a, c)
}
