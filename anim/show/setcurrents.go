package show

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"

	"paneglow/anim/finding"
	"paneglow/anim/unit"
)

// Currents are a part's law and currents per pixel, the ceiling per LED, as an
// ammeter gave them.
type Currents struct {
	Law     Law
	Idle    unit.Current
	Channel [4]unit.Current // red, green, blue, white
	Ceiling unit.Current    // law ceiling only
}

// TOML writes the currents of a part of n dies as its file's values: law,
// current, fitted. spread is kept in the file beside them, "" for none.
func (c Currents) TOML(n int, spread string) (law, current, fitted string) {
	var b strings.Builder
	fmt.Fprintf(&b, "{ idle = %q", c.Idle)
	for d := range n {
		fmt.Fprintf(&b, ", %s = %q", dies[d], c.Channel[d])
	}
	if c.Law == Ceiling {
		fmt.Fprintf(&b, ", ceiling = %q", c.Ceiling)
	}
	if spread != "" {
		fmt.Fprintf(&b, ", spread = %s", spread)
	}
	b.WriteString(" }")
	return Quote(c.Law.String()), b.String(), "true"
}

// String is the law's word in the file.
func (l Law) String() string {
	if int(l) < len(laws) {
		return laws[l]
	}
	return fmt.Sprintf("law %d", uint8(l))
}

var laws = [...]string{"sum", "largest", "ceiling"}

// SetCurrents writes the law and the currents of a part into a machine file's
// bytes and marks them as fitted. Comments, spaces and order stay; where
// fitted is not there yet, a line is added below current. The result is read
// again: it must be the same machine but for these values, or nothing is
// changed and the error says why. src is not modified.
func SetCurrents(file string, src []byte, part string, c Currents) ([]byte, error) {
	before, list := ParseMachine(file, src)
	if err := list.Err(); err != nil {
		return nil, err
	}
	p := before.Part(part)
	if p == nil {
		return nil, finding.At(Pos{File: file}, finding.Error, "machine.unknown_part", fmt.Sprintf("there is no part %q", part), suggest(part, before.partNames()))
	}
	current := p.Keys["current"]
	if src[current.Start] != '{' {
		return nil, finding.At(current, finding.Error, "show.replace", "current is not written as one value", `write it as current = { idle = "1 mA", ... } first`)
	}
	spread := ""
	if at, ok := p.Keys["current.spread"]; ok {
		spread = string(src[at.Start:at.End])
	}
	law, values, fitted := c.TOML(p.Dies(), spread)
	out := src
	var err error
	// Each edit reads the file again: places move with the one before.
	set := func(key, value string) {
		if err != nil {
			return
		}
		m, _ := ParseMachine(file, out)
		q := m.Part(part)
		if at, ok := q.Keys[key]; ok {
			out, err = Replace(out, at, value)
			return
		}
		out = addLine(out, q.Keys["current"], key+" = "+value)
	}
	set("fitted", fitted)
	set("current", values)
	// The law last: until then a ceiling may stand without its law.
	set("law", law)
	if err != nil {
		return nil, err
	}
	after, list := ParseMachine(file, out)
	if err := list.Err(); err != nil {
		return nil, fmt.Errorf("with the new currents: %w", err)
	}
	want := *p
	want.Law, want.Idle, want.Channel, want.Ceiling, want.Fitted = c.Law, c.Idle, c.Channel, c.Ceiling, true
	*p = want
	if !sameMachine(before, after) {
		return nil, finding.At(current, finding.Error, "show.replace", "the file would mean something else besides the new currents", "write them by hand")
	}
	return out, nil
}

// addLine adds a line below the one that a value ends on, indented like it.
func addLine(src []byte, at Pos, line string) []byte {
	begin := bytes.LastIndexByte(src[:at.Start], '\n') + 1
	indent := src[begin : begin+len(src[begin:])-len(bytes.TrimLeft(src[begin:], " \t"))]
	end, nl := len(src), "\n"
	if i := bytes.IndexByte(src[at.End:], '\n'); i >= 0 {
		end = at.End + i
		if end > 0 && src[end-1] == '\r' {
			nl, end = "\r\n", end-1
		}
	}
	out := append([]byte(nil), src[:end]...)
	out = append(out, nl...)
	out = append(out, indent...)
	out = append(out, line...)
	return append(out, src[end:]...)
}

// sameMachine compares two machines but for places and bytes.
func sameMachine(a, b *Machine) bool {
	x, y := *a, *b
	x.Source, y.Source = nil, nil
	return sameValues(reflect.ValueOf(x), reflect.ValueOf(y))
}

var (
	posType  = reflect.TypeFor[Pos]()
	keysType = reflect.TypeFor[Keys]()
)

func sameValues(a, b reflect.Value) bool {
	switch {
	case a.Type() == posType || a.Type() == keysType:
		return true
	case a.Kind() == reflect.Struct:
		for i := range a.NumField() {
			if !sameValues(a.Field(i), b.Field(i)) {
				return false
			}
		}
		return true
	case a.Kind() == reflect.Slice:
		if a.Len() != b.Len() {
			return false
		}
		for i := range a.Len() {
			if !sameValues(a.Index(i), b.Index(i)) {
				return false
			}
		}
		return true
	case a.Kind() == reflect.Pointer:
		return a.IsNil() == b.IsNil() && (a.IsNil() || sameValues(a.Elem(), b.Elem()))
	}
	return reflect.DeepEqual(a.Interface(), b.Interface())
}
