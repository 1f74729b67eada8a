package unit

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestWires(t *testing.T) {
	for _, c := range []struct {
		text, print string
		want        Wire
	}{
		{"0.75 mm2", "0.75 mm2", Wire{Area: 0.75, Class: 5}},
		{"0.75mm²", "0.75 mm2", Wire{Area: 0.75, Class: 5}},
		{"1.5 mm2 class 2", "1.5 mm2 class 2", Wire{Area: 1.5, Class: 2}},
		{"class 5 1 mm2 tinned", "1 mm2 tinned", Wire{Area: 1, Class: 5, Tinned: true}},
		{"AWG 18", "AWG 18", Wire{Gauge: 18, AWG: true}},
		{"18 AWG", "AWG 18", Wire{Gauge: 18, AWG: true}},
		{"awg18", "AWG 18", Wire{Gauge: 18, AWG: true}},
	} {
		var w Wire
		require.NoError(t, w.Set(c.text), c.text)
		require.Equal(t, c.want, w)
		require.Equal(t, c.print, w.String())
		again, err := ParseWire(w.String())
		require.NoError(t, err)
		require.Equal(t, w, again)
	}
}

func TestNotWires(t *testing.T) {
	for _, c := range []struct{ text, code, want string }{
		{"", "unit.number", "a text of 0 bytes is not a wire"},
		{"0.75", "unit.missing", `0.75 has no unit: write "0.75 mm2"`},
		{"thick", "unit.number", `"thick" does not start with a number`},
		{"18 mm", "unit.unknown", "18 mm is a length, not an area"},
		{"0.6 mm2", "unit.range", `0.6 mm2 is not a size of IEC 60228 known here: write "0.5 mm2" or "0.75 mm2"`},
		{"0.1 mm2", "unit.range", `write "0.22 mm2" or more`},
		{"25 mm2", "unit.range", `write "16 mm2" or less`},
		{"0.34 mm2 class 2", "unit.range", "below 0.5 mm2 only plain flexible wire is listed, not 0.34 mm2 class 2"},
		{"1 mm2 class 6", "unit.range", "class 6 is not a class of IEC 60228 known here"},
		{"1 mm2 class", "unit.number", "names no class"},
		{"1 mm2 class 2 tinned", "unit.range", "tinned wire is listed in class 5 only"},
		{"AWG 3", "unit.range", "AWG 3 is not a gauge known here: write AWG 4 to AWG 30"},
		{"AWG", "unit.number", `"AWG" is not a wire gauge`},
		{"AWG 18.5", "unit.number", `is not a wire gauge`},
		{strings.Repeat("1", 500), "unit.number", "a text of 500 bytes is not a wire"},
	} {
		kept := Wire{Area: 1, Class: 5}
		err := kept.Set(c.text)
		var p *ParseError
		require.True(t, errors.As(err, &p), c.text)
		require.Equal(t, c.code, p.Code, c.text)
		require.ErrorContains(t, err, c.want)
		require.Equal(t, Wire{Area: 1, Class: 5}, kept, "a refused text changes nothing")
	}
}

func TestCelsius(t *testing.T) {
	for text, want := range map[string]Celsius{"40 degC": 40, "-10°C": -10, "22.5 degC": 22.5} {
		v, err := ParseCelsius(text)
		require.NoError(t, err)
		require.Equal(t, want, v)
		again, err := ParseCelsius(v.String())
		require.NoError(t, err)
		require.Equal(t, v, again)
	}
	_, err := ParseCelsius("40 C")
	require.ErrorContains(t, err, `"C" is not a unit of temperature`)
	_, err = ParseCelsius("400 degC")
	require.ErrorContains(t, err, "outside -100 degC to 300 degC")
}

// Whatever is written, it is a wire that prints and reads back as itself, or a
// refusal with a fix.
func FuzzParseWire(f *testing.F) {
	for _, s := range []string{"0.75 mm2", "18 AWG", "AWG -3", "1.5 mm2 class 2 tinned", "class", "tinned", "AWG 18 AWG 20", "1e3 mm2", "0,75 mm²", "\x00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		w, err := ParseWire(s)
		if err != nil {
			var p *ParseError
			require.True(t, errors.As(err, &p))
			require.NotEmpty(t, p.Fix)
			require.Zero(t, w)
			return
		}
		again, err := ParseWire(w.String())
		require.NoError(t, err)
		require.Equal(t, w, again)
	})
}
