package show

import (
	"fmt"
	"math"
	"slices"

	"paneglow/anim/finding"
	"paneglow/anim/unit"
)

// CheckMachine finds what no single value of the machine file shows: names
// that are not there, strips that do not fit their path or the panel, values
// that contradict each other. ParseMachine has called it already. Fields that
// are zero because they were refused are passed over.
func CheckMachine(m *Machine) finding.List {
	d := &decoder{}
	for _, s := range m.Supplies() {
		checkSupply(d, s)
	}
	for i := range m.Parts {
		checkPart(d, &m.Parts[i])
		checkVolts(d, m, &m.Parts[i])
	}
	total := 0
	for i := range m.Strips {
		checkStrip(d, &m.Strips[i], m)
		if total <= MaxPixels && total+m.Strips[i].Pixels > MaxPixels {
			d.fail(m.Strips[i].Keys.At("pixels", m.Strips[i].Pos), "machine.too_many_pixels",
				fmt.Sprintf("with strip %q the machine has %d pixels, the most is %d", m.Strips[i].Name, total+m.Strips[i].Pixels, MaxPixels),
				"give the rest to a second controller and a second machine file")
		}
		total += m.Strips[i].Pixels
	}
	checkLines(d, m)
	checkHangs(d, m)
	for i := range m.Feeds {
		f := &m.Feeds[i]
		checkPlace(d, m, "feed", "at", Place{f.Strip, f.Pixel}, f.Keys, f.Pos)
	}
	for i := range m.Joints {
		checkJoint(d, &m.Joints[i], m)
	}
	for i := range m.Loads {
		l := &m.Loads[i]
		if l.Start < l.Amps {
			d.fail(l.Keys.At("start", l.Pos), "machine.start_below_running", fmt.Sprintf("load %q starts with %s and runs with %s", l.Name, l.Start, l.Amps),
				"write the current while it starts, its running current included")
		}
		if l.Stall > 0 && l.Stall < l.Amps {
			d.fail(l.Keys.At("stall", l.Pos), "machine.stall_below_running", fmt.Sprintf("load %q stalls with %s and runs with %s", l.Name, l.Stall, l.Amps),
				"write the current of the jammed load")
		}
	}
	c := &m.Controller
	if c.MachineFlash > c.Flash {
		d.fail(c.Keys.At("machine_flash", c.Pos), "machine.no_room", fmt.Sprintf("the machine's own firmware of %s is larger than the flash of %s", c.MachineFlash, c.Flash), "correct flash or machine_flash")
	}
	if c.MachineRAM > c.RAM {
		d.fail(c.Keys.At("machine_ram", c.Pos), "machine.no_room", fmt.Sprintf("the machine's own variables of %s are more than the ram of %s", c.MachineRAM, c.RAM), "correct ram or machine_ram")
	}
	if n := len(m.Lines); c.Together && (n < 2 || n > MostTogether) {
		d.fail(c.Keys.At("lines", c.Pos), "machine.together", fmt.Sprintf("the machine has %d data lines; 2 to %d can go out together, from the pins of one port", n, MostTogether),
			`write lines = "in turn", or share the strips between other lines`)
	}
	return d.list
}

// MostTogether is the most data lines that go out side by side: the pins of a port.
const MostTogether = 8

func checkPart(d *decoder, p *Part) {
	letters := []byte(p.Order)
	slices.Sort(letters)
	if p.Order != "" && string(letters) != "BGR" && string(letters) != "BGRW" {
		d.fail(p.Keys.At("order", p.Pos), "machine.order", fmt.Sprintf("order %q is not R, G, B or R, G, B, W once each", p.Order),
			`write the letters in the order of the data line, such as "GRB" or "GRBW"`)
	} else if p.Order != "" && len(p.Order) == 3 {
		for _, key := range []string{"current.white", "light.white"} {
			if q, ok := p.Keys[key]; ok {
				d.fail(q, "machine.no_white", fmt.Sprintf("%s is given, but order %q has no white die", key, p.Order), "remove it, or write the fourth letter in order")
			}
		}
	}
	if p.Rails > 0 && p.PlusRail >= p.Rails {
		d.fail(p.Keys.At("plus_rail", p.Pos), "machine.plus_rail", fmt.Sprintf("the plus rail of %s leaves nothing of rails = %s for minus", p.PlusRail, p.Rails), "rails is both rails together: add the two")
	}
	if p.Law != Ceiling && p.Ceiling > 0 {
		d.fail(p.Keys.At("current.ceiling", p.Pos), "machine.no_ceiling", `current.ceiling is given, but law is not "ceiling"`, `remove it, or write law = "ceiling"`)
	}
	if most := p.Ceiling * unit.Current(p.LEDsPerPixel); p.Law == Ceiling && p.Ceiling > 0 && p.Idle > most {
		d.fail(p.Keys.At("current.idle", p.Pos), "machine.idle_over_ceiling",
			fmt.Sprintf("idle %s is more than the ceiling of %s for a pixel", p.Idle, most), "measure both again: a dark pixel cannot draw more than a bright one")
	}
	if p.Least > p.Nominal && p.Nominal > 0 {
		d.fail(p.Keys.At("volts.least", p.Pos), "machine.least_over_nominal", fmt.Sprintf("least %s is more than nominal %s", p.Least, p.Nominal), "exchange them")
	}
}

// checkVolts holds a part against every supply that one of its strips hangs
// on; a part without strips against the first.
func checkVolts(d *decoder, m *Machine, p *Part) {
	var on []*Supply
	for i, s := range m.Supplies() {
		for j := range m.Strips {
			if m.Strips[j].Part == p.Name && m.SupplyIndex(m.Strips[j].Supply) == i {
				on = append(on, s)
				break
			}
		}
	}
	if len(on) == 0 {
		on = append(on, &m.Supply)
	}
	for _, supply := range on {
		// Enclosed supplies adjust by about 15 % (common practice); 12 V on 5 V parts destroys them.
		if p.Nominal > 0 && supply.Volts > 0 && (supply.Volts-p.Nominal)*100 > p.Nominal*15 {
			d.fail(p.Keys.At("volts.nominal", p.Pos), "machine.over_voltage", fmt.Sprintf("part %q is made for %s, the supply gives %s", p.Name, p.Nominal, supply.Volts),
				"use a supply of the part's voltage: more destroys it")
		}
		if supply.Volts > 0 && p.Least > supply.Volts {
			d.fail(p.Keys.At("volts.least", p.Pos), "machine.under_voltage", fmt.Sprintf("part %q needs %s, the supply gives %s", p.Name, p.Least, supply.Volts), "use a supply of the part's voltage")
		}
	}
}

func names[T any](items []T, of func(*T) string) []string {
	var out []string
	for i := range items {
		if n := of(&items[i]); n != "" && !has(out, n) {
			out = append(out, n)
		}
	}
	return out
}

func (m *Machine) stripNames() []string {
	return names(m.Strips, func(s *Strip) string { return s.Name })
}
func (m *Machine) partNames() []string { return names(m.Parts, func(p *Part) string { return p.Name }) }

// Part finds a part by name; nil when it is not there.
func (m *Machine) Part(name string) *Part {
	for i := range m.Parts {
		if m.Parts[i].Name == name {
			return &m.Parts[i]
		}
	}
	return nil
}

// Strip finds a strip by name; nil when it is not there.
func (m *Machine) Strip(name string) *Strip {
	for i := range m.Strips {
		if m.Strips[i].Name == name {
			return &m.Strips[i]
		}
	}
	return nil
}

func checkStrip(d *decoder, s *Strip, m *Machine) {
	part := m.Part(s.Part)
	if part == nil && s.Part != "" {
		d.unknown(s.Keys.At("part", s.Pos), "part", s.Part, m.partNames())
	}
	seen := map[int]string{}
	for _, list := range []struct {
		key   string
		items []int
	}{{"hidden", s.Hidden}, {"missing", s.Missing}} {
		for i, n := range list.items {
			p := s.Keys.At(fmt.Sprintf("%s[%d]", list.key, i), s.Pos)
			if s.Pixels > 0 && (n < 0 || n >= s.Pixels) {
				d.fail(p, "machine.no_such_pixel", fmt.Sprintf("%s: strip %q has pixels 0 to %d, not %d", list.key, s.Name, s.Pixels-1, n), "count from 0 in data order")
			} else if was := seen[n]; was != "" {
				d.fail(p, "machine.pixel_twice", fmt.Sprintf("%s: pixel %d of strip %q is listed as %s already", list.key, n, s.Name, was), "keep one of them")
			}
			seen[n] = list.key
		}
	}
	for i, t := range s.Stretches {
		p := s.Keys.At(fmt.Sprintf("stretches[%d]", i), s.Keys.At("stretches", s.Pos))
		if s.Pixels > 0 && (t.From > t.To || t.From < 0 || t.To >= s.Pixels) {
			d.fail(p, "machine.no_such_pixel", fmt.Sprintf("the stretch from %d to %d is not within pixels 0 to %d of strip %q", t.From, t.To, s.Pixels-1, s.Name), "count from 0 in data order; to is included")
		}
		for j, o := range s.Stretches[:i] {
			if t.From <= o.To && o.From <= t.To {
				d.fail(p, "machine.pixel_twice", fmt.Sprintf("stretches %d and %d of strip %q overlap", j+1, i+1, s.Name), "end one before the other begins")
			}
		}
	}
	checkPath(d, s, part, m.Panel.Size)
}

// VisibleLEDs is the number of LEDs that stand on the strip's path: hidden
// pixels take no length, missing ones keep their place.
func (s *Strip) VisibleLEDs(p *Part) int {
	hidden := map[int]bool{}
	for _, n := range s.Hidden {
		if n >= 0 && n < s.Pixels {
			hidden[n] = true
		}
	}
	return (s.Pixels - len(hidden)) * p.LEDsPerPixel
}

// PathLength is the length of the strip's path in millimetres.
func (s *Strip) PathLength() float64 {
	sum := 0.0
	for i := 1; i < len(s.Path); i++ {
		dx := float64(s.Path[i][0] - s.Path[i-1][0])
		dy := float64(s.Path[i][1] - s.Path[i-1][1])
		sum += math.Sqrt(float64(dx*dx) + float64(dy*dy)) // products kept apart: the same bits everywhere
	}
	return sum
}

func checkPath(d *decoder, s *Strip, part *Part, size [2]unit.Length) {
	for i, p := range s.Path {
		for j, axis := range []string{"x", "y"} {
			if size[j] > 0 && (p[j] < 0 || p[j] > size[j]) {
				d.fail(s.Keys.At(fmt.Sprintf("path[%d]", i), s.PathPos), "layout.outside_panel",
					fmt.Sprintf("point %d of strip %q has %s = %s, the panel reaches from 0 mm to %s", i+1, s.Name, axis, p[j], size[j]), "x is to the right and y upwards from the lower left corner")
			}
		}
	}
	if part == nil || part.Pitch <= 0 || part.LEDsPerPixel < 1 || s.Pixels < 1 || len(s.Path) == 0 {
		return
	}
	leds := s.VisibleLEDs(part)
	if len(s.Path) == 1 && leds > 1 {
		d.fail(s.PathPos, "layout.one_point", fmt.Sprintf("the path of strip %q is one point, its %d LEDs need a line", s.Name, leds), "write the centre of the first LED and that of the last")
		return
	}
	step := float64(part.Pitch.Step())
	want := float64(max(leds-1, 0)) * step
	if have := s.PathLength(); math.Abs(have-want) > step/2 {
		fit := int(math.Floor((have/step+1)/float64(part.LEDsPerPixel) + 0.5))
		hidden := s.Pixels - leds/part.LEDsPerPixel
		d.fail(s.PathPos, "layout.path_length",
			fmt.Sprintf("the path of strip %q is %.1f mm long, %d LEDs at %s take %.1f mm (half a pitch, %.1f mm, may be off)", s.Name, have, leds, part.Pitch, want, step/2),
			fmt.Sprintf("make the path %.1f mm long, or write pixels = %d", want, fit+hidden))
	}
}

func checkLines(d *decoder, m *Machine) {
	on := map[string]string{}
	for i := range m.Lines {
		l := &m.Lines[i]
		for j, name := range l.Strips {
			p := l.Keys.At(fmt.Sprintf("strips[%d]", j), l.Pos)
			if m.Strip(name) == nil {
				d.unknown(p, "strip", name, m.stripNames())
				continue
			}
			if other, ok := on[name]; ok && other != l.Name {
				d.fail(p, "machine.strip_on_two_lines", fmt.Sprintf("strip %q is on line %q already", name, other), "a strip has one data line: keep one of them")
			}
			on[name] = l.Name
		}
	}
	for i := range m.Strips {
		s := &m.Strips[i]
		if _, ok := on[s.Name]; !ok && s.Name != "" && len(m.Lines) > 0 {
			d.fail(s.Keys.At("name", s.Pos), "machine.strip_on_no_line", fmt.Sprintf("strip %q is on no data line", s.Name), fmt.Sprintf("add %q to strips of a [[line]]", s.Name))
		}
	}
}

// unknown tells a name that is nowhere declared.
func (d *decoder) unknown(p Pos, word, name string, there []string) {
	d.fail(p, "machine.unknown_"+word, fmt.Sprintf("there is no %s %q", word, name), suggest(name, there))
}
