package show

import (
	"errors"
	"fmt"
	"strconv"

	"paneglow/anim/unit"
)

// limit is a range that is narrower than the unit's own.
type limit[T ~int64 | ~float64] struct {
	lo, hi T
	open   bool // lo itself is refused
}

func above[T ~int64 | ~float64](lo T) limit[T] {
	return limit[T]{lo: lo, hi: T(int64(1) << 60), open: true}
}
func within[T ~int64 | ~float64](lo, hi T) limit[T] { return limit[T]{lo: lo, hi: hi} }
func (l limit[T]) holds(v T) bool                   { return v >= l.lo && v <= l.hi && !(l.open && v == l.lo) }

// outside says why v is refused.
func (l limit[T]) outside(v T, print func(T) string) string {
	switch {
	case l.open && v <= l.lo:
		return "not above " + print(l.lo)
	case l.open:
		return "above " + print(l.hi)
	}
	return "outside " + print(l.lo) + " to " + print(l.hi)
}

// quantity reads one value with its unit; def stands where the key may be
// left out, 0 where the value was refused.
func quantity[T interface {
	~int64 | ~float64
	String() string
}](s *scope, key, example string, required bool, def T, parse func(string) (T, error), limits ...limit[T]) T {
	n := s.get(key, key+" = "+strconv.Quote(example), required)
	if n == nil {
		return def
	}
	return measure(s, n, key, example, parse, limits...)
}

// measure is quantity for a value that is already at hand.
func measure[T interface {
	~int64 | ~float64
	String() string
}](s *scope, n *node, key, example string, parse func(string) (T, error), limits ...limit[T]) T {
	// A bare number is taken to the parser too: it knows how to ask for the unit.
	if n.kind != kindText && n.kind != kindInt && n.kind != kindFloat {
		s.d.fail(n.pos, "show.wrong_type", fmt.Sprintf("%s is %s, not a text with a unit", s.path+key, n.kind), fmt.Sprintf("write %q", example))
		return 0
	}
	v, err := parse(n.text)
	var pe *unit.ParseError
	if errors.As(err, &pe) {
		s.d.fail(n.pos, pe.Code, s.path+key+": "+pe.Reason, pe.Fix)
		return 0
	}
	for _, l := range limits {
		if !l.holds(v) {
			s.d.fail(n.pos, "show.out_of_range", fmt.Sprintf("%s: %s is %s", s.path+key, n.text, l.outside(v, func(x T) string { return x.String() })), fmt.Sprintf("write a value such as %q", example))
			return 0
		}
	}
	return v
}
