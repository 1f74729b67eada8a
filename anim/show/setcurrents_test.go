package show

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/unit"
)

func sumOf(ua unit.Current) Currents {
	return Currents{Law: Sum, Idle: 1040, Channel: [4]unit.Current{ua, ua, ua}}
}

func TestSetCurrents(t *testing.T) {
	commented := strings.Replace(goodMachine, `law = "sum"`, "  law   = \"sum\"   # as the seller says", 1)
	commented = strings.Replace(commented, `current = {`, `  current = {`, 1)
	out, err := SetCurrents("m.toml", []byte(commented), "p", sumOf(11_870))
	require.NoError(t, err)
	m, list := ParseMachine("m.toml", out)
	require.NoError(t, list.Err())
	p := m.Part("p")
	require.True(t, p.Fitted)
	require.Equal(t, [4]unit.Current{11_870, 11_870, 11_870}, p.Channel)
	require.EqualValues(t, 80_000, p.Spread, "kept, though it no longer counts")
	// Nothing else moved: one line changed, one was added.
	was, is := strings.Split(commented, "\n"), strings.Split(string(out), "\n")
	require.Len(t, is, len(was)+1)
	changed := 0
	for i, j := 0, 0; i < len(was); i, j = i+1, j+1 {
		if was[i] == is[j] {
			continue
		}
		changed++
		require.Equal(t, `  current = { idle = "1.04 mA", red = "11.87 mA", green = "11.87 mA", blue = "11.87 mA", spread = "8 %" }`, is[j])
		j++
		require.Equal(t, "  fitted = true", is[j])
	}
	require.Equal(t, 1, changed)

	// Again, to another law and back: fitted is there already, the ceiling comes
	// and goes with its law.
	again := sumOf(12_000)
	again.Law, again.Ceiling = Ceiling, 20_000
	out2, err := SetCurrents("m.toml", out, "p", again)
	require.NoError(t, err)
	require.Contains(t, string(out2), `law   = "ceiling"   # as the seller says`)
	require.Contains(t, string(out2), `blue = "12 mA", ceiling = "20 mA", spread`)
	out3, err := SetCurrents("m.toml", out2, "p", sumOf(11_870))
	require.NoError(t, err)
	require.Equal(t, string(out), string(out3))
}

func TestSetCurrentsKeepsLineEnds(t *testing.T) {
	crlf := strings.ReplaceAll(goodMachine, "\n", "\r\n")
	out, err := SetCurrents("m.toml", []byte(crlf), "p", sumOf(11_870))
	require.NoError(t, err)
	require.Equal(t, strings.Count(string(out), "\n"), strings.Count(string(out), "\r\n"))
}

func TestSetCurrentsRefuses(t *testing.T) {
	for name, c := range map[string]struct{ old, new, part, says string }{
		"no such part":    {"", "", "q", `there is no part "q"`},
		"a broken file":   {`depth = "40 mm"`, `depth = 40`, "p", "has no unit"},
		"dotted currents": {`current = { idle = "1 mA", red = "12 mA", green = "12 mA", blue = "12 mA", spread = "8 %" }`, "current.idle = \"1 mA\"\ncurrent.red = \"12 mA\"\ncurrent.green = \"12 mA\"\ncurrent.blue = \"12 mA\"\ncurrent.spread = \"8 %\"", "p", "not written as one value"},
	} {
		text := goodMachine
		if c.old != "" {
			require.Contains(t, text, c.old)
			text = strings.Replace(text, c.old, c.new, 1)
		}
		src := []byte(text)
		out, err := SetCurrents("m.toml", src, c.part, sumOf(11_870))
		require.ErrorContains(t, err, c.says, name)
		require.Nil(t, out)
		require.Equal(t, text, string(src))
	}
}
