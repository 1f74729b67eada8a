package script

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"go.starlark.net/starlark"

	"paneglow/anim/color"
)

type special = func(t *tracer, th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error)

// makeSpecials lists the builtins that GLSL ES does not have, or that take
// more than numbers.
func makeSpecials() map[string]special {
	return map[string]special{
		"color":      colorOf,
		"number":     misplaced("number"),
		"choice":     misplaced("choice"),
		"toggle":     misplaced("toggle"),
		guardDeclare: declare,
		"gradient":   gradientOf,
		"mix":        mixOf,
		"noise":      noiseOf,
		"fbm":        fbmOf,
		"hash":       hashOf,
		"trail":      trailOf,
		"on":         onOf,
	}
}

func misplaced(kind string) special {
	return func(*tracer, *starlark.Thread, starlark.Tuple, []starlark.Tuple) (starlark.Value, error) {
		return nil, wrong("control", "write name = "+kind+"(...) on a line of its own, outside light",
			"%s declares a control, which stands at top level", kind)
	}
}

// options takes the named arguments out of a call.
func options(name string, kw []starlark.Tuple, known ...string) (map[string]starlark.Value, error) {
	out := map[string]starlark.Value{}
	for _, p := range kw {
		k, _ := starlark.AsString(p[0])
		found := false
		for _, n := range known {
			found = found || n == k
		}
		if !found {
			fix := "it takes no named arguments"
			if len(known) > 0 {
				fix = "it takes " + strings.Join(known, ", ")
			}
			return nil, wrong("arguments", fix, "%s has no argument named %s", name, k)
		}
		out[k] = p[1]
	}
	return out, nil
}

func wholeOption(o map[string]starlark.Value, name string, value, least, most int64) (int64, error) {
	v, ok := o[name]
	if !ok {
		return value, nil
	}
	f, err := plain(v)
	if err != nil {
		return 0, wrong("arguments", "", "%s is a plain whole number, not %s", name, kindOf(v))
	}
	if f != math.Trunc(f) || f < float64(least) || f > float64(most) {
		return 0, wrong("arguments", "", "%s is a whole number from %d to %d, not %v", name, least, most, f)
	}
	return int64(f), nil
}

func textOption(o map[string]starlark.Value, name, value string) (string, error) {
	v, ok := o[name]
	if !ok {
		return value, nil
	}
	s, ok := starlark.AsString(v)
	if !ok {
		return "", wrong("arguments", "", "%s is a text, not %s", name, kindOf(v))
	}
	return s, nil
}

func colorOf(t *tracer, th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	charge(th, 20)
	if len(args) != 1 {
		return nil, wrong("arguments", `write color("oklch(85% 0.06 230)")`, "color takes one CSS color, got %d arguments", len(args))
	}
	if _, err := options("color", kw, "help"); err != nil {
		return nil, err
	}
	return parseColor(args[0], t.opt.Gamma)
}

// parseColor reads a color; gamma is how the show decodes 8-bit ones.
func parseColor(v starlark.Value, gamma float64) (*Color, error) {
	if c, ok := v.(*Color); ok {
		return c, nil
	}
	s, ok := starlark.AsString(v)
	if !ok {
		return nil, wrong("color", `write color("tomato")`, "a color is a text as in CSS, not %s", kindOf(v))
	}
	c, err := color.ParseEncoded(s, gamma)
	if err != nil {
		return nil, wrong("color", `CSS colors: "tomato", "#fc8", "rgb(255 200 120)", "oklch(85% 0.06 230)"`, "%v", err)
	}
	for _, x := range c.Light() {
		if math.IsNaN(float64(x)) || math.Abs(float64(x)) > 1e6 {
			return nil, wrong("color", "stay near the range of screens", "%q is not a color that can be lit", s)
		}
	}
	return &Color{c, s}, nil
}

// spaceOf reads the named arguments space and hue.
func spaceOf(o map[string]starlark.Value) (color.Space, color.Hue, string, error) {
	s, err := textOption(o, "space", "oklab")
	if err != nil {
		return 0, 0, "", err
	}
	h, err := textOption(o, "hue", "shorter")
	if err != nil {
		return 0, 0, "", err
	}
	space, err := color.ParseSpace(s)
	if err != nil {
		return 0, 0, "", wrong("color", "", "%v", err)
	}
	hue, err := color.ParseHue(h)
	if err != nil {
		return 0, 0, "", wrong("color", "", "%v", err)
	}
	return space, hue, s + " " + h, nil
}

func gradientOf(t *tracer, th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	o, err := options("gradient", kw, "space", "hue")
	if err != nil {
		return nil, err
	}
	if len(args) == 1 {
		if l, ok := args[0].(*starlark.List); ok {
			args = nil
			for i := range l.Len() {
				args = append(args, l.Index(i))
			}
		}
	}
	if len(args) > 32 {
		return nil, wrong("arguments", "", "a gradient has at most 32 stops, got %d", len(args))
	}
	charge(th, 200+20*len(args))
	var stops []color.Stop
	key := ""
	for _, a := range args {
		s, text, err := stopOf(a, t.opt.Gamma)
		if err != nil {
			return nil, err
		}
		stops = append(stops, s)
		key += text + ";"
	}
	return newRamp(stops, o, key)
}

func newRamp(stops []color.Stop, o map[string]starlark.Value, key string) (*Ramp, error) {
	space, hue, how, err := spaceOf(o)
	if err != nil {
		return nil, err
	}
	g, err := color.NewGradient(stops, space, hue)
	if err != nil {
		return nil, wrong("color", `write gradient("navy", "gold 30%", "white")`, "%v", err)
	}
	return &Ramp{g, key + how}, nil
}

// stopOf reads a stop: a color, "color 30%", or (color, 0.3).
func stopOf(v starlark.Value, gamma float64) (s color.Stop, text string, err error) {
	if pair, ok := v.(starlark.Tuple); ok && len(pair) == 2 {
		if s.At, err = plain(pair[1]); err != nil {
			return s, "", wrong("color", `write ("gold", 0.3)`, "a stop's place is a plain number, not %s", kindOf(pair[1]))
		}
		s.HasAt = true
		v = pair[0]
	} else if t, ok := starlark.AsString(v); ok {
		t = strings.TrimSpace(t)
		if i := strings.LastIndexByte(t, ' '); i > 0 && strings.HasSuffix(t, "%") {
			if p, err := strconv.ParseFloat(strings.TrimSuffix(t[i+1:], "%"), 64); err == nil {
				s.At, s.HasAt = p/100, true
				v = starlark.String(t[:i])
			}
		}
	}
	c, err := parseColor(v, gamma)
	if err != nil {
		return s, "", err
	}
	s.Color = c.c
	return s, fmt.Sprintf("%s@%v%v", c.text, s.HasAt, s.At), nil
}

// paint looks a gradient up.
func (t *tracer) paint(r *Ramp, x *Field) (*Field, error) {
	if _, ok := t.b.paletteAt[r.key]; !ok && len(t.b.palettes) >= maxGradients {
		return nil, wrong("too_large", "use fewer, or mix the light of two", "a pattern has at most %d gradients", maxGradients)
	}
	i := t.b.palette(r.key, r.g)
	out := &Field{b: t.b, shape: light}
	for lane := range 3 {
		out.id[lane] = t.b.put(opGradient, uint64(i<<2|lane), x.id[0])
	}
	return out, t.room()
}

// mixOf is mix(a, b, t) in linear light, or of two colors in a space of its own.
func mixOf(t *tracer, th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	o, err := options("mix", kw, "space", "hue")
	if err != nil {
		return nil, err
	}
	f := lanewise(3, `mix(a, b, t)`, func(b *builder, v []int32) int32 { return b.mix(v[0], v[1], v[2]) })
	if len(o) == 0 || len(args) != 3 {
		return t.apply("mix", f, args)
	}
	a, ok1 := args[0].(*Color)
	b, ok2 := args[1].(*Color)
	if !ok1 || !ok2 {
		return nil, wrong("shape", "leave space out, which mixes light", "mix with a space takes two colors, not %s and %s", kindOf(args[0]), kindOf(args[1]))
	}
	space, hue, _, err := spaceOf(o)
	if err != nil {
		return nil, err
	}
	charge(th, 20)
	if isNumber(args[2]) {
		x, err := plain(args[2])
		if err != nil {
			return nil, err
		}
		c := color.Mix(a.c, b.c, x, space, hue)
		return &Color{c, fmt.Sprintf("%s %v %s %v", a.text, x, b.text, space)}, nil
	}
	x, err := t.field(args[2])
	if err != nil {
		return nil, err
	}
	if x.shape != scalar {
		return nil, wrong("shape", "give it one number, 0 for the first color, 1 for the second", "mix takes a number as its third argument, not %s", x.word())
	}
	r, err := newRamp([]color.Stop{{Color: a.c}, {Color: b.c}}, o, a.text+";"+b.text+";")
	if err != nil {
		return nil, err
	}
	return t.paint(r, x)
}

// coordinates takes 1 to 3 numbers, in vectors or one by one.
func (t *tracer) coordinates(name string, args starlark.Tuple) ([]int32, bool, error) {
	all := true
	var in []*Field
	for _, a := range args {
		f, err := t.field(a)
		if err != nil {
			return nil, false, err
		}
		all = all && isNumber(a)
		in = append(in, f)
	}
	ids := parts(in)
	if len(ids) < 1 || len(ids) > 3 {
		return nil, false, wrong("arguments", "write "+name+"(x), "+name+"(x, y) or "+name+"(x, y, z)", "%s takes 1 to 3 numbers, got %d", name, len(ids))
	}
	for i := range ids {
		ids[i] = t.b.coordinate(ids[i])
	}
	return ids, all, nil
}

// number gives a plain number back where only such went in.
func (t *tracer) number(id int32, plain bool) (starlark.Value, error) {
	if v, ok := t.b.constant(id); ok && plain {
		return starlark.Float(v), t.room()
	}
	return t.one(id)
}

func (t *tracer) lattice(name string, kw []starlark.Tuple, more ...string) (field, map[string]starlark.Value, error) {
	o, err := options(name, kw, append([]string{"seed", "period"}, more...)...)
	if err != nil {
		return field{}, nil, err
	}
	own, err := wholeOption(o, "seed", 0, -maxWhole, maxWhole)
	if err != nil {
		return field{}, nil, err
	}
	period, err := wholeOption(o, "period", 0, 1, 1<<16)
	if err != nil {
		return field{}, nil, err
	}
	return field{seedFrom(t.opt.Seed, own), int32(period)}, o, nil
}

func (t *tracer) noise(l field, ids []int32) int32 {
	return t.b.put(opNoise1+op(len(ids)-1), l.imm(), ids...)
}

func noiseOf(t *tracer, th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	l, _, err := t.lattice("noise", kw)
	if err != nil {
		return nil, err
	}
	ids, all, err := t.coordinates("noise", args)
	if err != nil {
		return nil, err
	}
	return t.number(t.noise(l, ids), all)
}

// fbmOf sums octaves of noise, each twice as fine and half as strong, divided
// by what their strengths add up to.
func fbmOf(t *tracer, th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	l, o, err := t.lattice("fbm", kw, "octaves")
	if err != nil {
		return nil, err
	}
	n, err := wholeOption(o, "octaves", 4, 1, 8)
	if err != nil {
		return nil, err
	}
	ids, all, err := t.coordinates("fbm", args)
	if err != nil {
		return nil, err
	}
	b := t.b
	total := 2 - math.Ldexp(1, 1-int(n))
	sum := b.num(0)
	for i := range n {
		octave := field{mixBits(l.seed + uint32(i)*spreadS), l.period << i}
		at := make([]int32, len(ids))
		for k, id := range ids {
			at[k] = b.coordinate(b.mul(id, b.num(math.Ldexp(1, int(i)))))
		}
		sum = b.add(sum, b.mul(t.noise(octave, at), b.num(math.Ldexp(1, -int(i))/total)))
	}
	return t.number(sum, all)
}

func hashOf(t *tracer, th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	o, err := options("hash", kw, "seed")
	if err != nil {
		return nil, err
	}
	own, err := wholeOption(o, "seed", 0, -maxWhole, maxWhole)
	if err != nil {
		return nil, err
	}
	ids, all, err := t.coordinates("hash", args)
	if err != nil {
		return nil, err
	}
	for _, id := range ids {
		t.doubtHash(id)
	}
	return t.number(t.b.put(opHash1+op(len(ids)-1), uint64(seedFrom(t.opt.Seed, own)), ids...), all)
}

// trailOf remembers: the value, or what is left of a brighter one before.
func trailOf(t *tracer, th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	o, err := options("trail", kw, "half")
	if err != nil {
		return nil, err
	}
	usage := `write trail(x, half = "0.4 s")`
	if len(args) == 2 {
		o["half"] = args[1]
	} else if len(args) != 1 {
		return nil, wrong("arguments", usage, "trail takes one value, got %d", len(args))
	}
	half := starlark.Value(starlark.String("0.4 s"))
	if h, ok := o["half"]; ok {
		half = h
	}
	seconds, err := secondsOf(half)
	if err != nil {
		return nil, wrong("arguments", usage, "half: %s", err.(*trouble).message)
	}
	if seconds <= 0 || seconds > 60 {
		return nil, wrong("arguments", usage, "half is more than 0 s and at most 60 s, not %v s", seconds)
	}
	if t.opt.Value {
		return nil, wrong("clock", "leave trail out", "a clip that follows a value has no time, hence no trail")
	}
	x, err := t.field(args[0])
	if err != nil {
		return nil, err
	}
	left := eval64(opExp2, 0, -1/(seconds*float64(t.opt.FPS)), 0, 0)
	out, err := t.zip("trail", func(v []int32) int32 { return t.b.put(opTrail, math.Float64bits(left), v[0]) }, x)
	if err != nil {
		return nil, err
	}
	if t.trails++; t.trails > maxTrails {
		return nil, wrong("too_large", "let several things share one trail", "a pattern has at most %d trails", maxTrails)
	}
	return out, nil
}

// maxTrails bounds what a pattern remembers from frame to frame.
const maxTrails = 16

// secondsOf reads a time: a plain number of seconds, or a text with its unit.
func secondsOf(v starlark.Value) (float64, error) {
	if s, ok := starlark.AsString(v); ok {
		return readQuantity(s, "s")
	}
	if isNumber(v) {
		return plain(v)
	}
	return 0, wrong("clock", `write a number of seconds, or "4 s"`, "a time is a plain number, the same for all pixels and frames, not %s", kindOf(v))
}
