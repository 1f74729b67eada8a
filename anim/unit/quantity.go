package unit

import "strings"

// symbol is one unit of a quantity: 1 of it is mul * 10^exp base units.
type symbol struct {
	text  string
	mul   int64 // 1, or 60 and 3600 for minutes and hours, 1024 for KiB
	exp   int   // power of ten
	print bool  // String may choose it
	whole bool  // String chooses it for whole numbers only
}

// quantity describes one type: its units from small to large and its range in
// base units. The table below is the one place where units are defined.
type quantity struct {
	name     string // with its article, as it stands in a message
	typ      string // pflag's word for the value in a usage line
	units    []symbol
	plain    string // the unit of "0", and of the correction for a bare number
	example  string
	min, max float64 // in base units; all are whole numbers below 2^53, so exact
	span     string  // the range as it stands in a message
}

func u(text string, exp int) symbol     { return symbol{text: text, mul: 1, exp: exp, print: true} }
func alias(text string, exp int) symbol { return symbol{text: text, mul: 1, exp: exp} }

var (
	lengths = quantity{"a length", "length", []symbol{alias("um", -3), alias("µm", -3), alias("μm", -3), u("mm", 0), alias("cm", 1), u("m", 3)},
		"mm", "48 mm", -1e6, 1e6, "-1000 m to 1000 m"}
	areas = quantity{"an area", "area", []symbol{u("mm2", 0), alias("mm²", 0)},
		"mm2", "0.75 mm2", 0, 1000, "0 to 1000 mm2"}
	currents = quantity{"a current", "current", []symbol{u("uA", 0), alias("µA", 0), alias("μA", 0), u("mA", 3), u("A", 6)},
		"A", "300 mA", 0, 1e10, "0 to 10000 A"}
	times = quantity{"a time", "time", []symbol{u("ns", 0), u("us", 3), alias("µs", 3), alias("μs", 3), u("ms", 6), u("s", 9),
		{"min", 60, 9, true, true}, {"h", 3600, 9, true, true}},
		"s", "400 ms", 0, 3.6e15, "0 to 1000 h"}
	voltages = quantity{"a voltage", "voltage", []symbol{alias("uV", 0), alias("µV", 0), alias("μV", 0), u("mV", 3), u("V", 6)},
		"V", "10.5 V", 0, 1e9, "0 to 1000 V"}
	shares = quantity{"a share", "share", []symbol{u("%", 4)},
		"%", "80 %", 0, 1e7, "0 to 1000 %"}
	angles = quantity{"an angle", "angle", []symbol{u("deg", 0), alias("°", 0)},
		"deg", "20 deg", 0, 360, "0 to 360 deg"}
	pitches = quantity{"a density", "density", []symbol{u("/m", 0)},
		"/m", "60 /m", 0, 10000, "0 to 10000 /m"}
	wavelengths = quantity{"a wavelength", "wavelength", []symbol{u("nm", 0), alias("um", 3), alias("µm", 3), alias("μm", 3)},
		"nm", "622 nm", 0, 1e6, "0 to 1000000 nm"}
	intensities = quantity{"a luminous intensity", "intensity", []symbol{u("mcd", 0), u("cd", 3)},
		"mcd", "0.4 cd", 0, 1e9, "0 to 1000000 cd"}
	temperatures = quantity{"a colour temperature", "temperature", []symbol{u("K", 0)},
		"K", "6500 K", 0, 1e6, "0 to 1000000 K"}
	resistances = quantity{"a resistance", "resistance", []symbol{u("mohm", -3), alias("mΩ", -3), u("ohm", 0), alias("Ω", 0)},
		"ohm", "20 mohm", 0, 1e6, "0 to 1000000 ohm"}
	lineResistances = quantity{"a resistance per length", "resistance per length", []symbol{u("mohm/m", -3), alias("mΩ/m", -3), u("ohm/m", 0), alias("Ω/m", 0)},
		"ohm/m", "160 mohm/m", 0, 1e6, "0 to 1000000 ohm/m"}
	frequencies = quantity{"a frequency", "frequency", []symbol{u("Hz", 0), u("kHz", 3), u("MHz", 6), u("GHz", 9)},
		"Hz", "2 kHz", 0, 1e12, "0 to 1000 GHz"}
	sizes = quantity{"a size", "size", []symbol{u("B", 0), {"KiB", 1024, 0, true, true}, {"MiB", 1024 * 1024, 0, true, true},
		{"kB", 1, 3, false, false}, {"MB", 1, 6, false, false}},
		"B", "248 KiB", 0, 1 << 40, "0 to 1048576 MiB"}
	celsiuses = quantity{"a temperature", "degC", []symbol{u("degC", 0), alias("°C", 0)},
		"degC", "40 degC", -100, 300, "-100 degC to 300 degC"}
	illuminances = quantity{"an illuminance", "illuminance", []symbol{u("lx", 0), u("klx", 3)},
		"lx", "8 klx", 0, 1e6, "0 to 1000000 lx"}
	slewRates = quantity{"a slew rate", "slew rate", []symbol{u("mA/s", 3), u("A/s", 6), alias("A/ms", 9)},
		"A/s", "20 A/s", 0, 1e15, "0 to 1000000000 A/s"}
)

// all lists every quantity, to say what a wrong unit would have been.
var all = []*quantity{&lengths, &areas, &currents, &times, &voltages, &shares, &angles, &pitches, &wavelengths,
	&intensities, &temperatures, &resistances, &lineResistances, &frequencies, &sizes, &illuminances, &celsiuses, &slewRates}

// find gives the unit with exactly this symbol.
func (q *quantity) find(text string) (symbol, bool) {
	for _, s := range q.units {
		if s.text == text {
			return s, true
		}
	}
	return symbol{}, false
}

// accepted lists the units that need plain letters only, for a message.
func (q *quantity) accepted() string {
	out := ""
	for _, s := range q.units {
		if strings.ContainsFunc(s.text, func(r rune) bool { return r > 0x7f }) {
			continue
		}
		if out != "" {
			out += ", "
		}
		out += s.text
	}
	return out
}
