package show

import (
	"fmt"

	"paneglow/anim/unit"
)

// MostSupplies is the most supplies of one machine.
const MostSupplies = 4

// readSupplies reads [supply], or several [[supply]] with names. The first one
// is what hangs on no other.
func readSupplies(s *scope) (first Supply, further []Supply) {
	n := s.get("supply", "a table [supply]", true)
	switch {
	case n == nil:
		return first, nil
	case n.kind == kindTable:
		p := &scope{d: s.d, t: n.table, title: "[supply]", keys: Keys{}}
		return readSupply(p, false), nil
	case n.kind != kindList || !n.tables:
		s.mistyped(n, "supply", kindTable, "a table [supply]")
		return first, nil
	}
	for i, p := range s.tables("supply", "a table [supply]", true) {
		x := readSupply(p, len(n.items) > 1)
		if i == 0 {
			first = x
		} else {
			further = append(further, x)
		}
	}
	if len(n.items) > MostSupplies {
		s.d.fail(n.items[MostSupplies].pos, "show.out_of_range", fmt.Sprintf("%d supplies, the most is %d", len(n.items), MostSupplies), "give the rest to a second controller and a second machine file")
	}
	return first, further
}

func readSupply(s *scope, named bool) Supply {
	p := Supply{Pos: s.t.pos, Keys: s.keys}
	if named || s.t.get("name") != nil {
		p.Name = s.name("supply", `name = "b"`)
	} else {
		s.known = append(s.known, "name")
	}
	p.Volts = quantity(s, "volts", "12 V", true, 0, unit.ParseVoltage, above(unit.Voltage(0)))
	p.Amps = quantity(s, "amps", "8.3 A", true, 0, unit.ParseCurrent, above(unit.Current(0)))
	p.Share = quantity(s, "share", "80 %", false, 800000, unit.ParseShare, within(unit.Share(10000), 1000000))
	p.Surge = quantity(s, "surge", "100 %", false, 1000000, unit.ParseShare, within(unit.Share(10000), 2000000))
	const curve = `derate = [["50 degC", "100 %"], ["70 degC", "60 %"]]`
	points := s.items("derate", curve, false, 2, 16)
	p.Temperature = quantity(s, "temperature", "45 degC", points != nil, 0, unit.ParseCelsius, within(unit.Celsius(-40), 120))
	for i, n := range points {
		if n.kind != kindList || len(n.items) != 2 {
			s.d.fail(n.pos, "show.wrong_count", fmt.Sprintf("derate[%d] is not a temperature and a share", i), "write "+curve)
			return p
		}
		p.Derate = append(p.Derate, Derate{
			At:    measure(s, n.items[0], fmt.Sprintf("derate[%d][0]", i), "50 degC", unit.ParseCelsius),
			Share: measure(s, n.items[1], fmt.Sprintf("derate[%d][1]", i), "100 %", unit.ParseShare, within(unit.Share(0), 1000000)),
		})
	}
	if r := s.sub("slew", `slew = { rise = "20 A/s" }`, false); r != nil {
		p.Rise = quantity(r, "rise", "20 A/s", false, 0, unit.ParseSlewRate, within(unit.SlewRate(1000), 1e12))
		p.Fall = quantity(r, "fall", "20 A/s", false, 0, unit.ParseSlewRate, within(unit.SlewRate(1000), 1e12))
		if r.done(); len(r.t.entries) == 0 {
			s.d.fail(r.t.pos, "show.empty", "slew says neither rise nor fall", `write slew = { rise = "20 A/s" }`)
		}
	}
	p.Resistance = quantity(s, "resistance", "20 mohm", false, 0, unit.ParseResistance, within(unit.Resistance(0), 100))
	lead := s.t.get("wire") != nil || s.t.get("length") != nil
	p.Wire = s.wire("wire", "2.5 mm2", lead)
	p.Length = quantity(s, "length", "300 mm", lead, 0, unit.ParseLength, wireLength)
	p.RailSwitch = s.flag("rail_switch", "rail_switch = true")
	s.done()
	return p
}

// Supplies are the machine's supplies, the first one first. They point into m.
func (m *Machine) Supplies() []*Supply {
	out := []*Supply{&m.Supply}
	for i := range m.Further {
		out = append(out, &m.Further[i])
	}
	return out
}

// SupplyIndex is the place of a supply in Supplies: 0 for "", -1 where there is
// none of the name.
func (m *Machine) SupplyIndex(name string) int {
	if name == "" {
		return 0
	}
	for i, s := range m.Supplies() {
		if s.Name == name {
			return i
		}
	}
	return -1
}

func (m *Machine) supplyNames() []string {
	var out []string
	for _, s := range m.Supplies() {
		if s.Name != "" && !has(out, s.Name) {
			out = append(out, s.Name)
		}
	}
	return out
}

// checkSupply finds a curve that does not fall, or that ends below the
// temperature.
func checkSupply(d *decoder, s *Supply) {
	for i := 1; i < len(s.Derate); i++ {
		a, b := s.Derate[i-1], s.Derate[i]
		if b.At <= a.At || b.Share > a.Share {
			d.fail(s.Keys.At(fmt.Sprintf("derate[%d]", i), s.Pos), "machine.derate",
				fmt.Sprintf("the curve goes from %s at %s to %s at %s", a.Share, a.At, b.Share, b.At), "write the data sheet's points by rising temperature; the share falls")
			return
		}
	}
	if n := len(s.Derate); n > 0 && s.Temperature > s.Derate[n-1].At {
		d.fail(s.Keys.At("temperature", s.Pos), "machine.derate", fmt.Sprintf("the air of %s is hotter than the curve's end at %s", s.Temperature, s.Derate[n-1].At),
			"move the supply to cooler air, or take one that is made for the heat")
	}
	_, given := s.Keys["temperature"]
	if _, curve := s.Keys["derate"]; given && !curve {
		d.fail(s.Keys["temperature"], "machine.derate", "a temperature without derate changes nothing", `add the data sheet's curve: derate = [["50 degC", "100 %"], ["70 degC", "60 %"]]`)
	}
}

// checkHangs finds strips and loads on supplies that are not there, and loads
// that alone ask for more than theirs gives.
func checkHangs(d *decoder, m *Machine) {
	for i := range m.Strips {
		s := &m.Strips[i]
		if m.SupplyIndex(s.Supply) < 0 {
			d.unknown(s.Keys.At("supply", s.Pos), "supply", s.Supply, m.supplyNames())
		}
	}
	for i := range m.Loads {
		l := &m.Loads[i]
		k := m.SupplyIndex(l.Supply)
		if k < 0 {
			d.unknown(l.Keys.At("supply", l.Pos), "supply", l.Supply, m.supplyNames())
			continue
		}
		s := m.Supplies()[k]
		gives := int64(s.Amps) / 1000 * int64(max(s.Share, s.Surge)) / 1000
		key, asks := "amps", l.Amps
		if l.Start > asks {
			key, asks = "start", l.Start
		}
		if l.Stall > asks {
			key, asks = "stall", l.Stall
		}
		if s.Amps > 0 && int64(asks) > gives {
			d.fail(l.Keys.At(key, l.Pos), "machine.load_over_supply", fmt.Sprintf("load %q asks for %s (%s), its supply gives %s", l.Name, asks, key, unit.Current(gives)),
				"take a larger supply, or give the load one of its own: [[supply]]")
		}
	}
}
