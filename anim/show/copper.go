package show

import (
	"errors"
	"fmt"

	"paneglow/anim/unit"
)

// wireLength is what a wire may be long: one of no length is a slip.
var wireLength = within(unit.Length(1), 1e6)

func readWiring(s *scope) Wiring {
	w := Wiring{Pos: s.t.pos, Keys: s.keys}
	// Copper in a closed cabinet is warmer than the room (common practice).
	w.Temperature = quantity(s, "temperature", "40 degC", false, 40, unit.ParseCelsius, within(unit.Celsius(-40), 105))
	// Connectors and solder joints have 5 to 30 mohm each (common practice).
	w.Contact = quantity(s, "contact", "10 mohm", false, 0.01, unit.ParseResistance, within(unit.Resistance(0), 10))
	s.done()
	return w
}

func readFeed(s *scope, contact unit.Resistance) Feed {
	f := Feed{Pos: s.t.pos, Keys: s.keys}
	f.Strip, f.Pixel = s.place("at", `at = ["left", 0]`)
	f.Wire = s.wire("wire", "0.75 mm2", true)
	f.Length = quantity(s, "length", "900 mm", true, 0, unit.ParseLength, wireLength)
	f.Fuse = quantity(s, "fuse", "4 A", true, 0, unit.ParseCurrent, above(unit.Current(0)))
	f.Contact = quantity(s, "contact", "10 mohm", false, contact, unit.ParseResistance, within(unit.Resistance(0), 10))
	f.Connector = quantity(s, "connector", "5 A", false, 0, unit.ParseCurrent, above(unit.Current(0)))
	s.done()
	return f
}

func readJoint(s *scope, contact unit.Resistance) Joint {
	j := Joint{Pos: s.t.pos, Keys: s.keys}
	j.From.Strip, j.From.Pixel = s.place("from", `from = ["left", 76]`)
	j.To.Strip, j.To.Pixel = s.place("to", `to = ["top", 0]`)
	j.Wire = s.wire("wire", "0.5 mm2", true)
	j.Length = quantity(s, "length", "60 mm", true, 0, unit.ParseLength, wireLength)
	j.Contact = quantity(s, "contact", "10 mohm", false, contact, unit.ParseResistance, within(unit.Resistance(0), 10))
	j.MinusOnly = s.one("conductors", `conductors = "both"`, false, "both", "minus") == 1
	s.done()
	return j
}

// place reads a strip and a pixel of it.
func (s *scope) place(key, example string) (strip string, pixel int) {
	n := s.items(key, example, true, 2, 2)
	if n == nil {
		return "", 0
	}
	if n[0].kind == kindText {
		strip = n[0].text
	} else {
		s.mistyped(n[0], key+"[0]", kindText, example)
	}
	if n[1].kind == kindInt {
		pixel = s.whole(n[1], key+"[1]", example, 0, MaxPixels)
	} else {
		s.mistyped(n[1], key+"[1]", kindInt, example)
	}
	return strip, pixel
}

// wire reads a conductor; the zero Wire where it was refused.
func (s *scope) wire(key, example string, required bool) unit.Wire {
	n := s.get(key, fmt.Sprintf("%s = %q", key, example), required)
	if n == nil {
		return unit.Wire{}
	}
	if n.kind != kindText && n.kind != kindInt && n.kind != kindFloat {
		s.d.fail(n.pos, "show.wrong_type", fmt.Sprintf("%s is %s, not a text with a unit", s.path+key, n.kind), fmt.Sprintf("write %q", example))
		return unit.Wire{}
	}
	w, err := unit.ParseWire(n.text)
	var pe *unit.ParseError
	if errors.As(err, &pe) {
		s.d.fail(n.pos, pe.Code, s.path+key+": "+pe.Reason, pe.Fix)
		return unit.Wire{}
	}
	return w
}

// checkPlace finds copper that is soldered to what is not there.
func checkPlace(d *decoder, m *Machine, what, key string, p Place, keys Keys, pos Pos) {
	if p.Strip == "" {
		return
	}
	s := m.Strip(p.Strip)
	if s == nil {
		d.unknown(keys.At(key+"[0]", pos), "strip", p.Strip, m.stripNames())
		return
	}
	if s.Pixels > 0 && (p.Pixel < 0 || p.Pixel >= s.Pixels) {
		d.fail(keys.At(key+"[1]", pos), "machine.no_such_pixel", fmt.Sprintf("the %s is at pixel %d, strip %q has pixels 0 to %d", what, p.Pixel, s.Name, s.Pixels-1), "count from 0 in data order")
	}
}

func checkJoint(d *decoder, j *Joint, m *Machine) {
	checkPlace(d, m, "joint", "from", j.From, j.Keys, j.Pos)
	checkPlace(d, m, "joint", "to", j.To, j.Keys, j.Pos)
	if j.From == j.To && j.From.Strip != "" {
		d.fail(j.Keys.At("to", j.Pos), "machine.joint_to_itself", fmt.Sprintf("the joint leads from pixel %d of strip %q to the same place", j.From.Pixel, j.From.Strip), "name the other end")
	}
	from, to := m.Strip(j.From.Strip), m.Strip(j.To.Strip)
	if from != nil && to != nil && !j.MinusOnly && m.SupplyIndex(from.Supply) != m.SupplyIndex(to.Supply) {
		d.fail(j.Keys.At("to", j.Pos), "machine.parallel_plus", fmt.Sprintf("the joint leads the plus of strip %q to strip %q, which hangs on another supply", from.Name, to.Name),
			`write conductors = "minus": supplies have their minus in common and never a plus`)
	}
}
