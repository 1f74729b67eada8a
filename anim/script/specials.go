package script

import (
	"math"
	"strings"

	"go.starlark.net/starlark"
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
