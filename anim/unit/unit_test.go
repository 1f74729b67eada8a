package unit

import (
	"encoding"
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	gonum "gonum.org/v1/gonum/unit"
	"pgregory.net/rapid"
)

// value is what pflag wants of a flag; the contract is spelled out here so
// that the package does not import it.
type value interface {
	String() string
	Set(string) error
	Type() string
}

var (
	_ = []value{new(Length), new(Area), new(Current), new(Time), new(Voltage), new(Share), new(Angle), new(Pitch), new(Wavelength),
		new(Intensity), new(Temperature), new(Resistance), new(LineResistance), new(Frequency), new(Size), new(Illuminance), new(SlewRate), new(Celsius)}
	_ encoding.TextUnmarshaler = new(Length)
	_ encoding.TextMarshaler   = Length(0)
)

// The expected numbers follow from the SI prefixes and IEC 80000-13 by hand.
func TestReadAndPrint(t *testing.T) {
	for _, c := range []struct {
		text  string
		fresh value
		base  any
		print string
	}{
		{"48 mm", new(Length), Length(48), "48 mm"},
		{"0.9 m", new(Length), Length(900), "900 mm"},
		{"1.2cm", new(Length), Length(12), "12 mm"},
		{"-3 mm", new(Length), Length(-3), "-3 mm"},
		{"1420 mm", new(Length), Length(1420), "1.42 m"},
		{"0.75 mm2", new(Area), Area(0.75), "0.75 mm2"},
		{"12 mA", new(Current), Current(12000), "12 mA"},
		{"8.3 A", new(Current), Current(8300000), "8.3 A"},
		{"20 A/s", new(SlewRate), SlewRate(20e6), "20 A/s"},
		{"500 mA/s", new(SlewRate), SlewRate(500e3), "500 mA/s"},
		{"0.02 A/ms", new(SlewRate), SlewRate(20e6), "20 A/s"},
		{"-20 °C", new(Celsius), Celsius(-20), "-20 degC"},
		{"600 uA", new(Current), Current(600), "600 uA"},
		{"600 µA", new(Current), Current(600), "600 uA"},
		{"+0.3A", new(Current), Current(300000), "300 mA"},
		{"12 s", new(Time), Time(12e9), "12 s"},
		{"1.25 us", new(Time), Time(1250), "1.25 us"},
		{"280us", new(Time), Time(280000), "280 us"},
		{"2 min", new(Time), Time(120e9), "2 min"},
		{"1.5 min", new(Time), Time(90e9), "90 s"},
		{"3 h", new(Time), Time(3 * 3600e9), "3 h"},
		{"22 h", new(Time), Time(22 * 3600e9), "22 h"},
		{"0 s", new(Time), Time(0), "0 s"},
		{"10.5 V", new(Voltage), Voltage(10500000), "10.5 V"},
		{"80 %", new(Share), Share(800000), "80 %"},
		{"0.0001%", new(Share), Share(1), "0.0001 %"},
		{"20 deg", new(Angle), Angle(20), "20 deg"},
		{"60 /m", new(Pitch), Pitch(60), "60 /m"},
		{"622 nm", new(Wavelength), Wavelength(622), "622 nm"},
		{"0.4 cd", new(Intensity), Intensity(400), "400 mcd"},
		{"6500 K", new(Temperature), Temperature(6500), "6500 K"},
		{"20 mohm", new(Resistance), Resistance(0.02), "20 mohm"},
		{"0.16 ohm/m", new(LineResistance), LineResistance(0.16), "160 mohm/m"},
		{"16 MHz", new(Frequency), Frequency(16e6), "16 MHz"},
		{"2000 Hz", new(Frequency), Frequency(2000), "2 kHz"},
		{"248 KiB", new(Size), Size(253952), "248 KiB"},
		{"0.5 KiB", new(Size), Size(512), "512 B"},
		{"1500 B", new(Size), Size(1500), "1500 B"},
		{"8 klx", new(Illuminance), Illuminance(8000), "8 klx"},
	} {
		require.NoError(t, c.fresh.Set(c.text), c.text)
		require.Equal(t, c.base, deref(c.fresh), c.text)
		require.Equal(t, c.print, c.fresh.String(), c.text)
	}
}

func deref(v value) any {
	switch x := v.(type) {
	case *Length:
		return *x
	case *Area:
		return *x
	case *Current:
		return *x
	case *Time:
		return *x
	case *Voltage:
		return *x
	case *Share:
		return *x
	case *Angle:
		return *x
	case *Pitch:
		return *x
	case *Wavelength:
		return *x
	case *Intensity:
		return *x
	case *Temperature:
		return *x
	case *Resistance:
		return *x
	case *LineResistance:
		return *x
	case *Frequency:
		return *x
	case *Size:
		return *x
	case *Illuminance:
		return *x
	case *SlewRate:
		return *x
	case *Celsius:
		return *x
	}
	return nil
}

func TestRefusals(t *testing.T) {
	likeCurrent := `write a current such as "300 mA" (units: uA, mA, A)`
	for _, c := range []struct{ text, code, want string }{
		{"3", "unit.missing", `3 has no unit: write "3 A" or "300 mA"`},
		{"-3", "unit.missing", `-3 has no unit: write "3 A" or "300 mA"`},
		{"1,5 A", "unit.number", `1,5 has a comma, numbers take a decimal point and no separators: write "1.5 A"`},
		{"1.000,5 A", "unit.number", `1.000,5 has a comma, numbers take a decimal point and no separators: write "1000.5 A"`},
		{"12 V", "unit.unknown", `12 V is a voltage, not a current: ` + likeCurrent},
		{"12 ma", "unit.unknown", `ma is not a unit, mA is: ` + likeCurrent},
		{"12 parsec", "unit.unknown", `"parsec" is not a unit of current: ` + likeCurrent},
		{"1e3 A", "unit.unknown", `1e3 A has an exponent, which is not accepted: ` + likeCurrent},
		{"NaN A", "unit.number", `"NaN A" does not start with a number: ` + likeCurrent},
		{"inf A", "unit.number", `"inf A" does not start with a number: ` + likeCurrent},
		{"", "unit.number", `an empty text is not a current: ` + likeCurrent},
		{".5 A", "unit.number", `.5 is not a decimal number: ` + likeCurrent},
		{"5. A", "unit.number", `5. is not a decimal number: ` + likeCurrent},
		{"1.2.3 A", "unit.number", `1.2.3 is not a decimal number: ` + likeCurrent},
		{"1_000 A", "unit.number", `1_000 is not a decimal number: ` + likeCurrent},
		{"-3 A", "unit.range", `-3 A is negative, a current is not: ` + likeCurrent},
		{"10001 A", "unit.range", `10001 A is outside 0 to 10000 A: write a current such as "300 mA"`},
		{"0.0000001 A", "unit.digits", `0.0000001 A has more digits than a current holds, the smallest step is 1 uA: leave the last digits out`},
		{strings.Repeat("9", 399) + " A", "unit.number", `a text of 401 bytes is not a current (at most 400): ` + likeCurrent},
	} {
		kept := Current(7)
		err := kept.Set(c.text)
		var p *ParseError
		require.True(t, errors.As(err, &p), c.text)
		require.Equal(t, c.code, p.Code, c.text)
		require.Equal(t, c.want, err.Error())
		require.Equal(t, Current(7), kept, "a refused text changes nothing")
	}
	_, err := ParseTime("1.5 ns")
	require.ErrorContains(t, err, "the smallest step is 1 ns")
	_, err = ParseLength("2000 m")
	require.ErrorContains(t, err, "2000 m is outside -1000 m to 1000 m")
	_, err = ParsePitch("60 mm")
	require.ErrorContains(t, err, "60 mm is a length, not a density")
	_, err = ParseLineResistance("0.16 ohm")
	require.ErrorContains(t, err, "0.16 ohm is a resistance, not a resistance per length")
}

func TestEdgesOfTheRange(t *testing.T) {
	c, err := ParseCurrent("10000 A")
	require.NoError(t, err)
	require.Equal(t, Current(1e10), c)
	_, err = ParseCurrent("10000.000001 A")
	require.Error(t, err)
	h, err := ParseTime("1000 h")
	require.NoError(t, err)
	require.Equal(t, Time(3.6e15), h)
	_, err = ParseTime("999999999999999999999999 h")
	require.Error(t, err)
	require.Equal(t, "9223372036854775807 ns", strings.ReplaceAll(movePoint("9223372036854775807", 0), ".", "")+" ns")
	require.Equal(t, "NaN mm", Length(math.NaN()).String())
}

func TestExampleOfEachUnitParses(t *testing.T) {
	for _, q := range all {
		_, _, err := q.read(q.example)
		require.NoError(t, err, q.name)
		_, ok := q.find(q.plain)
		require.True(t, ok, q.name)
	}
}

// Parse(String(x)) == x for every value that a type holds.
func TestRoundTrip(t *testing.T) {
	floats := map[string]struct {
		q     *quantity
		print func(float64) string
		parse func(string) (float64, error)
	}{
		"length":     {&lengths, func(x float64) string { return Length(x).String() }, func(s string) (float64, error) { v, err := ParseLength(s); return float64(v), err }},
		"resistance": {&resistances, func(x float64) string { return Resistance(x).String() }, func(s string) (float64, error) { v, err := ParseResistance(s); return float64(v), err }},
		"frequency":  {&frequencies, func(x float64) string { return Frequency(x).String() }, func(s string) (float64, error) { v, err := ParseFrequency(s); return float64(v), err }},
	}
	for name, f := range floats {
		t.Run(name, rapid.MakeCheck(func(t *rapid.T) {
			x := rapid.Float64Range(f.q.min, f.q.max).Draw(t, "x")
			got, err := f.parse(f.print(x))
			require.NoError(t, err)
			require.Equal(t, x, got+0, f.print(x))
		}))
	}
	ints := map[string]struct {
		q     *quantity
		print func(int64) string
		parse func(string) (int64, error)
	}{
		"current": {&currents, func(x int64) string { return Current(x).String() }, func(s string) (int64, error) { v, err := ParseCurrent(s); return int64(v), err }},
		"time":    {&times, func(x int64) string { return Time(x).String() }, func(s string) (int64, error) { v, err := ParseTime(s); return int64(v), err }},
		"share":   {&shares, func(x int64) string { return Share(x).String() }, func(s string) (int64, error) { v, err := ParseShare(s); return int64(v), err }},
		"size":    {&sizes, func(x int64) string { return Size(x).String() }, func(s string) (int64, error) { v, err := ParseSize(s); return int64(v), err }},
	}
	for name, f := range ints {
		t.Run(name, rapid.MakeCheck(func(t *rapid.T) {
			x := rapid.Int64Range(int64(f.q.min), int64(f.q.max)).Draw(t, "x")
			if rapid.Bool().Draw(t, "round") {
				x = x / 1000000 * 1000000
			}
			got, err := f.parse(f.print(x))
			require.NoError(t, err)
			require.Equal(t, x, got, f.print(x))
		}))
	}
}

// The powers of ten are compared with gonum's table of SI prefixes.
func TestPrefixes(t *testing.T) {
	for _, c := range []struct {
		text string
		got  float64 // in the unit without its prefix
		want float64
	}{
		{"1 mm", must(ParseLength("1 mm")) / must(ParseLength("1 m")), gonum.Milli},
		{"1 cm", must(ParseLength("1 cm")) / must(ParseLength("1 m")), gonum.Centi},
		{"1 um", must(ParseLength("1 um")) / must(ParseLength("1 m")), gonum.Micro},
		{"1 uA", must(ParseCurrent("1 uA")) / must(ParseCurrent("1 A")), gonum.Micro},
		{"1 mA", must(ParseCurrent("1 mA")) / must(ParseCurrent("1 A")), gonum.Milli},
		{"1 mV", must(ParseVoltage("1 mV")) / must(ParseVoltage("1 V")), gonum.Milli},
		{"1 ns", must(ParseTime("1 ns")) / must(ParseTime("1 s")), gonum.Nano},
		{"1 us", must(ParseTime("1 us")) / must(ParseTime("1 s")), gonum.Micro},
		{"1 ms", must(ParseTime("1 ms")) / must(ParseTime("1 s")), gonum.Milli},
		{"1 mcd", must(ParseIntensity("1 mcd")) / must(ParseIntensity("1 cd")), gonum.Milli},
		{"1 mohm", must(ParseResistance("1 mohm")) / must(ParseResistance("1 ohm")), gonum.Milli},
		{"1 kHz", must(ParseFrequency("1 kHz")) / must(ParseFrequency("1 Hz")), gonum.Kilo},
		{"1 MHz", must(ParseFrequency("1 MHz")) / must(ParseFrequency("1 Hz")), gonum.Mega},
		{"1 GHz", must(ParseFrequency("1 GHz")) / must(ParseFrequency("1 Hz")), gonum.Giga},
		{"1 klx", must(ParseIlluminance("1 klx")) / must(ParseIlluminance("1 lx")), gonum.Kilo},
	} {
		require.InDelta(t, c.want, c.got, c.want*1e-12, c.text)
	}
}

func must[T ~int64 | ~float64](x T, err error) float64 {
	if err != nil {
		panic(err)
	}
	return float64(x)
}

func TestStep(t *testing.T) {
	require.InDelta(t, 16.6666666667, float64(Pitch(60).Step()), 1e-9)
	require.Equal(t, Length(0), Pitch(0).Step())
	require.Equal(t, 0.4, Time(4e8).Seconds())
}

// No text makes a parser panic, and whatever one accepts it prints and reads
// back unchanged.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"48 mm", "8.3 A", "1.25 us", "3", "1,5 A", "-3 mm", "NaN A", "1e3 A", "60 /m", "80 %", "12 µs", "0.0000000000001 s", "248 KiB", "9999999999999999999 B"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if x, err := ParseLength(text); err == nil {
			y, err := ParseLength(x.String())
			require.NoError(t, err)
			require.Equal(t, x, y)
		}
		if x, err := ParseTime(text); err == nil {
			y, err := ParseTime(x.String())
			require.NoError(t, err)
			require.Equal(t, x, y)
		}
		if x, err := ParseSize(text); err == nil {
			y, err := ParseSize(x.String())
			require.NoError(t, err)
			require.Equal(t, x, y)
		}
		if x, err := ParseLineResistance(text); err == nil {
			y, err := ParseLineResistance(x.String())
			require.NoError(t, err)
			require.Equal(t, x, y)
		}
	})
}
