package script

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"go.starlark.net/starlark"

	"paneglow/anim/finding"
	"paneglow/anim/show"
)

// Control is a number, color, choice or toggle that a pattern declares at top
// level and a show sets.
type Control struct {
	Name    string
	Kind    string   // "number", "color", "choice", "toggle"
	Default string   // as it would stand in a show: "5 s", "#fc8", "left", "true"
	Min     float64  // of a number; -Inf: none
	Max     float64  // of a number; +Inf: none
	Unit    string   // of a number; "": none
	Help    string   // one line for the person who turns it
	Options []string // of a choice
	Pos     finding.Pos

	value starlark.Value
}

// declare is what name = number(...) at top level becomes: its first arguments
// are the kind and the name.
func declare(t *tracer, th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	kind, _ := starlark.AsString(args[0])
	name, _ := starlark.AsString(args[1])
	charge(th, 20)
	c := Control{Name: name, Kind: kind, Min: math.Inf(-1), Max: math.Inf(1), Pos: t.src.pos(t.b.at)}
	if len(t.controls) >= 64 {
		return nil, wrong("too_large", "", "a pattern has at most 64 controls")
	}
	if err := c.read(args[2:], kw, t.opt.Gamma); err != nil {
		return nil, err
	}
	t.controls = append(t.controls, c)
	if v, ok := t.with[name]; ok {
		return v, nil
	}
	return c.value, nil
}

func (c *Control) read(args starlark.Tuple, kw []starlark.Tuple, gamma float64) error {
	names := map[string][]string{
		"number": {"default", "min", "max", "unit", "help"}, "color": {"default", "help"},
		"choice": {"default", "options", "help"}, "toggle": {"default", "help"},
	}[c.Kind]
	o, err := options(c.Kind, kw, names...)
	if err != nil {
		return err
	}
	positional := 1
	if c.Kind == "choice" {
		positional = 2
	}
	if len(args) > positional {
		return wrong("arguments", fmt.Sprintf("write %s(%s, %s = ...)", c.Kind, strings.Join(names[:positional], ", "), names[positional]),
			"%s takes %d arguments without a name, got %d", c.Kind, positional, len(args))
	}
	for i, a := range args {
		o[names[i]] = a
	}
	v, ok := o["default"]
	if !ok {
		return wrong("arguments", "give it as the first argument", "%s wants a default", c.Kind)
	}
	if c.Help, err = textOption(o, "help", ""); err != nil {
		return err
	}
	switch c.Kind {
	case "number":
		return c.readNumber(v, o)
	case "color":
		col, err := parseColor(v, gamma)
		if err != nil {
			return err
		}
		c.value, c.Default = col, col.text
	case "toggle":
		b, ok := v.(starlark.Bool)
		if !ok {
			return wrong("control", "write toggle(True) or toggle(False)", "the default of a toggle is True or False, not %s", kindOf(v))
		}
		c.value, c.Default = b, strconv.FormatBool(bool(b))
	case "choice":
		list, ok := o["options"].(starlark.Sequence)
		if !ok {
			return wrong("control", `write choice("left", ["left", "right"])`, "a choice wants its options as a list of texts")
		}
		it := list.Iterate()
		defer it.Done()
		for x := starlark.Value(nil); it.Next(&x); {
			s, ok := starlark.AsString(x)
			if !ok {
				return wrong("control", "", "an option is a text, not %s", kindOf(x))
			}
			c.Options = append(c.Options, s)
		}
		s, ok := starlark.AsString(v)
		if !ok || !c.has(s) {
			return wrong("control", "its options: "+strings.Join(c.Options, ", "), "the default %s is not an option", v)
		}
		c.value, c.Default = v, s
	}
	return nil
}

func (c *Control) has(option string) bool {
	for _, o := range c.Options {
		if o == option {
			return true
		}
	}
	return false
}

func (c *Control) readNumber(v starlark.Value, o map[string]starlark.Value) error {
	x, err := plain(v)
	if err != nil {
		return wrong("control", "write number(5, unit = \"s\")", "the default of a number is a plain number, not %s", kindOf(v))
	}
	for name, p := range map[string]*float64{"min": &c.Min, "max": &c.Max} {
		if b, ok := o[name]; ok {
			if *p, err = plain(b); err != nil {
				return wrong("control", "", "%s is a plain number, not %s", name, kindOf(b))
			}
		}
	}
	if c.Unit, err = textOption(o, "unit", ""); err != nil {
		return err
	}
	if c.Unit != "" && strings.Trim(c.Unit, "0123456789. \t") != c.Unit {
		return wrong("control", `write unit = "s"`, "%q is not a unit", c.Unit)
	}
	c.value, c.Default = v, c.show(x)
	return c.within(x)
}

// show prints a number with the control's unit.
func (c *Control) show(x float64) string {
	s := strconv.FormatFloat(x, 'f', -1, 64)
	if c.Unit != "" {
		s += " " + c.Unit
	}
	return s
}

func (c *Control) within(x float64) error {
	switch {
	case x < c.Min:
		return wrong("control_range", "the smallest is "+c.show(c.Min), "%s = %s is too small", c.Name, c.show(x))
	case x > c.Max:
		return wrong("control_range", "the largest is "+c.show(c.Max), "%s = %s is too large", c.Name, c.show(x))
	}
	return nil
}

// set reads what a show gives a control.
func (c *Control) set(g show.Control, gamma float64) (starlark.Value, error) {
	switch c.Kind {
	case "color":
		if g.Kind != 's' {
			return nil, wrong("control", `write "tomato" or "#fc8"`, "%s is a color, a text as in CSS", c.Name)
		}
		return parseColor(starlark.String(g.Text), gamma)
	case "toggle":
		if g.Kind != 'b' || g.Text != "true" && g.Text != "false" {
			return nil, wrong("control", "write true or false", "%s is a toggle, not %s", c.Name, g.Text)
		}
		return starlark.Bool(g.Text == "true"), nil
	case "choice":
		if g.Kind != 's' || !c.has(g.Text) {
			fix := "its options: " + strings.Join(c.Options, ", ")
			if n := nearestName(g.Text, c.Options); n != "" {
				fix = fmt.Sprintf("write %q; %s", n, fix)
			}
			return nil, wrong("control", fix, "%s has no option %q", c.Name, g.Text)
		}
		return starlark.String(g.Text), nil
	}
	var x float64
	var err error
	switch {
	case c.Unit == "" && g.Kind == 'n':
		x, err = strconv.ParseFloat(strings.ReplaceAll(g.Text, "_", ""), 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, wrong("control", "", "%s = %s is not a finite number", c.Name, g.Text)
		}
	case c.Unit == "":
		return nil, wrong("control", "write a number without quotes or unit, such as "+c.Default, "%s is a plain number", c.Name)
	case g.Kind == 'n':
		return nil, wrong("control", fmt.Sprintf("write %q", g.Text+" "+c.Unit), "%s = %s has no unit", c.Name, g.Text)
	case g.Kind == 's':
		if x, err = readQuantity(g.Text, c.Unit); err != nil {
			return nil, err
		}
	default:
		return nil, wrong("control", fmt.Sprintf("write %q", c.Default), "%s is a number in %s", c.Name, c.Unit)
	}
	return starlark.Float(x), c.within(x)
}

// settle reads all that a show sets, before the script runs: these errors
// stand in the show file, not in the script.
func (p *Pattern) settle(with map[string]show.Control, gamma float64) (starlark.StringDict, error) {
	var errs finding.List
	out := starlark.StringDict{}
	byName := map[string]*Control{}
	var names []string
	for i := range p.controls {
		byName[p.controls[i].Name] = &p.controls[i]
		names = append(names, p.controls[i].Name)
	}
	for _, name := range sortedKeys(with) {
		g := with[name]
		tell := func(err error) {
			t := err.(*trouble)
			f := finding.At(g.Pos, finding.Error, t.code, t.message, t.fix)
			if f.Where == "" {
				f.Where = p.src.file + ", control " + name
			}
			errs = append(errs, f)
		}
		c, ok := byName[name]
		if !ok {
			fix := "its controls: " + strings.Join(names, ", ")
			if len(names) == 0 {
				fix = "it has none"
			} else if n := nearestName(name, names); n != "" {
				fix = "write " + n + "; " + fix
			}
			tell(wrong("control_unknown", fix, "%s has no control %s", p.src.file, name))
			continue
		}
		v, err := c.set(g, gamma)
		if err != nil {
			tell(err)
			continue
		}
		out[name] = v
	}
	if len(errs) > 0 {
		errs.Sort()
		return nil, errs
	}
	return out, nil
}

// scales are the units that a control's value may be given in: those of one
// line convert into each other.
var scales = []map[string]float64{
	{"us": 1e-6, "µs": 1e-6, "ms": 1e-3, "s": 1, "min": 60, "h": 3600},
	{"mm": 1, "cm": 10, "m": 1000},
	{"deg": 1, "°": 1, "turn": 360},
	{"Hz": 1, "kHz": 1000},
}

// readQuantity reads "400 ms" into a number of the unit wanted.
func readQuantity(text, want string) (float64, error) {
	s := strings.TrimSpace(text)
	end := 0
	for end < len(s) && strings.IndexByte("+-.0123456789", s[end]) >= 0 {
		end++
	}
	x, err := strconv.ParseFloat(s[:end], 64)
	unit := strings.TrimSpace(s[end:])
	like := fmt.Sprintf("write a number and its unit, such as \"3 %s\"", want)
	if err != nil {
		return 0, wrong("control", like, "%q does not start with a number", text)
	}
	if unit == want {
		return x, nil
	}
	if unit == "" {
		return 0, wrong("control", fmt.Sprintf("write \"%s %s\"", s, want), "%q has no unit", text)
	}
	for _, scale := range scales {
		from, ok1 := scale[unit]
		to, ok2 := scale[want]
		if ok1 && ok2 {
			return x * from / to, nil
		}
	}
	return 0, wrong("control", like, "%q is not in %s", text, want)
}
