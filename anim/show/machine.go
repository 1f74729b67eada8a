package show

import (
	"fmt"

	"paneglow/anim/finding"
	"paneglow/anim/unit"
)

// MaxPixels is the most pixels of one machine, all strips together.
const MaxPixels = 20000

// ParseMachine reads machine.toml. file names it in findings. The Machine is
// never nil; it is complete when the list holds no error.
func ParseMachine(file string, src []byte) (*Machine, finding.List) {
	m := &Machine{File: file, Source: src}
	root, tr := grow(file, src)
	d := &decoder{list: tr.list}
	if d.mistaken(root, ofMachine, ofShow, "this is a show file; a machine file is wanted", `name the file that its machine = "..." names`) {
		return m, d.list
	}
	s := d.scope(root, "the machine file")
	s.t.broken = s.t.broken || tr.bad
	m.Keys = s.keys
	if p := s.sub("panel", `a table [panel]`, true); p != nil {
		p.path, p.title = "", "[panel]"
		p.keys = Keys{}
		m.Panel = readPanel(p)
	}
	for _, p := range s.tables("part", `a table [[part]]`, true) {
		m.Parts = append(m.Parts, readPart(p))
	}
	for _, l := range s.tables("line", `a table [[line]]`, true) {
		m.Lines = append(m.Lines, readLine(l))
	}
	for _, p := range s.tables("strip", `a table [[strip]]`, true) {
		m.Strips = append(m.Strips, readStrip(p))
	}
	m.Supply, m.Further = readSupplies(s)
	m.Wiring = Wiring{Temperature: 40, Contact: 0.01}
	if p := s.sub("wiring", `a table [wiring]`, false); p != nil {
		p.path, p.title = "", "[wiring]"
		p.keys = Keys{}
		m.Wiring = readWiring(p)
	}
	for _, f := range s.tables("feed", `a table [[feed]]`, true) {
		m.Feeds = append(m.Feeds, readFeed(f, m.Wiring.Contact))
	}
	for _, j := range s.tables("joint", `a table [[joint]]`, false) {
		m.Joints = append(m.Joints, readJoint(j, m.Wiring.Contact))
	}
	for _, l := range s.tables("load", `a table [[load]]`, false) {
		m.Loads = append(m.Loads, readLoad(l))
	}
	for _, x := range s.tables("sensor", `a table [[sensor]]`, false) {
		m.Sensors = append(m.Sensors, readSensor(x))
	}
	if c := s.sub("controller", `a table [controller]`, true); c != nil {
		c.path, c.title = "", "[controller]"
		c.keys = Keys{}
		m.Controller = readController(c)
	}
	s.done()
	unique(d, "part", m.Parts, func(p *Part) (string, Pos) { return p.Name, p.Keys.At("name", p.Pos) })
	unique(d, "line", m.Lines, func(p *Line) (string, Pos) { return p.Name, p.Keys.At("name", p.Pos) })
	unique(d, "strip", m.Strips, func(p *Strip) (string, Pos) { return p.Name, p.Keys.At("name", p.Pos) })
	unique(d, "supply", append([]Supply{m.Supply}, m.Further...), func(p *Supply) (string, Pos) { return p.Name, p.Keys.At("name", p.Pos) })
	unique(d, "load", m.Loads, func(p *Load) (string, Pos) { return p.Name, p.Keys.At("name", p.Pos) })
	unique(d, "sensor", m.Sensors, func(p *Sensor) (string, Pos) { return p.Name, p.Keys.At("name", p.Pos) })
	if !tr.bad {
		d.list = append(d.list, CheckMachine(m)...)
	}
	d.list.Sort()
	return m, d.list
}

// sensibleDepth is from LEDs that all but touch the glass to a deep box.
var sensibleDepth = within(unit.Length(1), 1000)

func readPanel(s *scope) Panel {
	p := Panel{Pos: s.t.pos, Keys: s.keys}
	for i, n := range s.items("size", `size = ["560 mm", "1420 mm"]`, true, 2, 2) {
		p.Size[i] = measure(s, n, fmt.Sprintf("size[%d]", i), "560 mm", unit.ParseLength, above(unit.Length(0)))
	}
	p.Depth = quantity(s, "depth", "48 mm", true, 0, unit.ParseLength, sensibleDepth)
	if g := s.sub("glass", `glass = { scatter = "20 deg", lambertian = 0.15, transmittance = [0.84, 0.84, 0.82] }`, true); g != nil {
		p.Glass = Glass{
			// 120 deg is wider than an ideal diffuser's own lobe.
			Scatter:       quantity(g, "scatter", "20 deg", true, 0, unit.ParseAngle, within(unit.Angle(0), 120)),
			Lambertian:    g.number("lambertian", "lambertian = 0.15", true, 0, 0, 1),
			Transmittance: g.triple("transmittance", "transmittance = [0.84, 0.84, 0.82]", true, 0, 0.01, 1),
			Reflectance:   g.number("reflectance", "reflectance = 0.15", false, 0.15, 0, 1),
			Haze:          g.number("haze", "haze = 0.95", false, 1, 0, 1),
		}
		g.done()
	}
	// Matt white paint gives back 80 to 90 % (common practice); a wall that gave
	// back everything would never let go of what the pane reflects.
	p.Walls = s.number("walls", "walls = 0.8", false, 0, 0, 0.98)
	if r := s.sub("room", `room = { day = "8000 lx", night = "20 lx", viewer = "1.5 m" }`, true); r != nil {
		// Direct sun at noon is about 100 000 lx (common practice).
		p.Room = Room{
			Day:    quantity(r, "day", "8000 lx", true, 0, unit.ParseIlluminance, within(unit.Illuminance(0), 150000)),
			Night:  quantity(r, "night", "20 lx", true, 0, unit.ParseIlluminance, within(unit.Illuminance(0), 150000)),
			Viewer: quantity(r, "viewer", "1.5 m", true, 0, unit.ParseLength, above(unit.Length(0))),
		}
		r.done()
	}
	s.done()
	return p
}

func readPart(s *scope) Part {
	p := Part{Pos: s.t.pos, Keys: s.keys}
	p.Name = s.name("part", `name = "bright12"`)
	p.Order = s.text("order", `order = "GRB"`, true)
	p.Pitch = quantity(s, "pitch", "60 /m", true, 0, unit.ParsePitch, above(unit.Pitch(0)))
	p.LEDsPerPixel = s.integer("leds_per_pixel", "leds_per_pixel = 3", false, 1, 1, 100)
	p.Law = Law(s.one("law", `law = "sum"`, true, "sum", "largest", "ceiling"))
	p.Fitted = s.flag("fitted", "fitted = true")
	white := len(p.Order) == 4
	const one = `current = { idle = "1 mA", red = "12 mA", green = "12 mA", blue = "12 mA", spread = "8 %" }`
	if c := s.sub("current", one, true); c != nil {
		p.Idle = quantity(c, "idle", "1 mA", true, 0, unit.ParseCurrent)
		for i, die := range dies[:3] {
			p.Channel[i] = quantity(c, die, "12 mA", true, 0, unit.ParseCurrent, above(unit.Current(0)))
		}
		p.Channel[3] = quantity(c, "white", "16 mA", white, 0, unit.ParseCurrent, above(unit.Current(0)))
		p.Ceiling = quantity(c, "ceiling", "10 mA", p.Law == Ceiling, 0, unit.ParseCurrent, above(unit.Current(0)))
		p.Spread = quantity(c, "spread", "8 %", !p.Fitted, 0, unit.ParseShare, within(unit.Share(0), 1000000))
		c.done()
	}
	if v := s.sub("volts", `volts = { nominal = "12 V", least = "10.5 V" }`, true); v != nil {
		p.Nominal = quantity(v, "nominal", "12 V", true, 0, unit.ParseVoltage, above(unit.Voltage(0)))
		p.Least = quantity(v, "least", "10.5 V", true, 0, unit.ParseVoltage, above(unit.Voltage(0)))
		v.done()
	}
	if l := s.sub("light", `light = { red = ["622 nm", "400 mcd"], green = ["523 nm", "690 mcd"], blue = ["466 nm", "190 mcd"] }`, true); l != nil {
		for i, die := range dies[:3] {
			p.Light[i] = readDie(l, die, true)
		}
		p.Light[3] = readDie(l, "white", white)
		l.done()
	}
	p.HalfAngle = quantity(s, "half_angle", "60 deg", false, 60, unit.ParseAngle, within(unit.Angle(1), 89))
	p.Emitter = quantity(s, "emitter", "5 mm", false, 5, unit.ParseLength, above(unit.Length(0)))
	p.Rails = quantity(s, "rails", "0.16 ohm/m", true, 0, unit.ParseLineResistance, within(unit.LineResistance(0.0001), 1000))
	p.PlusRail = quantity(s, "plus_rail", "0.07 ohm/m", false, 0, unit.ParseLineResistance, within(unit.LineResistance(0.00005), 1000))
	p.RailsCarry = quantity(s, "rails_carry", "5 A", false, 0, unit.ParseCurrent, above(unit.Current(0)))
	if t := s.sub("data", `data = { bit = "1.25 us", latch = "280 us", gap = "5 us", pwm = "2 kHz" }`, true); t != nil {
		p.Data = Data{
			Bit:   quantity(t, "bit", "1.25 us", true, 0, unit.ParseTime, above(unit.Time(0))),
			Latch: quantity(t, "latch", "280 us", true, 0, unit.ParseTime, above(unit.Time(0))),
			Gap:   quantity(t, "gap", "5 us", true, 0, unit.ParseTime),
			PWM:   quantity(t, "pwm", "2 kHz", true, 0, unit.ParseFrequency, above(unit.Frequency(0))),
		}
		t.done()
	}
	s.done()
	return p
}

// dies names the channels in the order of Channel and Light.
var dies = [4]string{"red", "green", "blue", "white"}

// readDie reads ["622 nm", "400 mcd"], of a white die ["6500 K", "1.3 cd"].
func readDie(s *scope, die string, required bool) Die {
	example := die + ` = ["622 nm", "400 mcd"]`
	if die == "white" {
		example = `white = ["6500 K", "1300 mcd"]`
	}
	var out Die
	n := s.items(die, example, required, 2, 2)
	if n == nil {
		return out
	}
	if die == "white" {
		// The Planckian and daylight loci are tabulated for about 1700 to 25000 K.
		out.Temperature = measure(s, n[0], die+"[0]", "6500 K", unit.ParseTemperature, within(unit.Temperature(1700), 25000))
	} else {
		// The visible range of CIE 15, as in testdata/reference.
		out.Wavelength = measure(s, n[0], die+"[0]", "622 nm", unit.ParseWavelength, within(unit.Wavelength(380), 780))
	}
	out.Intensity = measure(s, n[1], die+"[1]", "400 mcd", unit.ParseIntensity, above(unit.Intensity(0)))
	return out
}

func readLine(s *scope) Line {
	l := Line{Pos: s.t.pos, Keys: s.keys}
	l.Name = s.name("line", `name = "a"`)
	l.Driver = quantity(s, "driver", "5 V", true, 0, unit.ParseVoltage, above(unit.Voltage(0)))
	l.Strips = s.texts("strips", `strips = ["left", "top"]`, true, 1)
	s.done()
	return l
}

func readStrip(s *scope) Strip {
	p := Strip{Pos: s.t.pos, Keys: s.keys, PathPos: s.t.pos}
	p.Name = s.name("strip", `name = "left"`)
	p.Part = s.text("part", `part = "bright12"`, true)
	const path = `path = [["70 mm", "60 mm"], ["70 mm", "1326 mm"]]`
	for i, n := range s.items("path", path, true, 1, 0) {
		if n.kind != kindList {
			s.mistyped(n, fmt.Sprintf("path[%d]", i), kindList, path)
			p.Path = nil
			break
		}
		if len(n.items) != 2 {
			s.d.fail(n.pos, "show.wrong_count", fmt.Sprintf("path[%d] has %d values, not x and y", i, len(n.items)), "write "+path)
			p.Path = nil
			break
		}
		var at [2]unit.Length
		for j, c := range n.items {
			s.keys[fmt.Sprintf("path[%d][%d]", i, j)] = c.pos
			at[j] = measure(s, c, fmt.Sprintf("path[%d][%d]", i, j), "70 mm", unit.ParseLength)
		}
		p.Path = append(p.Path, at)
	}
	p.PathPos = s.keys.At("path", s.t.pos)
	p.Pixels = s.integer("pixels", "pixels = 77", true, 0, 1, MaxPixels)
	p.Hidden = s.integers("hidden", "hidden = [0, 41]", 0, MaxPixels)
	p.Missing = s.integers("missing", "missing = [12]", 0, MaxPixels)
	p.Supply = s.text("supply", `supply = "b"`, false)
	for _, t := range s.tables("stretches", `stretches = [{ from = 40, white = [1, 0.95, 0.9], gain = 0.93 }]`, false) {
		p.Stretches = append(p.Stretches, Stretch{
			From: t.integer("from", "from = 40", true, 0, 0, MaxPixels),
			To:   t.integer("to", "to = 76", false, max(p.Pixels-1, 0), 0, MaxPixels),
			// A reel that differs by more than four is another part.
			White: t.triple("white", "white = [1, 0.95, 0.9]", false, 1, 0.01, 4),
			Gain:  t.number("gain", "gain = 0.93", false, 1, 0.01, 4),
		})
		t.done()
	}
	p.Depth = quantity(s, "depth", "30 mm", false, 0, unit.ParseLength, sensibleDepth)
	p.Tilt = quantity(s, "tilt", "45 deg", false, 0, unit.ParseAngle, within(unit.Angle(0), 90))
	p.Towards = quantity(s, "towards", "90 deg", false, 0, unit.ParseAngle, within(unit.Angle(-360), 360))
	s.done()
	return p
}

func readLoad(s *scope) Load {
	l := Load{Pos: s.t.pos, Keys: s.keys}
	l.Name = s.name("load", `name = "carousel"`)
	l.Amps = quantity(s, "amps", "2.4 A", true, 0, unit.ParseCurrent)
	l.Start = quantity(s, "start", "4.8 A", false, l.Amps, unit.ParseCurrent)
	l.Stall = quantity(s, "stall", "6 A", false, 0, unit.ParseCurrent)
	l.CutOff = quantity(s, "cut_off", "3 s", l.Stall > 0, 0, unit.ParseTime)
	l.Supply = s.text("supply", `supply = "b"`, false)
	s.done()
	return l
}

func readSensor(s *scope) Sensor {
	x := Sensor{Pos: s.t.pos, Keys: s.keys}
	x.Name = s.name("sensor", `name = "slot"`)
	x.Pulse = quantity(s, "pulse", "3 ms", true, 0, unit.ParseTime, above(unit.Time(0)))
	s.done()
	return x
}

func readController(s *scope) Controller {
	c := Controller{Pos: s.t.pos, Keys: s.keys}
	c.Clock = quantity(s, "clock", "16 MHz", true, 0, unit.ParseFrequency, above(unit.Frequency(0)))
	c.Flash = quantity(s, "flash", "248 KiB", true, 0, unit.ParseSize, above(unit.Size(0)))
	c.RAM = quantity(s, "ram", "8 KiB", true, 0, unit.ParseSize, above(unit.Size(0)))
	c.MachineFlash = quantity(s, "machine_flash", "64 KiB", true, 0, unit.ParseSize)
	c.MachineRAM = quantity(s, "machine_ram", "1500 B", true, 0, unit.ParseSize)
	c.MachineShare = quantity(s, "machine_share", "40 %", true, 0, unit.ParseShare, within(unit.Share(0), 1000000))
	c.Baud = s.integer("baud", "baud = 500000", true, 0, 300, 4000000)
	c.Together = s.one("lines", `lines = "together"`, false, "in turn", "together") == 1
	c.Answers = quantity(s, "answers", "100 ms", false, 0, unit.ParseTime, above(unit.Time(0)))
	s.done()
	return c
}
