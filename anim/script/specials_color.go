package script

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"go.starlark.net/starlark"

	"paneglow/anim/color"
)

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
