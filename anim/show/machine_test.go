package show

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"paneglow/anim/finding"
	"paneglow/anim/unit"

	"github.com/stretchr/testify/require"
)

func TestGoodMachine(t *testing.T) {
	m, list := ParseMachine("f.toml", []byte(goodMachine))
	require.Empty(t, list)
	require.Equal(t, [2]unit.Length{200, 300}, m.Panel.Size)
	require.Equal(t, Glass{Scatter: 20, Lambertian: 0.15, Transmittance: [3]float64{0.84, 0.83, 0.82}, Reflectance: 0.15, Haze: 1}, m.Panel.Glass)
	p := m.Parts[0]
	require.Equal(t, [4]unit.Current{12000, 12000, 12000, 0}, p.Channel)
	require.Equal(t, unit.Angle(60), p.HalfAngle)
	require.Equal(t, unit.Length(5), p.Emitter)
	require.Equal(t, Die{Wavelength: 523, Intensity: 690}, p.Light[1])
	require.Equal(t, unit.Time(1250), p.Data.Bit)
	require.Equal(t, unit.Share(800000), m.Supply.Share)
	require.Equal(t, unit.Share(1000000), m.Supply.Surge)
	require.Equal(t, unit.Current(2400000), m.Loads[0].Amps)
	require.Equal(t, [][2]unit.Length{{40, 220}, {120, 220}}, m.Strips[1].Path)
	require.Equal(t, []string{"left", "top"}, m.Lines[0].Strips)
	require.Equal(t, 500000, m.Controller.Baud)
	// A place is the exact text of the value.
	at := p.Keys["current.green"]
	require.Equal(t, `"12 mA"`, goodMachine[at.Start:at.End])
	at = m.Strips[1].Keys["path"]
	require.Equal(t, `[["40 mm", "220 mm"], ["120 mm", "220 mm"]]`, goodMachine[at.Start:at.End])
	at = m.Strips[1].Keys["path[1]"]
	require.Equal(t, `["120 mm", "220 mm"]`, goodMachine[at.Start:at.End])
	at = m.Panel.Keys["glass"]
	require.Equal(t, `{ scatter = "20 deg", lambertian = 0.15, transmittance = [0.84, 0.83, 0.82] }`, goodMachine[at.Start:at.End])
	at = m.Panel.Keys["glass.transmittance[1]"]
	require.Equal(t, `0.83`, goodMachine[at.Start:at.End])
}

// The keys of copper, and what they are where they are left out.
func TestCopperOfAMachine(t *testing.T) {
	m, list := ParseMachine("f.toml", []byte(goodMachine))
	require.Empty(t, list)
	require.Equal(t, unit.Celsius(40), m.Wiring.Temperature)
	require.Equal(t, unit.Resistance(0.01), m.Feeds[0].Contact)
	require.Equal(t, unit.Wire{Area: 0.75, Class: 5}, m.Feeds[0].Wire)
	require.Zero(t, m.Supply.Wire)
	text := strings.Replace(goodMachine, `fuse = "4 A"`, `fuse = "4 A"
connector = "6 A"

[[joint]]
from = ["left", 9]
to = ["top", 0]
wire = "AWG 18"
length = "60 mm"
conductors = "minus"

[wiring]
temperature = "-10 degC"
contact = "7 mohm"
`, 1)
	text = strings.Replace(text, `amps = "8.3 A"`, "amps = \"8.3 A\"\nresistance = \"20 mohm\"\nwire = \"2.5 mm2\"\nlength = \"300 mm\"", 1)
	m, list = ParseMachine("f.toml", []byte(text))
	require.Empty(t, list)
	require.Equal(t, unit.Resistance(0.007), m.Feeds[0].Contact)
	require.Equal(t, unit.Current(6_000_000), m.Feeds[0].Connector)
	j := m.Joints[0]
	require.Equal(t, Joint{Pos: j.Pos, Keys: j.Keys, From: Place{"left", 9}, To: Place{"top", 0}, Wire: unit.Wire{Gauge: 18, AWG: true}, Length: 60, Contact: 0.007, MinusOnly: true}, j)
	require.Equal(t, unit.Celsius(-10), m.Wiring.Temperature)
	require.Equal(t, unit.Resistance(0.02), m.Supply.Resistance)
	require.Equal(t, unit.Length(300), m.Supply.Length)
}

func TestDefaultsFollowOtherKeys(t *testing.T) {
	m, list := ParseMachine("f.toml", []byte(strings.Replace(goodMachine, `start = "4.8 A"`, "", 1)))
	require.Empty(t, list)
	require.Equal(t, m.Loads[0].Amps, m.Loads[0].Start)
	m, list = ParseMachine("f.toml", []byte(strings.Replace(goodMachine, "pixels = 5", "pixels = 5\nstretches = [{ from = 2, gain = 0.9 }]", 1)))
	require.Empty(t, list)
	require.Equal(t, []Stretch{{From: 2, To: 4, White: [3]float64{1, 1, 1}, Gain: 0.9}}, m.Strips[1].Stretches)
}

func TestDottedAndLongForms(t *testing.T) {
	text := strings.Replace(goodMachine, `room = { day = "8000 lx", night = "20 lx", viewer = "1.5 m" }`, "room.day = \"8000 lx\"\nroom.night = \"20 lx\"\nroom.viewer = \"1.5 m\"", 1)
	text = strings.Replace(text, `glass = { scatter = "20 deg", lambertian = 0.15, transmittance = [0.84, 0.83, 0.82] }`, "", 1)
	text = strings.Replace(text, "[[part]]", "[panel.glass]\nscatter = \"20 deg\"\nlambertian = 0.15\ntransmittance = [\n  0.84, # red\n  0.83,\n  0.82,\n]\n[[part]]", 1)
	m, list := ParseMachine("f.toml", []byte(text))
	require.Empty(t, list)
	good, _ := ParseMachine("f.toml", []byte(goodMachine))
	require.Equal(t, good.Panel.Glass, m.Panel.Glass)
	require.Equal(t, good.Panel.Room, m.Panel.Room)
	at := m.Panel.Keys["glass.transmittance"]
	require.Equal(t, "[\n  0.84, # red\n  0.83,\n  0.82,\n]", text[at.Start:at.End])
}

func TestMachineFaults(t *testing.T) {
	for _, w := range []wrong{
		{`amps = "8.3 A"`, `amps = «3»`, "unit.missing", `amps: 3 has no unit`, `write "3 A" or "300 mA"`},
		{`amps = "8.3 A"`, `amps = «"8,3 A"»`, "unit.number", `amps: 8,3 has a comma, numbers take a decimal point and no separators`, `write "8.3 A"`},
		{`amps = "8.3 A"`, `amps = «"8.3 V"»`, "unit.unknown", `amps: 8.3 V is a voltage, not a current`, `write a current such as "300 mA" (units: uA, mA, A)`},
		{`amps = "8.3 A"`, `amps = «"0 A"»`, "show.out_of_range", `amps: 0 A is not above 0 A`, `write a value such as "8.3 A"`},
		{`amps = "8.3 A"`, `amps = «["8.3 A"]»`, "show.wrong_type", `amps is a list, not a text with a unit`, `write "8.3 A"`},
		{"[supply]\nvolts = \"12 V\"\n", "[«supply»]\n", "show.missing_key", `[supply] has no volts`, `add volts = "12 V"`},
		{`pixels = 5`, `pixels = «5.0»`, "show.wrong_type", `pixels is a number, not a whole number`, `write pixels = 77`},
		{`pixels = 5`, `pixels = «0»`, "show.out_of_range", `pixels: 0 is outside 1 to 20000`, `write pixels = 77`},
		{`pixels = 5`, `pixels = «20001»`, "show.out_of_range", `pixels: 20001 is outside 1 to 20000`, `write pixels = 77`},
		{`law = "sum"`, `law = «"sun"»`, "show.unknown_word", `law: "sun" is none of sum, largest, ceiling`, `write "sum"`},
		{"pixels = 5", "pixels = 5\n«pixels» = 6", "show.duplicate_key", `"pixels" is given twice, first in line 34`, `keep one of them`},
		{`lambertian = 0.15`, `lambertian = «1.5»`, "show.out_of_range", `glass.lambertian: 1.5 is outside 0 to 1`, `write lambertian = 0.15`},
		{`transmittance = [0.84, 0.83, 0.82]`, `transmittance = [0.84, «1.2», 0.82]`, "show.out_of_range", `glass.transmittance[1]: 1.2 is outside 0.01 to 1`, `write transmittance = [0.84, 0.84, 0.82]`},
		{`transmittance = [0.84, 0.83, 0.82]`, `transmittance = «[0.84]»`, "show.wrong_count", `glass.transmittance has 1 values, not 3`, `write transmittance = [0.84, 0.84, 0.82]`},
		{`day = "8000 lx"`, `day = «"800 klx"»`, "show.out_of_range", `room.day: 800 klx is outside 0 lx to 150 klx`, `write a value such as "8000 lx"`},
		{`["622 nm", "400 mcd"]`, `[«"900 nm"», "400 mcd"]`, "show.out_of_range", `light.red[0]: 900 nm is outside 380 nm to 780 nm`, `write a value such as "622 nm"`},
		{`["622 nm", "400 mcd"]`, `«["622 nm"]»`, "show.wrong_count", `light.red has 1 values, not 2`, `write red = ["622 nm", "400 mcd"]`},
		{`order = "GRB"`, `order = «"GRG"»`, "machine.order", `order "GRG" is not R, G, B or R, G, B, W once each`, `write the letters in the order of the data line, such as "GRB" or "GRBW"`},
		{`spread = "8 %" }`, `spread = "8 %", white = «"16 mA"» }`, "machine.no_white", `current.white is given, but order "GRB" has no white die`, `remove it, or write the fourth letter in order`},
		{`spread = "8 %" }`, `spread = "8 %", ceiling = «"16 mA"» }`, "machine.no_ceiling", `current.ceiling is given, but law is not "ceiling"`, `remove it, or write law = "ceiling"`},
		{`nominal = "12 V", least = "10.5 V"`, `nominal = «"5 V"», least = "4 V"`, "machine.over_voltage", `part "p" is made for 5 V, the supply gives 12 V`, `use a supply of the part's voltage: more destroys it`},
		{`strips = ["left", "top"]`, "strips = [\"left\", \"top\"]\n[[line]]\nname = \"b\"\ndriver = \"5 V\"\nstrips = [«\"top\"»]", "machine.strip_on_two_lines", `strip "top" is on line "a" already`, `a strip has one data line: keep one of them`},
		{"part = \"p\"\npath = [[\"40 mm\", \"220 mm\"], [\"120 mm\", \"220 mm\"]]", "part = «\"q2q\"»\npath = [[\"40 mm\", \"220 mm\"], [\"120 mm\", \"220 mm\"]]", "machine.unknown_part", `there is no part "q2q"`, `write one of p`},
		{`path = [["40 mm", "220 mm"], ["120 mm", "220 mm"]]`, `path = «[["40 mm", "220 mm"]]»`, "layout.one_point", `the path of strip "top" is one point, its 5 LEDs need a line`, `write the centre of the first LED and that of the last`},
		{`path = [["40 mm", "220 mm"], ["120 mm", "220 mm"]]`, `path = «[["40 mm", "220 mm"], ["140 mm", "220 mm"]]»`, "layout.path_length",
			`the path of strip "top" is 100.0 mm long, 5 LEDs at 50 /m take 80.0 mm (half a pitch, 10.0 mm, may be off)`, `make the path 80.0 mm long, or write pixels = 6`},
		{`path = [["40 mm", "220 mm"], ["120 mm", "220 mm"]]`, `path = [["140 mm", "220 mm"], «["220 mm", "220 mm"]»]`, "layout.outside_panel",
			`point 2 of strip "top" has x = 220 mm, the panel reaches from 0 mm to 200 mm`, `x is to the right and y upwards from the lower left corner`},
		{`["40 mm", "220 mm"], `, `«["40 mm"]», `, "show.wrong_count", `path[0] has 1 values, not x and y`, `write path = [["70 mm", "60 mm"], ["70 mm", "1326 mm"]]`},
		{`pixels = 5`, "pixels = 5\nmissing = [«-1»]", "show.out_of_range", `missing[0]: -1 is outside 0 to 20000`, `write missing = [12]`},
		{`pixels = 5`, "pixels = 5\nmissing = [3, «3»]", "machine.pixel_twice", `missing: pixel 3 of strip "top" is listed as missing already`, `keep one of them`},
		{`pixels = 5`, "pixels = 6\nhidden = [3]\nmissing = [«3»]", "machine.pixel_twice", `missing: pixel 3 of strip "top" is listed as hidden already`, `keep one of them`},
		{`pixels = 5`, "pixels = 5\nmissing = [«9»]", "machine.no_such_pixel", `missing: strip "top" has pixels 0 to 4, not 9`, `count from 0 in data order`},
		{`pixels = 5`, "pixels = 5\nstretches = [{ from = 0, to = 2 }, «{» from = 2, to = 3 }]", "machine.pixel_twice", `stretches 1 and 2 of strip "top" overlap`, `end one before the other begins`},
		{`at = ["left", 0]`, `at = ["left", «10»]`, "machine.no_such_pixel", `the feed is at pixel 10, strip "left" has pixels 0 to 9`, `count from 0 in data order`},
		{`at = ["left", 0]`, `at = [«"lefd"», 0]`, "machine.unknown_strip", `there is no strip "lefd"`, `write "left"`},
		{`at = ["left", 0]`, `at = ["left", «"0"»]`, "show.wrong_type", `at[1] is a text, not a whole number`, `write at = ["left", 0]`},
		{`wire = "0.75 mm2"`, `wire = «"0.6 mm2"»`, "unit.range", `wire: 0.6 mm2 is not a size of IEC 60228 known here`, `write "0.5 mm2" or "0.75 mm2"`},
		{`wire = "0.75 mm2"`, `wire = «"AWG 44"»`, "unit.range", `wire: AWG 44 is not a gauge known here`, `write AWG 4 to AWG 30`},
		{`wire = "0.75 mm2"`, `wire = «0.75»`, "unit.missing", `wire: 0.75 has no unit`, `write "0.75 mm2" or "0.75 mm2"`},
		{`wire = "0.75 mm2"`, `wire = «true»`, "show.wrong_type", `wire is true or false, not a text with a unit`, `write "0.75 mm2"`},
		{`length = "900 mm"`, `length = «"0 mm"»`, "show.out_of_range", `length: 0 mm is outside 1 mm to 1000 m`, `write a value such as "900 mm"`},
		{`length = "900 mm"`, `length = «"-1 m"»`, "show.out_of_range", `length: -1 m is outside 1 mm to 1000 m`, `write a value such as "900 mm"`},
		{"[[feed]]\nat = [\"left\", 0]\nwire = \"0.75 mm2\"\nlength = \"900 mm\"\nfuse = \"4 A\"\n", "[[«feed»]]\nat = [\"left\", 0]\nwire = \"0.75 mm2\"\nlength = \"900 mm\"\n", "show.missing_key", `feed 1 has no fuse`, `add fuse = "4 A"`},
		{`fuse = "4 A"`, "fuse = \"4 A\"\n[[joint]]\nfrom = [\"left\", 9]\nto = [\"top\", «5»]\nwire = \"0.5 mm2\"\nlength = \"1 m\"", "machine.no_such_pixel", `the joint is at pixel 5, strip "top" has pixels 0 to 4`, `count from 0 in data order`},
		{`fuse = "4 A"`, "fuse = \"4 A\"\n[[joint]]\nfrom = [«\"lift\"», 9]\nto = [\"top\", 0]\nwire = \"0.5 mm2\"\nlength = \"1 m\"", "machine.unknown_strip", `there is no strip "lift"`, `write "left"`},
		{`fuse = "4 A"`, "fuse = \"4 A\"\n[[joint]]\nfrom = [\"left\", 9]\nto = «[\"left\", 9]»\nwire = \"0.5 mm2\"\nlength = \"1 m\"", "machine.joint_to_itself", `the joint leads from pixel 9 of strip "left" to the same place`, `name the other end`},
		{`fuse = "4 A"`, "fuse = \"4 A\"\n[[joint]]\nfrom = [\"left\", 9]\nto = [\"top\", 0]\nwire = \"0.5 mm2\"\nlength = \"1 m\"\nconductors = «\"plus\"»", "show.unknown_word", `conductors: "plus" is none of both, minus`, `write one of both, minus`},
		{`fuse = "4 A"`, "fuse = \"4 A\"\n[wiring]\ntemperature = «\"400 degC\"»", "unit.range", `temperature: 400 degC is outside -100 degC to 300 degC`, `write a temperature such as "40 degC"`},
		{`fuse = "4 A"`, "fuse = \"4 A\"\n[wiring]\ntemperature = «\"313 K\"»", "unit.unknown", `temperature: 313 K is a colour temperature, not a temperature`, `write a temperature such as "40 degC" (units: degC)`},
		{`rails = "0.16 ohm/m"`, "rails = \"0.16 ohm/m\"\nplus_rail = «\"0.16 ohm/m\"»", "machine.plus_rail", `the plus rail of 160 mohm/m leaves nothing of rails = 160 mohm/m for minus`, `rails is both rails together: add the two`},
		{`rails = "0.16 ohm/m"`, `rails = «"0 ohm/m"»`, "show.out_of_range", `rails: 0 ohm/m is outside 0.1 mohm/m to 1000 ohm/m`, `write a value such as "0.16 ohm/m"`},
		{"[supply]\nvolts = \"12 V\"\n", "[«supply»]\nvolts = \"12 V\"\nwire = \"2.5 mm2\"\n", "show.missing_key", `[supply] has no length`, `add length = "300 mm"`},
		{`start = "4.8 A"`, `start = «"2 A"»`, "machine.start_below_running", `load "carousel" starts with 2 A and runs with 2.4 A`, `write the current while it starts, its running current included`},
		{`amps = "8.3 A"`, "amps = \"8.3 A\"\nslew = { rise = «\"20 A\"» }", "unit.unknown", `slew.rise: 20 A is a current, not a slew rate`, `write a slew rate such as "20 A/s" (units: mA/s, A/s, A/ms)`},
		{`amps = "8.3 A"`, "amps = \"8.3 A\"\ntemperature = \"75 degC\"\nderate = [[\"50 degC\", \"100 %\"], «[\"50 degC\", \"60 %\"]»]", "machine.derate", `the curve goes from 100 % at 50 degC to 60 % at 50 degC`, `write the data sheet's points by rising temperature; the share falls`},
		{`amps = "8.3 A"`, "amps = \"8.3 A\"\nderate = «[[\"50 degC\", \"100 %\"]]»\ntemperature = \"30 degC\"", "show.wrong_count", `derate has 1 values, not 2 to 16`, `write derate = [["50 degC", "100 %"], ["70 degC", "60 %"]]`},
		{`amps = "8.3 A"`, "amps = \"8.3 A\"\ntemperature = «\"71 degC\"»\nderate = [[\"50 degC\", \"100 %\"], [\"70 degC\", \"60 %\"]]", "machine.derate", `the air of 71 degC is hotter than the curve's end at 70 degC`, `move the supply to cooler air, or take one that is made for the heat`},
		{`amps = "8.3 A"`, "amps = \"8.3 A\"\nslew = «{»}", "show.empty", `slew says neither rise nor fall`, `write slew = { rise = "20 A/s" }`},
		{`amps = "8.3 A"`, "amps = \"8.3 A\"\nslew = { rise = «\"-2 A/s\"» }", "unit.range", `slew.rise: -2 A/s is negative, a slew rate is not`, `write a slew rate such as "20 A/s" (units: mA/s, A/s, A/ms)`},
		{`amps = "8.3 A"`, "amps = \"8.3 A\"\ntemperature = «\"40 degC\"»", "machine.derate", `a temperature without derate changes nothing`, `add the data sheet's curve: derate = [["50 degC", "100 %"], ["70 degC", "60 %"]]`},
		{"[supply]\n", "[[«supply»]]\nvolts = \"12 V\"\namps = \"6 A\"\n[[supply]]\nname = \"b\"\n", "show.missing_key", `supply 1 has no name`, `add name = "b"`},
		{`pixels = 5`, "pixels = 5\nsupply = «\"b\"»", "machine.unknown_supply", `there is no supply "b"`, `there is none to choose from`},
		{`start = "4.8 A"`, "start = «\"9 A\"»", "machine.load_over_supply", `load "carousel" asks for 9 A (start), its supply gives 8.3 A`, `take a larger supply, or give the load one of its own: [[supply]]`},
		{"baud = 500000", "baud = 500000\nlines = «\"at once\"»", "show.unknown_word", `lines: "at once" is none of in turn, together`, `write one of in turn, together`},
		{"baud = 500000", "baud = 500000\nlines = «\"together\"»", "machine.together", `the machine has 1 data lines; 2 to 8 can go out together, from the pins of one port`, `write lines = "in turn", or share the strips between other lines`},
		{`machine_ram = "1500 B"`, `machine_ram = «"9 KiB"»`, "machine.no_room", `the machine's own variables of 9 KiB are more than the ram of 8 KiB`, `correct ram or machine_ram`},
		{`name = "carousel"`, `name = «"the carousel"»`, "show.bad_name", `name "the carousel" holds ' '`, `use letters a to z, digits, - and _`},
		{`baud = 500000`, `baud = «true»`, "show.wrong_type", `baud is true or false, not a whole number`, `write baud = 500000`},
	} {
		t.Run(w.new, func(t *testing.T) {
			text, where := plant(t, goodMachine, w)
			_, list := ParseMachine("f.toml", []byte(text))
			requireFault(t, list, where, w)
		})
	}
}

// Several supplies: the first is what hangs on no other, and each part is held
// against the volts of the supply it hangs on.
func TestSupplies(t *testing.T) {
	const two = "[[supply]]\nname = \"light\"\nvolts = \"12 V\"\namps = \"5 A\"\nrail_switch = true\nslew = { rise = \"20 A/s\", fall = \"0.04 A/ms\" }\n" +
		"temperature = \"55 degC\"\nderate = [[\"50 degC\", \"100 %\"], [\"70 degC\", \"60 %\"]]\n\n[[supply]]\nname = \"motors\"\n"
	text := strings.Replace(goodMachine, "[supply]\n", two, 1)
	text = strings.Replace(text, "start = \"4.8 A\"", "start = \"4.8 A\"\nsupply = \"motors\"", 1)
	m, list := ParseMachine("f.toml", []byte(text))
	require.NoError(t, list.Err())
	require.Equal(t, "light", m.Supply.Name)
	require.EqualValues(t, 5_000_000, m.Supply.Amps)
	require.True(t, m.Supply.RailSwitch)
	require.EqualValues(t, 20_000_000, m.Supply.Rise)
	require.EqualValues(t, 40_000_000, m.Supply.Fall)
	require.Equal(t, []Derate{{50, 1_000_000}, {70, 600_000}}, m.Supply.Derate)
	require.Len(t, m.Further, 1)
	require.EqualValues(t, 8_300_000, m.Supplies()[1].Amps)
	require.Equal(t, 1, m.SupplyIndex(m.Loads[0].Supply))
	require.Equal(t, 0, m.SupplyIndex(m.Strips[0].Supply))

	// 24 V beside 12 V strips is no fault, until a strip hangs on it.
	text = strings.Replace(text, "name = \"motors\"\nvolts = \"12 V\"", "name = \"motors\"\nvolts = \"24 V\"", 1)
	_, list = ParseMachine("f.toml", []byte(text))
	require.NoError(t, list.Err())
	_, list = ParseMachine("f.toml", []byte(strings.Replace(text, "pixels = 5", "pixels = 5\nsupply = \"motors\"", 1)))
	require.ErrorContains(t, list.Err(), "made for 12 V, the supply gives 24 V")

	// A joint may not lead one supply's plus to another's.
	text = strings.Replace(goodMachine, "[supply]\n", "[[supply]]\nname = \"a\"\nvolts = \"12 V\"\namps = \"9 A\"\n\n[[supply]]\nname = \"b\"\n", 1)
	text = strings.Replace(text, "pixels = 5", "pixels = 5\nsupply = \"b\"", 1)
	joint := "\n[[joint]]\nfrom = [\"left\", 9]\nto = [\"top\", 0]\nwire = \"0.5 mm2\"\nlength = \"1 m\"\n"
	_, list = ParseMachine("f.toml", []byte(text+joint))
	require.ErrorContains(t, list.Err(), `leads the plus of strip "left" to strip "top", which hangs on another supply`)
	_, list = ParseMachine("f.toml", []byte(text+joint+"conductors = \"minus\"\n"))
	require.NoError(t, list.Err())
}

// One fault may have several findings: each is told once, none hides another.
func TestMachineFaultsWithCompany(t *testing.T) {
	for _, c := range []struct {
		old, new string
		want     []string
	}{
		{`depth = "40 mm"`, `dept = "40 mm"`, []string{
			`f.toml:1:2 show.missing_key: [panel] has no depth; add depth = "48 mm"`,
			`f.toml:3:1 show.unknown_key: unknown key "dept" in [panel]; write depth`}},
		{"name = \"top\"\n", "name = \"left\"\n", []string{
			`f.toml:22:19 machine.unknown_strip: there is no strip "top"; write one of left`,
			`f.toml:31:8 show.duplicate_name: a second strip is named "left", the first is in line 25; give it a name of its own`}},
		{`strips = ["left", "top"]`, `strips = ["left", "topp"]`, []string{
			`f.toml:22:19 machine.unknown_strip: there is no strip "topp"; write "top"`,
			`f.toml:31:8 machine.strip_on_no_line: strip "top" is on no data line; add "top" to strips of a [[line]]`}},
		{"[supply]", "[panel]\nx = 1\n[supply]", []string{
			`f.toml:36:2 show.duplicate_key: "panel" is given twice, first in line 1; keep one of them`}},
		{`, spread = "8 %"`, ``, []string{
			`f.toml:13:11 show.missing_key: current of part "p" has no current.spread; add spread = "8 %"`}},
		{`least = "10.5 V"`, `least = "12.5 V"`, []string{
			`f.toml:14:37 machine.least_over_nominal: least 12.5 V is more than nominal 12 V; exchange them`,
			`f.toml:14:37 machine.under_voltage: part "p" needs 12.5 V, the supply gives 12 V; use a supply of the part's voltage`}},
		{`order = "GRB"`, `order = "GRBW"`, []string{
			`f.toml:13:11 show.missing_key: current of part "p" has no current.white; add white = "16 mA"`,
			`f.toml:15:9 show.missing_key: light of part "p" has no light.white; add white = ["6500 K", "1300 mcd"]`}},
		{`law = "sum"`, `law = "ceiling"`, []string{
			`f.toml:13:11 show.missing_key: current of part "p" has no current.ceiling; add ceiling = "10 mA"`}},
		{"law = \"sum\"\ncurrent = { idle = \"1 mA\"", "law = \"ceiling\"\ncurrent = { ceiling = \"10 mA\", idle = \"11 mA\"", []string{
			`f.toml:13:39 machine.idle_over_ceiling: idle 11 mA is more than the ceiling of 10 mA for a pixel; measure both again: a dark pixel cannot draw more than a bright one`}},
		{"\nstart = \"4.8 A\"\n", "\nstall = \"2 A\"\n", []string{
			`f.toml:46:3 show.missing_key: load "carousel" has no cut_off; add cut_off = "3 s"`,
			`f.toml:49:9 machine.stall_below_running: load "carousel" stalls with 2 A and runs with 2.4 A; write the current of the jammed load`}},
		{`pixels = 5`, "pixels = 5\nhidden = [5]", []string{
			`f.toml:35:11 machine.no_such_pixel: hidden: strip "top" has pixels 0 to 4, not 5; count from 0 in data order`}},
		{`baud = 500000`, `baud = 500k`, []string{
			`f.toml:62:11 show.syntax: not TOML: strings must be quoted; put texts in quotes, such as "48 mm"`}},
		{`pixels = 5`, "pixels = 05", []string{
			`f.toml:34:10 show.syntax: not TOML: integers cannot have leading zeroes; correct this line; the rest of its table was not read`}},
	} {
		t.Run(c.new, func(t *testing.T) {
			require.Equal(t, 1, strings.Count(goodMachine, c.old))
			_, list := ParseMachine("f.toml", []byte(strings.Replace(goodMachine, c.old, c.new, 1)))
			require.Equal(t, c.want, lines(list))
		})
	}
}

func lines(list finding.List) []string {
	var out []string
	for _, f := range list {
		out = append(out, fmt.Sprintf("%s %s: %s; %s", f.Where, f.Code, f.Message, f.Fix))
	}
	return out
}

// A syntax error hides the rest of its table only.
func TestReadingGoesOnAfterASyntaxError(t *testing.T) {
	text := strings.Replace(goodMachine, `depth = "40 mm"`, `depth "40 mm"`, 1)
	text = strings.Replace(text, `amps = "8.3 A"`, `amps = "8.3 V"`, 1)
	text = strings.Replace(text, `wire = "0.75 mm2"`, `wire = "0.75 mm2`, 1)
	text = strings.Replace(text, `ram = "8 KiB"`, `rams = "8 KiB"`, 1)
	_, list := ParseMachine("f.toml", []byte(text))
	require.Equal(t, []string{
		`f.toml:3:7 show.syntax: not TOML: expected '=' after key; write key = "value"`,
		`f.toml:38:8 unit.unknown: amps: 8.3 V is a voltage, not a current; write a current such as "300 mA" (units: uA, mA, A)`,
		`f.toml:42:17 show.syntax: not TOML: basic strings cannot have new lines; close the text with a quotation mark on the same line`,
		`f.toml:55:2 show.missing_key: [controller] has no ram; add ram = "8 KiB"`,
		`f.toml:58:1 show.unknown_key: unknown key "rams" in [controller]; write ram`,
	}, lines(list))
}

// big is a machine of 20,000 pixels on 21 strips.
func big() string {
	var b strings.Builder
	head, tail, _ := strings.Cut(goodMachine, "[[line]]")
	_, tail, _ = strings.Cut(tail, "[supply]")
	b.WriteString(strings.Replace(head, `["200 mm", "300 mm"]`, `["21 m", "1 m"]`, 1))
	b.WriteString("[[line]]\nname = \"a\"\ndriver = \"5 V\"\nstrips = [")
	for i := range 20 {
		fmt.Fprintf(&b, "%q, ", fmt.Sprintf("s%d", i))
	}
	b.WriteString("\"left\"]\n")
	strip := func(name string, pixels, y int) {
		fmt.Fprintf(&b, "[[strip]]\nname = %q\npart = \"p\"\npath = [[\"10 mm\", \"%d mm\"], [\"%d mm\", \"%d mm\"]]\npixels = %d\n", name, y, 10+20*(pixels-1), y, pixels)
	}
	for i := range 19 {
		strip(fmt.Sprintf("s%d", i), 1000, 10*i)
	}
	strip("s19", 999, 200)
	strip("left", 1, 220)
	b.WriteString("[supply]" + tail)
	return b.String()
}

// A big machine is read in well under the second that a person waits for.
func TestTwentyThousandPixels(t *testing.T) {
	text := big()
	start := time.Now()
	m, list := ParseMachine("f.toml", []byte(text))
	require.Less(t, time.Since(start), time.Second)
	require.Empty(t, list)
	require.Len(t, m.Strips, 21)
	_, list = ParseMachine("f.toml", []byte(strings.Replace(text, "pixels = 999", "pixels = 1000", 1)))
	require.Equal(t, []string{
		`f.toml:121:8 layout.path_length: the path of strip "s19" is 19960.0 mm long, 1000 LEDs at 50 /m take 19980.0 mm (half a pitch, 10.0 mm, may be off); make the path 19980.0 mm long, or write pixels = 999`,
		`f.toml:127:10 machine.too_many_pixels: with strip "left" the machine has 20001 pixels, the most is 20000; give the rest to a second controller and a second machine file`}, lines(list))
}

// A long list is read quickly too.
func TestEveryPixelListed(t *testing.T) {
	var list []string
	for i := range 19999 {
		list = append(list, fmt.Sprint(i))
	}
	text := strings.Replace(goodMachine, "pixels = 5", "pixels = 20000\nmissing = ["+strings.Join(list, ", ")+"]", 1)
	start := time.Now()
	m, _ := ParseMachine("f.toml", []byte(text))
	require.Less(t, time.Since(start), time.Second)
	require.Len(t, m.Strips[1].Missing, 19999)
}

func BenchmarkParseTwentyThousandPixels(b *testing.B) {
	text := []byte(big())
	for b.Loop() {
		if _, list := ParseMachine("f.toml", text); len(list) > 0 {
			b.Fatal(list)
		}
	}
}
