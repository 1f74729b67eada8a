package script

import (
	"math"

	"go.starlark.net/starlark"
	"go.starlark.net/syntax"
)

const (
	maxSteps = 300_000 // of the interpreter, list elements counted
	maxItems = 4096    // of a list, of a loop
	maxText  = 1024    // bytes of a text
	maxWhole = 1 << 53 // whole numbers are exact up to here
)

// charge counts work that the interpreter does not see as steps.
func charge(th *starlark.Thread, n int) { th.Steps += uint64(max(n, 0)) }

func finite(v float64) error {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return wrong("number", "", "the result is not a finite number")
	}
	return nil
}

func isNumber(v starlark.Value) bool {
	switch v.(type) {
	case starlark.Int, starlark.Float:
		return true
	}
	return false
}

// traced tells whether a value is one that the language knows nothing of.
func traced(v starlark.Value) bool {
	switch v.(type) {
	case *Field, *Color, *Ramp, *spot, *moment:
		return true
	}
	return false
}

// guards are the builtins that the fence writes in.
func guards() starlark.StringDict {
	d := starlark.StringDict{}
	set := func(name string, f func(th *starlark.Thread, a starlark.Tuple) (starlark.Value, error)) {
		d[name] = starlark.NewBuiltin(name, func(th *starlark.Thread, _ *starlark.Builtin, a starlark.Tuple, _ []starlark.Tuple) (starlark.Value, error) {
			tracerOf(th).locate(th)
			return f(th, a)
		})
	}
	for op, name := range guardOf {
		set(name, func(th *starlark.Thread, a starlark.Tuple) (starlark.Value, error) {
			return operate(th, op, a[0], a[1])
		})
	}
	set("$neg", func(th *starlark.Thread, a starlark.Tuple) (starlark.Value, error) {
		return operate(th, syntax.MINUS, starlark.MakeInt(0), a[0])
	})
	set("$pos", func(th *starlark.Thread, a starlark.Tuple) (starlark.Value, error) {
		return operate(th, syntax.PLUS, starlark.MakeInt(0), a[0])
	})
	set(guardTruth, func(_ *starlark.Thread, a starlark.Tuple) (starlark.Value, error) { return truth(a[0]) })
	set(guardIter, func(_ *starlark.Thread, a starlark.Tuple) (starlark.Value, error) {
		if _, ok := a[0].(starlark.String); ok {
			return nil, wrong("shape", "write a list: [\"a\", \"b\"]", "a loop does not run over text")
		}
		if starlark.Len(a[0]) < 0 {
			return nil, wrong("shape", "write range(n) or a list", "a loop does not run over %s", kindOf(a[0]))
		}
		return a[0], nil
	})
	set(guardIndex, func(_ *starlark.Thread, a starlark.Tuple) (starlark.Value, error) { return index(a[0], a[1]) })
	return d
}

func index(x, at starlark.Value) (starlark.Value, error) {
	list, ok := x.(starlark.Indexable)
	if _, text := x.(starlark.String); !ok || text {
		return nil, wrong("shape", "", "%s has no elements to choose with [ ]", kindOf(x))
	}
	n, ok := at.(starlark.Int)
	i, small := n.Int64()
	if !ok || !small {
		fix := ""
		if traced(at) {
			fix = "choose per pixel with mix and step, or with gradient"
		}
		return nil, wrong("shape", fix, "an element is chosen with a whole number, not with %s", kindOf(at))
	}
	if i < 0 {
		i += int64(list.Len())
	}
	if i < 0 || i >= int64(list.Len()) {
		return nil, wrong("index", "elements count from 0", "there is no element %s in %s", n, kindOf(x))
	}
	return list.Index(int(i)), nil
}

// truth is what a condition asks.
func truth(v starlark.Value) (starlark.Value, error) {
	if f, ok := v.(*Field); ok {
		return nil, wrong("condition", "choose with mix(a, b, step(edge, x)); step is 0 below the edge, 1 from it on",
			"%s is not one True or False: it changes from pixel to pixel or with time", f.word())
	}
	if traced(v) {
		return nil, wrong("condition", "compare a control: if name, if name == \"text\", if name > 2", "%s is not True or False", kindOf(v))
	}
	return v.Truth(), nil
}

// operate is every binary operator of the language.
func operate(th *starlark.Thread, op syntax.Token, x, y starlark.Value) (starlark.Value, error) {
	switch op {
	case syntax.EQL, syntax.NEQ, syntax.LT, syntax.LE, syntax.GT, syntax.GE:
		return compare(op, x, y)
	case syntax.IN, syntax.NOT_IN:
		return member(th, op, x, y)
	}
	if traced(x) || traced(y) {
		return tracerOf(th).arithmetic(op, x, y)
	}
	if isNumber(x) && isNumber(y) {
		if op == syntax.SLASH || op == syntax.SLASHSLASH || op == syntax.PERCENT {
			if v, _ := plain(y); v == 0 {
				return nil, wrong("division", "", "division by zero")
			}
		}
		z, err := starlark.Binary(op, x, y)
		if err != nil {
			return nil, err
		}
		switch z := z.(type) {
		case starlark.Int:
			if n, ok := z.Int64(); !ok || n > maxWhole || n < -maxWhole {
				return nil, wrong("number", "write 2.0 instead of 2 to compute with fractions", "whole numbers end at %d", int64(maxWhole))
			}
		case starlark.Float:
			return z, finite(float64(z))
		}
		return z, nil
	}
	if n, ok := joined(op, x, y); ok {
		limit := maxItems
		if x.Type() == "string" {
			limit = maxText
		}
		if n > limit {
			return nil, wrong("too_large", "", "%s %s %s has more than %d elements", kindOf(x), op, kindOf(y), limit)
		}
		charge(th, n)
		return starlark.Binary(op, x, y)
	}
	for _, v := range []starlark.Value{x, y} {
		if _, ok := v.(starlark.Bool); ok {
			return nil, wrong("shape", "write a if name else b", "True and False do not take part in arithmetic")
		}
	}
	return nil, wrong("shape", "", "%s %s %s has no meaning", kindOf(x), op, kindOf(y))
}

// joined is the length of a sum of two lists or texts.
func joined(op syntax.Token, x, y starlark.Value) (int, bool) {
	if op == syntax.STAR {
		if _, ok := x.(starlark.Int); ok {
			x, y = y, x
		}
		n, ok := y.(starlark.Int)
		list, isList := x.(*starlark.List)
		if !ok || !isList {
			return 0, false
		}
		k, small := n.Int64()
		if !small || k > maxItems {
			return math.MaxInt, list.Len() > 0
		}
		return int(max(k, 0)) * list.Len(), true
	}
	if op != syntax.PLUS || x.Type() != y.Type() {
		return 0, false
	}
	switch x.(type) {
	case *starlark.List, starlark.Tuple, starlark.String:
		return starlark.Len(x) + starlark.Len(y), true
	}
	return 0, false
}

// compare takes numbers, texts, True and False, None; a field is refused, for
// it would silently be unequal to everything.
func compare(op syntax.Token, x, y starlark.Value) (starlark.Value, error) {
	for _, v := range []starlark.Value{x, y} {
		if traced(v) {
			fix := "choose with step(edge, x), 0 below the edge and 1 from it on, and mix(a, b, that)"
			if _, ok := v.(*Field); !ok {
				fix = "compare numbers, texts and toggles"
			}
			return nil, wrong("condition", fix, "%s %s %s is not one True or False", kindOf(x), op, kindOf(y))
		}
		switch v.(type) {
		case starlark.Int, starlark.Float, starlark.String, starlark.Bool, starlark.NoneType:
		default:
			return nil, wrong("condition", "compare numbers, texts and toggles", "%s %s %s is not compared in a pattern", kindOf(x), op, kindOf(y))
		}
	}
	if op == syntax.EQL || op == syntax.NEQ || isNumber(x) && isNumber(y) || x.Type() == "string" && y.Type() == "string" {
		ok, err := starlark.Compare(op, x, y)
		return starlark.Bool(ok), err
	}
	return nil, wrong("condition", "", "%s %s %s has no meaning", kindOf(x), op, kindOf(y))
}

func member(th *starlark.Thread, op syntax.Token, x, y starlark.Value) (starlark.Value, error) {
	n := starlark.Len(y)
	_, isList := y.(*starlark.List)
	_, isTuple := y.(starlark.Tuple)
	if !isList && !isTuple {
		return nil, wrong("condition", "write a list: name in [\"a\", \"b\"]", "%s %s %s has no meaning", kindOf(x), op, kindOf(y))
	}
	charge(th, n)
	found := false
	for i := range n {
		same, err := compare(syntax.EQL, x, y.(starlark.Indexable).Index(i))
		if err != nil {
			return nil, err
		}
		found = found || bool(same.(starlark.Bool))
	}
	return starlark.Bool(found == (op == syntax.IN)), nil
}

// plainBuiltins are the functions of the language that a pattern keeps. Those
// that walk a list charge its length. All other universal names are refused.
func plainBuiltins() starlark.StringDict {
	d := starlark.StringDict{}
	for _, name := range []string{"len", "list", "enumerate", "zip", "reversed", "range", "fail", "int", "float"} {
		u := starlark.Universe[name].(*starlark.Builtin)
		d[name] = starlark.NewBuiltin(name, func(th *starlark.Thread, _ *starlark.Builtin, a starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
			for _, v := range a {
				if traced(v) {
					return nil, wrong("shape", "the script is traced once for all pixels: use floor, mix, step", "%s does not take %s", name, kindOf(v))
				}
				if _, ok := v.(starlark.String); ok && name != "fail" && name != "len" {
					return nil, wrong("shape", "", "%s does not take text", name)
				}
				charge(th, starlark.Len(v))
			}
			if len(kw) > 0 {
				return nil, wrong("arguments", "", "%s takes no named arguments", name)
			}
			if name == "fail" {
				if len(a) == 0 {
					return nil, wrong("fail", "", "the script stopped itself")
				}
				s, _ := starlark.AsString(a[0])
				return nil, wrong("fail", "", "%s", s)
			}
			v, err := starlark.Call(th, u, a, nil)
			if err == nil && starlark.Len(v) > maxItems {
				return nil, wrong("too_large", "", "%s gives more than %d elements", name, maxItems)
			}
			return v, unwrapCall(err)
		})
	}
	for name, u := range starlark.Universe {
		if _, ok := u.(*starlark.Builtin); !ok || d[name] != nil {
			continue
		}
		d[name] = starlark.NewBuiltin(name, func(*starlark.Thread, *starlark.Builtin, starlark.Tuple, []starlark.Tuple) (starlark.Value, error) {
			return nil, wrong("undefined", hintFor(name), "there is no %s in a pattern", name)
		})
	}
	return d
}

// unwrapCall keeps the cause of an error of a call made for the script.
func unwrapCall(err error) error {
	if e, ok := err.(*starlark.EvalError); ok {
		return wrong("failed", "", "%s", e.Msg)
	}
	return err
}
