package ammeter

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/power"
)

func read(t require.TestingT, dies int, texts ...string) []Reading {
	var out []Reading
	for _, text := range texts {
		r, err := Parse(text, dies)
		require.NoError(t, err)
		out = append(out, r)
	}
	return out
}

func codes(list finding.List) string {
	var out []string
	for _, f := range list {
		out = append(out, f.Code)
	}
	return strings.Join(out, " ")
}

// Readings that people gave in public threads, with what they mean. No source
// gives a whole set, so what is filled in by the law itself is marked.
func TestReadingsFromPractice(t *testing.T) {
	for _, c := range []struct {
		name     string
		strip    Strip
		readings []string
		best     int
		found    string
	}{
		// 300 pixels, three dies in series: 4.04 A for any full color. Without half
		// white a ceiling of 4.04 A explains that as well.
		{"series dies", Strip{3, 300, 1}, []string{"dark 0 A", "red 4.04 A", "green 4.04 A", "blue 4.04 A", "white 4.04 A"}, None, "power.law_undecided"},
		// Half white filled in: 128/255 of it, 2.03 A.
		{"series dies, half", Strip{3, 300, 1}, []string{"dark 0 A", "red 4.04 A", "green 4.04 A", "blue 4.04 A", "white 4.04 A", "half white 2.03 A"}, int(show.Largest), ""},
		// A 5 V reel: 2.71, 2.54, 2.58 A, white 4.68 A, half white 3.27 A: 70 % of
		// full. Starved, and no law may be fitted to it.
		{"starved reel", Strip{3, 150, 1}, []string{"dark 0 A", "red 2.71 A", "green 2.54 A", "blue 2.58 A", "white 4.68 A", "half white 3.27 A"}, None, "power.starved_rail"},
		// A 5 m reel at 12 V: 1.0 to 1.3 A a color, 2.2 A on white at 11.95 V. A
		// ceiling would explain it; nothing checks that it is not starved.
		{"reel at 11.95 V", Strip{3, 100, 3}, []string{"dark 0 A", "red 1.3 A", "green 1.1 A", "blue 1.0 A", "white 2.2 A 11.95 V"}, None, "power.law_undecided"},
		// Adding up, then held near 10 mA a LED (300 LEDs): white and half white filled in.
		{"held", Strip{3, 300, 1}, []string{"dark 0 A", "red 1.5 A", "green 1.5 A", "blue 1.5 A", "white 3.00 A", "half white 2.26 A"}, int(show.Ceiling), ""},
		// Dark, red, white and half white alone, as four readings; colors alike.
		{"four readings", Strip{3, 93, 1}, []string{"dark 0.10 A", "red 1.33 A", "white 3.80 A", "half white 1.96 A"}, int(show.Sum), "power.readings"},
		// Everything held, even half white: what a die draws is hidden.
		{"all held", Strip{3, 300, 1}, []string{"dark 0.3 A", "red 3.0 A", "green 3.0 A", "blue 3.0 A", "white 3.0 A", "half white 3.0 A"}, None, "power.law_undecided"},
	} {
		readings := read(t, c.strip.Dies, c.readings...)
		require.NoError(t, Check(c.strip, readings).Err(), c.name)
		laws := Fit(c.strip, readings)
		best, found := Decide(c.strip, readings, laws, 0)
		require.Equal(t, c.best, best, "%s: %+v", c.name, laws)
		require.Equal(t, c.found, codes(found), c.name)
	}
}

// 60 pixels idle at 0.12 A: 2 mA each, from practice; 300 of them 0.6 A.
func TestIdleComesOff(t *testing.T) {
	s := Strip{3, 60, 1}
	readings := read(t, 3, "dark 0.12 A", "red 0.84 A", "green 0.84 A", "blue 0.84 A", "white 2.28 A", "half white 1.20 A")
	laws := Fit(s, readings)
	best, _ := Decide(s, readings, laws, 0)
	require.Equal(t, int(show.Sum), best)
	l := laws[best]
	require.InDelta(t, 2000, l.Idle, 60)
	require.InDelta(t, 12_000, l.Channel[0], 120) // (0.84 - 0.12) / 60
	c := Round(s, readings, &l)
	require.GreaterOrEqual(t, int64(c.Idle)*300, int64(600_000))
	require.Less(t, c.Raised, 0.01)
}

// A four-die strip: the white die is read alone, rgb and all together.
func TestFourDies(t *testing.T) {
	s := Strip{4, 100, 1}
	readings := read(t, 4, "dark 0.1 A", "red 1.3 A", "green 1.3 A", "blue 1.3 A", "white 1.9 A", "rgb 3.7 A", "all 5.5 A")
	require.NoError(t, Check(s, readings).Err())
	laws := Fit(s, readings)
	best, found := Decide(s, readings, laws, 0)
	require.Equal(t, int(show.Sum), best, "%+v", laws)
	require.Empty(t, found)
	require.InDelta(t, 18_000, laws[best].Channel[3], 300)
	require.Equal(t, "power.readings", codes(Check(s, read(t, 4, "dark 0.1 A", "red 1.3 A", "rgb 3.7 A"))), "the white die was not read")
}

func TestVoltsAreLookedAt(t *testing.T) {
	s := Strip{3, 60, 1}
	readings := read(t, 3, "dark 0.12 A 12.1 V", "red 0.84 A 12.0 V", "white 2.28 A 11.2 V")
	_, found := Decide(s, readings, Fit(s, readings), 10_500_000)
	require.Contains(t, codes(found), "power.starved_rail")
	readings[2].Volts = 12_000_000
	_, found = Decide(s, readings, Fit(s, readings), 10_500_000)
	require.NotContains(t, codes(found), "power.starved_rail")
	_, found = Decide(s, readings, Fit(s, readings), 12_050_000)
	require.Contains(t, codes(found), "power.starved_rail", "below the part's least")
}

func TestRefusedReadings(t *testing.T) {
	good := []string{"dark 0.12 A", "red 0.84 A", "white 2.28 A"}
	for name, c := range map[string]struct {
		readings []string
		code     string
		says     string
	}{
		"two":                    {good[:2], "power.readings", "several colors"},
		"no dark":                {good[1:], "power.readings", "dark strip"},
		"no single":              {[]string{good[0], good[2], "half white 1.2 A"}, "power.readings", "single color"},
		"dark above red":         {[]string{"dark 0.94 A", good[1], good[2]}, "power.readings", "less than dark"},
		"red and white swapped":  {[]string{good[0], "red 2.28 A", "white 0.84 A"}, "power.readings", "no law allows"},
		"milliamperes as A":      {[]string{"dark 120 A", "red 840 A", "white 2280 A"}, "power.reading_unit", "none draws"},
		"amperes as milli":       {[]string{"dark 0.12 mA", "red 0.84 mA", "white 2.28 mA"}, "power.reading_unit", "none draws"},
		"dark alone in the wild": {[]string{"dark 120 A", "red 121 A", "white 122 A"}, "power.reading_unit", "none draws"},
	} {
		found := Check(Strip{3, 60, 1}, read(t, 3, c.readings...))
		require.Error(t, found.Err(), name)
		require.Contains(t, codes(found), c.code, name)
		require.Contains(t, found.Error(), c.says, name)
	}
	require.Error(t, Check(Strip{3, 0, 1}, read(t, 3, good...)).Err())
	require.Contains(t, Check(Strip{3, 60, 1}, read(t, 3, "dark 120 A", "red 840 A", "white 2280 A")).Error(), `write "120 mA"`)
}

func TestParse(t *testing.T) {
	for text, want := range map[string]Reading{
		"dark 0.12 A":               {Dies: Dark, Amps: 120_000, Step: 10_000},
		"Dark: 0 A":                 {Dies: Dark, Step: 1_000_000},
		"red 1.21A, 11.9 V":         {Dies: Red, Code: 255, Amps: 1_210_000, Step: 10_000, Volts: 11_900_000},
		"half white 3.27 A 4.9V":    {Dies: Coloured, Code: 128, Amps: 3_270_000, Step: 10_000, Volts: 4_900_000},
		"white at 64  310 mA":       {Dies: Coloured, Code: 64, Amps: 310_000, Step: 1_000},
		"red+green 2.0 A 11900 mV":  {Dies: Red | Green, Code: 255, Amps: 2_000_000, Step: 100_000, Volts: 11_900_000},
		"all at 1 900 uA":           {Dies: Coloured, Code: 1, Amps: 900, Step: 1},
		"blue at 255: 1.0 A 12.1 V": {Dies: Blue, Code: 255, Amps: 1_000_000, Step: 100_000, Volts: 12_100_000},
	} {
		got, err := Parse(text, 3)
		require.NoError(t, err, text)
		want.Text, want.unit = text, got.unit
		require.Equal(t, want, got, text)
	}
	r, err := Parse("all 5 A", 4)
	require.NoError(t, err)
	require.Equal(t, Coloured|White, r.Dies)
	r, err = Parse("white 5 A", 4)
	require.NoError(t, err)
	require.Equal(t, White, r.Dies)
	for text, says := range map[string]string{
		"":                  "is not a reading",
		"1.2 A":             "is not a reading",
		"amber 1.2 A":       "none of dark, red",
		"red 1.2":           "has no unit",
		"red 1,2 A":         "decimal point",
		"red -1.2 A":        "wrong sign",
		"red at 300 1 A":    "outside 1 to 255",
		"half red at 3 1 A": "keep one",
		"half dark 1 A":     "dark has no code",
		"red 1.2 V":         "is a voltage, not a current",
		"red 1.2 A 3 A":     "is a current, not a voltage",
		"red 1.2 A 0 V":     "at 0 V",
		"red 1.2 A 12 V 3":  "is not a reading",
	} {
		_, err := Parse(text, 3)
		require.ErrorContains(t, err, says, text)
	}
	for name, want := range map[string]string{"all at 9 1 A": "all at 9", "rgb 1 A": "rgb", "half white 1 A": "half white", "red+blue 1 A": "red+blue", "dark 1 A": "dark"} {
		r, err := Parse(name, 4)
		require.NoError(t, err)
		require.Equal(t, want, r.Name(4))
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"dark 0.12 A", "half white 3.27 A 4.9 V", "red+blue at 64: 310 mA", "all 5 µA", "red -1 A", "white at 0 1 A", "a 1"} {
		f.Add(s, true)
	}
	f.Fuzz(func(t *testing.T, s string, four bool) {
		dies := 3
		if four {
			dies = 4
		}
		r, err := Parse(s, dies)
		if err != nil {
			return
		}
		if r.Amps < 0 || r.Code < 0 || r.Code > 255 || (r.Dies == Dark) != (r.Code == 0) || r.Dies>>dies != 0 {
			t.Fatalf("%q gives %+v", s, r)
		}
		// What it is called is read as the same dies and code again.
		again, err := Parse(fmt.Sprintf("%s %v", r.Name(dies), r.Amps), dies)
		if err != nil || again.Dies != r.Dies || again.Code != r.Code || again.Amps != r.Amps {
			t.Fatalf("%q: %+v, then %+v, %v", s, r, again, err)
		}
	})
}

// Strips drawn under a known law, read by a meter with its error: the law comes
// out, the currents are within what the readings leave open, and what is
// written down counts no reading too low. The true law is the reference.
func TestFindsTheLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law := show.Law(rapid.IntRange(0, 2).Draw(t, "law"))
		s := Strip{Dies: rapid.IntRange(3, 4).Draw(t, "dies"), Pixels: rapid.IntRange(20, 400).Draw(t, "pixels"), LEDsPerPixel: rapid.SampledFrom([]int{1, 3}).Draw(t, "leds")}
		truth := Law{Law: law, Idle: float64(rapid.IntRange(300, 3000).Draw(t, "idle"))}
		total := 0.0
		for d := range s.Dies {
			truth.Channel[d] = float64(rapid.IntRange(8000, 20_000).Draw(t, "channel"))
			if d < 3 {
				total += truth.Channel[d]
			}
		}
		if law == show.Ceiling { // holds white, not half white
			truth.Ceiling = total * rapid.Float64Range(0.6, 0.85).Draw(t, "held")
			for d := range s.Dies {
				truth.Ceiling = max(truth.Ceiling, truth.Channel[d]*1.1)
			}
		}
		sets := []struct {
			dies Dies
			code int
		}{{Dark, 0}, {Red, 255}, {Green, 255}, {Blue, 255}, {Coloured, 255}, {Coloured, HalfCode}}
		if s.Dies == 4 {
			sets = append(sets, struct {
				dies Dies
				code int
			}{White, 255})
		}
		var readings []Reading
		for _, set := range sets {
			r := Reading{Dies: set.dies, Code: set.code, Step: 1000}
			off := rapid.Float64Range(-0.005, 0.005).Draw(t, "error")
			r.Amps = unit.Current(math.Round(float64(s.Pixels)*truth.says(&r)*(1+off)/1000) * 1000)
			readings = append(readings, r)
		}
		require.NoError(t, Check(s, readings).Err())
		laws := Fit(s, readings)
		best, found := Decide(s, readings, laws, 0)
		require.Equal(t, int(law), best, "%v %+v", found, laws)
		l := &laws[best]
		for d := range s.Dies {
			require.InDelta(t, truth.Channel[d], l.Channel[d], 3*l.Open[1+d])
		}
		c := Round(s, readings, l)
		meter, err := power.Build([]power.Part{{Dies: s.Dies, Law: c.Law, Idle: int64(c.Idle),
			Channel: [4]int64{int64(c.Channel[0]), int64(c.Channel[1]), int64(c.Channel[2]), int64(c.Channel[3])},
			Ceiling: int64(c.Ceiling) * int64(s.LEDsPerPixel)}}, []power.Run{{Pixels: s.Pixels}}, s.Pixels*s.Dies)
		require.NoError(t, err)
		for _, r := range readings {
			frame := make([]uint8, s.Pixels*s.Dies)
			for i := range frame {
				if r.Dies>>(i%s.Dies)&1 != 0 {
					frame[i] = uint8(r.Code)
				}
			}
			require.GreaterOrEqual(t, meter.Current(frame), int64(r.Amps), r.Name(s.Dies))
		}
	})
}
