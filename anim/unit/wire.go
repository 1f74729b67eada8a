package unit

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Wire is a copper conductor as it is sold: by its cross-section after
// IEC 60228, or by its gauge after ASTM B258. In text: "0.75 mm2",
// "1.5 mm2 class 2", "1 mm2 class 5 tinned", "AWG 18".
//
// The zero Wire is none; two Wires are equal when they are the same to buy.
type Wire struct {
	Area   Area // by cross-section; 0 where a gauge is given
	Class  int  // 1 solid, 2 stranded, 5 flexible (the default); with a cross-section only
	Tinned bool // class 5 only
	Gauge  int  // AWG, valid where Area is 0 and Class is 0
	AWG    bool
}

// WireAreas are the cross-sections that Wire knows, small to large, in square
// millimetres: IEC 60228, and below 0.5 VDE 0295, for class 5 only.
var WireAreas = []Area{0.22, 0.25, 0.34, 0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10, 16}

// ThinnestGauge and ThickestGauge are the AWG numbers that Wire knows.
const (
	ThinnestGauge = 30
	ThickestGauge = 4
)

const wireLike = `write a wire such as "0.75 mm2", "0.75 mm2 class 2" or "AWG 18"`

// ParseWire reads a wire; its error is a *ParseError.
func ParseWire(text string) (Wire, error) {
	fail := func(code, fix, reason string, args ...any) (Wire, error) {
		return Wire{}, &ParseError{Code: code, Text: text, Reason: fmt.Sprintf(reason, args...), Fix: fix}
	}
	words := strings.Fields(text)
	if len(text) > longest || len(words) == 0 {
		return fail("unit.number", wireLike, "a text of %d bytes is not a wire", len(text))
	}
	if i := slices.IndexFunc(words, func(w string) bool { return strings.HasPrefix(strings.ToUpper(w), "AWG") }); i >= 0 {
		rest := strings.TrimSpace(strings.Join(words[:i], "") + words[i][3:] + strings.Join(words[i+1:], ""))
		n, err := strconv.Atoi(rest)
		if err != nil {
			return fail("unit.number", wireLike, "%q is not a wire gauge", text)
		}
		if n < ThickestGauge || n > ThinnestGauge {
			return fail("unit.range", fmt.Sprintf("write AWG %d to AWG %d", ThickestGauge, ThinnestGauge), "AWG %d is not a gauge known here", n)
		}
		return Wire{Gauge: n, AWG: true}, nil
	}
	w := Wire{Class: 5}
	var size []string
	for i := 0; i < len(words); i++ {
		switch {
		case words[i] == "tinned":
			w.Tinned = true
		case words[i] == "class":
			if i++; i == len(words) {
				return fail("unit.number", wireLike, "%q names no class", text)
			}
			n, err := strconv.Atoi(words[i])
			if err != nil || n != 1 && n != 2 && n != 5 {
				return fail("unit.range", "write class 1 (solid), class 2 (stranded) or class 5 (flexible)", "class %s is not a class of IEC 60228 known here", words[i])
			}
			w.Class = n
		default:
			size = append(size, words[i])
		}
	}
	area, err := ParseArea(strings.Join(size, " "))
	if err != nil {
		pe := err.(*ParseError)
		pe.Text = text
		if pe.Code != "unit.missing" {
			pe.Fix = wireLike
		}
		return Wire{}, pe
	}
	w.Area = area
	switch {
	case !slices.Contains(WireAreas, area):
		return fail("unit.range", "write "+neighbours(area), "%s is not a size of IEC 60228 known here", area)
	case area < 0.5 && (w.Class != 5 || w.Tinned):
		return fail("unit.range", "leave class and tinned out", "below 0.5 mm2 only plain flexible wire is listed, not %s", text)
	case w.Class != 5 && w.Tinned:
		return fail("unit.range", "leave tinned out", "tinned wire is listed in class 5 only")
	}
	return w, nil
}

// neighbours names the listed sizes around one that is not.
func neighbours(a Area) string {
	i, _ := slices.BinarySearch(WireAreas, a)
	switch i {
	case 0:
		return fmt.Sprintf("%q or more", WireAreas[0])
	case len(WireAreas):
		return fmt.Sprintf("%q or less, several wires side by side as several feeds", WireAreas[len(WireAreas)-1])
	}
	return fmt.Sprintf("%q or %q", WireAreas[i-1], WireAreas[i])
}

// String prints the wire so that ParseWire reads it back.
func (w Wire) String() string {
	if w.AWG {
		return fmt.Sprintf("AWG %d", w.Gauge)
	}
	s := w.Area.String()
	if w.Class != 5 && w.Class != 0 {
		s += fmt.Sprintf(" class %d", w.Class)
	}
	if w.Tinned {
		s += " tinned"
	}
	return s
}

func (w *Wire) Set(text string) error           { return set(w, ParseWire, text) }
func (w *Wire) Type() string                    { return "wire" }
func (w Wire) MarshalText() ([]byte, error)     { return []byte(w.String()), nil }
func (w *Wire) UnmarshalText(text []byte) error { return set(w, ParseWire, string(text)) }
