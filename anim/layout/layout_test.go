package layout

import (
	"math"
	"testing"

	"paneglow/anim/show"
	"paneglow/anim/unit"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// machine is two strips on one line: a bent one of single LEDs, and one of
// three LEDs a pixel with a white die.
func machine() *show.Machine {
	return &show.Machine{
		Panel: show.Panel{Size: [2]unit.Length{200, 400}},
		Parts: []show.Part{
			{Name: "one", Order: "GRB", Pitch: 50, LEDsPerPixel: 1},
			{Name: "three", Order: "GRBW", Pitch: 50, LEDsPerPixel: 3},
		},
		Lines: []show.Line{{Name: "a", Strips: []string{"bent", "groups"}}},
		Strips: []show.Strip{
			{Name: "groups", Part: "three", Pixels: 2, Path: [][2]unit.Length{{20, 300}, {120, 300}}},
			{Name: "bent", Part: "one", Pixels: 7, Hidden: []int{0, 4}, Missing: []int{2}, Path: [][2]unit.Length{{20, 20}, {20, 60}, {60, 60}}},
		},
	}
}

func TestPlaces(t *testing.T) {
	l, err := New(machine())
	require.NoError(t, err)
	require.Equal(t, 7*3+2*4, l.Channels())
	require.Equal(t, []Line{{Name: "a", Strips: []int{0, 1}}}, l.Lines)
	// Data order is the line's order, not the file's order of strips.
	require.Equal(t, Strip{Name: "bent", Part: 0, Line: 0, First: 0, Count: 7, Dies: 3, Order: "GRB", LEDPitch: 20, PixelPitch: 20, Length: 80}, l.Strips[0])
	require.Equal(t, Strip{Name: "groups", Part: 1, Line: 0, First: 7, Count: 2, Dies: 4, Order: "GRBW", LEDPitch: 20, PixelPitch: 60, Length: 100}, l.Strips[1])
	require.Equal(t, 1, l.Strip("groups"))
	require.Equal(t, -1, l.Strip("gone"))

	// Five visible pixels on 80 mm stand 20 mm apart, around the corner.
	at := func(strip, index, place int, x, y, along float64, hidden, missing bool, offset int) Pixel {
		return Pixel{Strip: strip, Index: index, Place: place, X: x, Y: y, U: x / 200, V: y / 400, Along: along, Hidden: hidden, Missing: missing, Offset: offset}
	}
	require.Equal(t, []Pixel{
		at(0, 0, 0, 20, 20, 0, true, false, 0), // hidden before the first: borrows from behind
		at(0, 1, 0, 20, 20, 0, false, false, 3),
		at(0, 2, 1, 20, 40, 0.25, false, true, 6), // missing keeps its place
		at(0, 3, 2, 20, 60, 0.5, false, false, 9),
		at(0, 4, 2, 20, 60, 0.5, true, false, 12), // hidden takes no length
		at(0, 5, 3, 40, 60, 0.75, false, false, 15),
		at(0, 6, 4, 60, 60, 1, false, false, 18),
		at(1, 0, 0, 40, 300, 0.2, false, false, 21), // the middle LED of three
		at(1, 1, 1, 100, 300, 0.8, false, false, 25),
	}, l.Pixels)
	require.Equal(t, []LED{
		{20, 20, 1}, {20, 60, 3}, {40, 60, 5}, {60, 60, 6},
		{20, 300, 7}, {40, 300, 7}, {60, 300, 7}, {80, 300, 8}, {100, 300, 8}, {120, 300, 8},
	}, l.LEDs)
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		name string
		spit func(*show.Machine)
		want string
	}{
		{"panel", func(m *show.Machine) { m.Panel.Size[1] = 0 }, "layout: the panel is 200 x 0 mm, both must be above 0"},
		{"no strip", func(m *show.Machine) { m.Lines[0].Strips[0] = "gone" }, `layout: line "a" carries strip "gone", which is not there`},
		{"twice", func(m *show.Machine) { m.Lines[0].Strips[0] = "groups" }, `layout: strip "groups" is on a data line twice`},
		{"no line", func(m *show.Machine) { m.Lines[0].Strips = m.Lines[0].Strips[:1] }, `layout: strip "groups" is on no data line`},
		{"no part", func(m *show.Machine) { m.Strips[0].Part = "gone" }, `layout: strip "groups" is of part "gone", which is not there`},
		{"too many", func(m *show.Machine) { m.Strips[0].Pixels = 20000 }, `layout: 20007 pixels, the most is 20000`},
		{"no pixel", func(m *show.Machine) { m.Strips[0].Pixels = 0 }, `layout: strip "groups" has 0 pixels of 3 LEDs and 4 dies at 50 /m on a path of 2 points`},
		{"no path", func(m *show.Machine) { m.Strips[0].Path = nil }, `layout: strip "groups" has 2 pixels of 3 LEDs and 4 dies at 50 /m on a path of 0 points`},
		{"index", func(m *show.Machine) { m.Strips[0].Missing = []int{2} }, `layout: strip "groups" has pixels 0 to 1, not 2`},
	} {
		m := machine()
		c.spit(m)
		_, err := New(m)
		require.EqualError(t, err, c.want, c.name)
	}
}

func TestAllHiddenAndSingle(t *testing.T) {
	m := machine()
	m.Strips[1].Hidden = []int{0, 1, 2, 3, 4, 5, 6}
	m.Strips[1].Missing = nil
	m.Strips[0].Pixels = 1
	m.Strips[0].Part = "one"
	m.Strips[0].Path = m.Strips[0].Path[:1]
	l, err := New(m)
	require.NoError(t, err)
	for _, p := range l.Pixels[:7] {
		require.Equal(t, [2]float64{20, 20}, [2]float64{p.X, p.Y})
	}
	require.Equal(t, []LED{{20, 300, 7}}, l.LEDs)
	require.Equal(t, 0.0, l.Pixels[7].Along)
}

func draw(t *rapid.T) *show.Machine {
	m := machine()
	s := &m.Strips[1]
	s.Part = rapid.SampledFrom([]string{"one", "three"}).Draw(t, "part")
	s.Pixels = rapid.IntRange(1, 60).Draw(t, "pixels")
	s.Hidden = rapid.SliceOfNDistinct(rapid.IntRange(0, s.Pixels-1), 0, s.Pixels/3, rapid.ID[int]).Draw(t, "hidden")
	s.Missing = nil
	s.Path = nil
	for range rapid.IntRange(2, 6).Draw(t, "points") {
		s.Path = append(s.Path, [2]unit.Length{unit.Length(rapid.IntRange(0, 200).Draw(t, "x")), unit.Length(rapid.IntRange(0, 400).Draw(t, "y"))})
	}
	return m
}

func ofStrip(l *Layout, name string) (Strip, []Pixel, []LED) {
	s := l.Strips[l.Strip(name)]
	var leds []LED
	for _, d := range l.LEDs {
		if int(d.Pixel) >= s.First && int(d.Pixel) < s.First+s.Count {
			leds = append(leds, d)
		}
	}
	return s, l.Pixels[s.First : s.First+s.Count], leds
}

// slowAt walks the path in a thousand steps a leg: the obvious twin of at.
func slowAt(path [][2]unit.Length, want float64) (x, y float64) {
	gone := 0.0
	for i := 1; i < len(path); i++ {
		for k := 0; k < 1000; k++ {
			f := float64(k) / 1000
			x = float64(path[i-1][0])*(1-f) + float64(path[i][0])*f
			y = float64(path[i-1][1])*(1-f) + float64(path[i][1])*f
			if gone >= want-1e-9 {
				return x, y
			}
			gone += math.Hypot(float64(path[i][0]-path[i-1][0]), float64(path[i][1]-path[i-1][1])) / 1000
		}
	}
	return float64(path[len(path)-1][0]), float64(path[len(path)-1][1])
}

// LEDs stand evenly by arc length, the first and the last on the path's ends.
func TestSpacing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := draw(t)
		l, err := New(m)
		require.NoError(t, err)
		s, px, leds := ofStrip(l, "bent")
		path := m.Strips[1].Path
		require.InDelta(t, m.Strips[1].PathLength(), s.Length, 1e-9)
		per := m.Part(m.Strips[1].Part).LEDsPerPixel
		require.Len(t, leds, (s.Count-len(m.Strips[1].Hidden))*per)
		step := 0.0
		if len(leds) > 1 {
			step = s.Length / float64(len(leds)-1)
			last := path[len(path)-1]
			require.InDelta(t, float64(last[0]), leds[len(leds)-1].X, 1e-9)
			require.InDelta(t, float64(last[1]), leds[len(leds)-1].Y, 1e-9)
		}
		require.Equal(t, [2]float64{float64(path[0][0]), float64(path[0][1])}, [2]float64{leds[0].X, leds[0].Y})
		for i, d := range leds {
			x, y := slowAt(path, step*float64(i))
			require.InDelta(t, x, d.X, 0.5, "led %d", i) // a thousandth of the longest leg
			require.InDelta(t, y, d.Y, 0.5, "led %d", i)
		}
		seen := 0
		for _, p := range px {
			require.True(t, p.Along >= 0 && p.Along <= 1)
			if !p.Hidden {
				require.Equal(t, seen, p.Place)
				seen++
			}
		}
	})
}

// The same path written backwards gives the same places in reverse.
func TestReversal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := draw(t)
		m.Strips[1].Hidden = nil
		a, err := New(m)
		require.NoError(t, err)
		path := m.Strips[1].Path
		back := make([][2]unit.Length, len(path))
		for i, p := range path {
			back[len(path)-1-i] = p
		}
		m.Strips[1].Path = back
		b, err := New(m)
		require.NoError(t, err)
		_, pa, la := ofStrip(a, "bent")
		_, pb, lb := ofStrip(b, "bent")
		if len(la) == 1 {
			return // one LED stands on the first point, whichever that is
		}
		for i := range pa {
			j := len(pa) - 1 - i
			require.InDelta(t, pa[i].X, pb[j].X, 1e-9)
			require.InDelta(t, pa[i].Y, pb[j].Y, 1e-9)
			if a.Strips[0].Length > 0 {
				require.InDelta(t, pa[i].Along, 1-pb[j].Along, 1e-9)
			}
		}
		for i := range la {
			require.InDelta(t, la[i].X, lb[len(la)-1-i].X, 1e-9)
		}
	})
}

// A missing pixel takes its LEDs away and moves nothing else.
func TestMissingMovesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := draw(t)
		a, err := New(m)
		require.NoError(t, err)
		gone := rapid.IntRange(0, m.Strips[1].Pixels-1).Draw(t, "gone")
		m.Strips[1].Missing = []int{gone}
		b, err := New(m)
		require.NoError(t, err)
		for i := range a.Pixels {
			p := b.Pixels[i]
			require.Equal(t, i == gone, p.Missing)
			p.Missing = false
			require.Equal(t, a.Pixels[i], p)
		}
		require.Equal(t, a.Channels(), b.Channels())
	})
}

func BenchmarkTwentyThousandPixels(b *testing.B) {
	m := machine()
	m.Panel.Size = [2]unit.Length{2000, 2000}
	for _, s := range []*show.Strip{&m.Strips[0], &m.Strips[1]} {
		s.Part, s.Pixels, s.Hidden, s.Missing = "one", 10000, nil, nil
	}
	b.ReportAllocs()
	for b.Loop() {
		l, err := New(m)
		if err != nil || len(l.Pixels) != 20000 {
			b.Fatal(err)
		}
	}
}
