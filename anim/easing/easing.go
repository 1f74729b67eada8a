// Package easing is CSS Easing Functions Level 1 with linear() of Level 2: it
// bends a clip's progress.
//
// In: input progress, usually 0..1, which may leave that range. Out: output
// progress. Refused with an error: control points whose x leaves 0..1, steps
// below 1 (2 for jump-none), a linear() of fewer than two stops.
//
// A cubic-bezier is solved to below 1e-9 of its input; outside 0..1 it goes on
// along its end tangents, as the standard says. Only products and sums are
// used, so every processor gives the same bits.
package easing

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Func is an easing function.
type Func interface {
	// At bends input progress p. before is true while the animation has not
	// begun, which only steps care about.
	At(p float64, before bool) float64
}

type linear struct{}

func (linear) At(p float64, _ bool) float64 { return p }

var keywords = map[string]Func{
	"linear":      linear{},
	"ease":        newBezier(0.25, 0.1, 0.25, 1),
	"ease-in":     newBezier(0.42, 0, 1, 1),
	"ease-out":    newBezier(0, 0, 0.58, 1),
	"ease-in-out": newBezier(0.42, 0, 0.58, 1),
	"step-start":  steps{1, jumpStart},
	"step-end":    steps{1, jumpEnd},
}

// Parse reads an easing function as in CSS.
func Parse(text string) (Func, error) {
	s := strings.ToLower(strings.TrimSpace(text))
	if f, ok := keywords[s]; ok {
		return f, nil
	}
	name, body, ok := strings.Cut(s, "(")
	if !ok || !strings.HasSuffix(body, ")") {
		return nil, fmt.Errorf(`no easing function %q: use linear, ease, ease-in, ease-out, ease-in-out, step-start, step-end, "cubic-bezier(0.3, 0, 0.2, 1)", "steps(4, jump-end)" or "linear(0, 0.3, 1)"`, text)
	}
	args := strings.Split(strings.TrimSuffix(body, ")"), ",")
	for i := range args {
		args[i] = strings.TrimSpace(args[i])
	}
	var f Func
	var err error
	switch name {
	case "cubic-bezier":
		f, err = parseBezier(args)
	case "steps":
		f, err = parseSteps(args)
	case "linear":
		f, err = parseLinear(args)
	default:
		err = fmt.Errorf("there is no easing function %s(): use cubic-bezier, steps or linear", name)
	}
	if err != nil {
		return nil, fmt.Errorf("easing %q: %w", text, err)
	}
	return f, nil
}

func number(s string) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is not a number", s)
	}
	return v, nil
}

// bezier has its end points at (0, 0) and (1, 1).
type bezier struct{ x1, y1, x2, y2 float64 }

func newBezier(x1, y1, x2, y2 float64) bezier { return bezier{x1, y1, x2, y2} }

func parseBezier(args []string) (Func, error) {
	if len(args) != 4 {
		return nil, fmt.Errorf("cubic-bezier takes 4 numbers, got %d", len(args))
	}
	var v [4]float64
	for i, a := range args {
		var err error
		if v[i], err = number(a); err != nil {
			return nil, err
		}
	}
	if v[0] < 0 || v[0] > 1 || v[2] < 0 || v[2] > 1 {
		return nil, fmt.Errorf("the first and third number are times and stay within 0 and 1")
	}
	return newBezier(v[0], v[1], v[2], v[3]), nil
}

// curve is one coordinate at the curve's own parameter u.
func curve(p1, p2, u float64) float64 {
	v := 1 - u
	a := float64(float64(float64(float64(3*v)*v)*u) * p1)
	b := float64(float64(float64(float64(3*v)*u)*u) * p2)
	return a + b + float64(float64(u*u)*u)
}

func (b bezier) At(p float64, _ bool) float64 {
	switch {
	case p <= 0:
		switch {
		case b.x1 > 0:
			return float64(p * (b.y1 / b.x1))
		case b.y1 == 0 && b.x2 > 0:
			return float64(p * (b.y2 / b.x2))
		}
		return 0
	case p >= 1:
		switch {
		case b.x2 < 1:
			return 1 + float64((p-1)*((1-b.y2)/(1-b.x2)))
		case b.y2 == 1 && b.x1 < 1:
			return 1 + float64((p-1)*((1-b.y1)/(1-b.x1)))
		}
		return 1
	}
	// x rises with the parameter, so halving the interval always ends.
	lo, hi := 0.0, 1.0
	for range 48 {
		mid := float64((lo + hi) / 2)
		if curve(b.x1, b.x2, mid) < p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return curve(b.y1, b.y2, float64((lo+hi)/2))
}

type jump uint8

const (
	jumpEnd jump = iota
	jumpStart
	jumpNone
	jumpBoth
)

type steps struct {
	n   int
	pos jump
}

func parseSteps(args []string) (Func, error) {
	if len(args) < 1 || len(args) > 2 {
		return nil, fmt.Errorf("steps takes a number of steps and where they jump")
	}
	n, err := strconv.Atoi(args[0])
	if err != nil || n < 1 || n > 1_000_000 {
		return nil, fmt.Errorf("%q is not a number of steps from 1 to 1000000", args[0])
	}
	s := steps{n: n}
	if len(args) == 2 {
		switch args[1] {
		case "jump-end", "end":
		case "jump-start", "start":
			s.pos = jumpStart
		case "jump-none":
			s.pos = jumpNone
			if n < 2 {
				return nil, fmt.Errorf("jump-none needs at least 2 steps")
			}
		case "jump-both":
			s.pos = jumpBoth
		default:
			return nil, fmt.Errorf("no step position %q: use jump-end, jump-start, jump-none or jump-both", args[1])
		}
	}
	return s, nil
}

func (s steps) At(p float64, before bool) float64 {
	n := float64(s.n)
	v := float64(p * n)
	k := math.Floor(v)
	if s.pos == jumpStart || s.pos == jumpBoth {
		k++
	}
	if before && v == math.Floor(v) {
		k--
	}
	if p >= 0 && k < 0 {
		k = 0
	}
	jumps := n
	switch s.pos {
	case jumpNone:
		jumps--
	case jumpBoth:
		jumps++
	}
	if p <= 1 && k > jumps {
		k = jumps
	}
	return k / jumps
}

// points is linear(): straight pieces, the later of two at one input wins.
type points struct{ x, y []float64 }

func parseLinear(args []string) (Func, error) {
	var x, y []float64
	nan := math.NaN()
	for _, a := range args {
		f := strings.Fields(a)
		var vals, at []float64
		for _, w := range f {
			if p, ok := strings.CutSuffix(w, "%"); ok {
				v, err := number(p)
				if err != nil {
					return nil, err
				}
				at = append(at, v/100)
				continue
			}
			v, err := number(w)
			if err != nil {
				return nil, err
			}
			vals = append(vals, v)
		}
		if len(vals) != 1 || len(at) > 2 {
			return nil, fmt.Errorf("%q is not a stop: a number and up to two percentages", a)
		}
		if len(at) == 0 {
			at = []float64{nan}
		}
		for _, p := range at {
			x, y = append(x, p), append(y, vals[0])
		}
	}
	if len(x) < 2 {
		return nil, fmt.Errorf("linear() needs at least 2 stops")
	}
	last := len(x) - 1
	if math.IsNaN(x[0]) {
		x[0] = 0
	}
	if math.IsNaN(x[last]) {
		x[last] = 1
	}
	most := x[0]
	for i := range x {
		if !math.IsNaN(x[i]) {
			most = math.Max(most, x[i])
			x[i] = most
		}
	}
	for i := 1; i < last; i++ {
		if !math.IsNaN(x[i]) {
			continue
		}
		j := i
		for math.IsNaN(x[j]) {
			j++
		}
		step := (x[j] - x[i-1]) / float64(j-i+1)
		for k := i; k < j; k++ {
			x[k] = x[i-1] + float64(step*float64(k-i+1))
		}
	}
	return points{x, y}, nil
}

func (l points) At(p float64, _ bool) float64 {
	last := len(l.x) - 1
	i := last - 1
	for i > 0 && p < l.x[i] {
		i--
	}
	// The last stop at or before p wins where stops share an input.
	if p >= l.x[last] && l.x[last] == l.x[last-1] {
		return l.y[last]
	}
	a, b := l.x[i], l.x[i+1]
	if a == b {
		if p < a {
			return l.y[i]
		}
		return l.y[i+1]
	}
	u := (p - a) / (b - a)
	return float64(l.y[i]*(1-u)) + float64(l.y[i+1]*u)
}
