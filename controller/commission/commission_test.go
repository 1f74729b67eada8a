package commission

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/finding"
	"paneglow/anim/show"
)

func codes(list finding.List) (out []string) {
	for _, f := range list {
		out = append(out, f.Code)
	}
	return out
}

// A machine that is as its file says is left as it is, byte for byte.
func TestAllRight(t *testing.T) {
	b, r := bench(t, right())
	require.NoError(t, r.Strips(t.Context()))
	require.Empty(t, r.Found)
	require.Equal(t, source, string(r.Source))
	require.Less(t, b.asked, 20, "few questions where all is right")
}

// Every order of three dies, whatever the file said, is found and written, and what
// is soldered the other way round is turned.
func TestOrderAndDirection(t *testing.T) {
	for _, order := range []string{"RGB", "RBG", "GRB", "GBR", "BRG", "BGR"} {
		for _, reverse := range []bool{false, true} {
			t.Run(fmt.Sprint(order, reverse), func(t *testing.T) {
				real := right()
				for k := range real[0] {
					real[0][k].order = order
				}
				real[0][1].reverse = reverse
				_, r := bench(t, real)
				require.NoError(t, r.Strips(t.Context()))
				require.Equal(t, order, r.Machine().Part("strip12").Order)
				path := r.Machine().Strip("upper").Path
				require.Equal(t, reverse, path[0][0] > path[1][0])
				if order == "GRB" && !reverse {
					require.Equal(t, source, string(r.Source))
				} else {
					require.Contains(t, string(r.Source), "# as the letters stand on the data line")
				}
			})
		}
	}
}

// Every order of four dies, the white one among them, and nothing else is changed.
func TestFourDies(t *testing.T) {
	file := strings.Replace(source, `order = "GRB" `, `order = "GRBW"`, 1)
	file = strings.Replace(file, `blue = "12 mA",`, `blue = "12 mA", white = "18 mA",`, 1)
	file = strings.Replace(file, `["466 nm", "190 mcd"] }`, `["466 nm", "190 mcd"], white = ["6500 K", "1500 mcd"] }`, 1)
	for _, order := range orders("", "RGBW") {
		real := right()
		for k := range real[0] {
			real[0][k].order = order
		}
		_, r := benchOf(t, file, real)
		require.NoError(t, r.Strips(t.Context()))
		require.Equal(t, order, r.Machine().Part("strip12").Order)
		require.Equal(t, strings.Replace(file, `"GRBW"`, `"`+order+`"`, 1), string(r.Source))
	}
	swapped := right()
	swapped[0][0].order, swapped[0][1].order = "GRBW", "GRWB"
	_, r := benchOf(t, file, swapped)
	require.NoError(t, r.Strips(t.Context()))
	require.Equal(t, []string{"commission.two_orders"}, codes(r.Found))
	real := right() // three dies where the file has four
	_, r = benchOf(t, file, real)
	require.ErrorIs(t, r.Strips(t.Context()), ErrWiring)
	require.Equal(t, []string{"commission.dies"}, codes(r.Found))
}

// orders are all of some letters.
func orders(begun, rest string) (out []string) {
	if rest == "" {
		return []string{begun}
	}
	for i := range rest {
		out = append(out, orders(begun+rest[i:i+1], rest[:i]+rest[i+1:])...)
	}
	return out
}

// Any number of pixels is found; strips behind one that is shorter or longer too.
func TestCounts(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		real := right()
		real[0][0].pixels = rapid.IntRange(1, 40).Draw(rt, "lower")
		real[0][1].pixels = rapid.IntRange(1, 40).Draw(rt, "upper")
		_, r := bench(t, real)
		err := r.Strips(t.Context())
		m, _ := show.ParseMachine("machine.toml", r.Source) // a path that no longer fits is told, and may be
		lower, upper := m.Strip("lower").Pixels, m.Strip("upper").Pixels
		if real[0][0].pixels == 28 && real[0][1].pixels == 19 {
			require.NoError(rt, err)
		} else {
			require.Error(rt, err)
		}
		require.Equal(rt, real[0][0].pixels, lower)
		if real[0][0].pixels < 28+19 {
			require.Equal(rt, real[0][1].pixels, upper)
		}
	})
}

// Two strips of one part with different orders need two parts; three answers that
// cannot be are not written.
func TestOrdersThatDisagree(t *testing.T) {
	real := right()
	real[0][1].order = "RGB"
	_, r := bench(t, real)
	require.NoError(t, r.Strips(t.Context()))
	require.Equal(t, []string{"commission.two_orders"}, codes(r.Found))
	require.Contains(t, r.Found[0].Fix, `order = "RGB"`)
	require.Equal(t, source, string(r.Source))

	real = right()
	for k := range real[0] {
		real[0][k].order = "RGBW"
	}
	_, r = bench(t, real)
	require.ErrorIs(t, r.Strips(t.Context()), ErrWiring)
	require.Equal(t, []string{"commission.dies"}, codes(r.Found))

	real = right()
	real[0][0].broken = 0
	_, r = bench(t, real)
	require.ErrorIs(t, r.Strips(t.Context()), ErrWiring)
	require.Equal(t, []string{"commission.dark"}, codes(r.Found))
}

// bridged is a panel whose lower strip has lost pixels to repairs, and the file knows.
func bridged(t *testing.T, gone []int) ([][]realStrip, string) {
	real := right()
	real[0][0].gone = gone
	words := strings.Trim(strings.Join(strings.Fields(fmt.Sprint(gone)), ", "), "[]")
	file := strings.Replace(source, "pixels = 28\n", "pixels = 28\nmissing = ["+words+"]\n", 1)
	require.NotEqual(t, source, file)
	return real, file
}

// Pixels that were cut out in an earlier repair show nothing and take no data. They
// are not asked for, and nothing that is found is moved by them.
func TestMissingPixels(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		gone := rapid.SliceOfNDistinct(rapid.IntRange(0, 27), 1, 6, rapid.ID[int]).Draw(rt, "gone")
		slices.Sort(gone)
		var there []int
		for i := range 28 {
			if !slices.Contains(gone, i) {
				there = append(there, i)
			}
		}
		real, file := bridged(t, gone)
		_, r := benchOf(t, file, real)
		require.NoError(rt, r.Strips(t.Context()))
		require.Empty(rt, r.Found)
		require.Equal(rt, file, string(r.Source))

		real[0][0].reverse = true
		_, r = benchOf(t, file, real)
		require.NoError(rt, r.Strips(t.Context()))
		require.Equal(rt, []string{"commission.direction"}, codes(r.Found))
		real[0][0].reverse = false

		k := rapid.IntRange(1, len(there)-1).Draw(rt, "break")
		real[0][0].broken = there[k]
		_, r = benchOf(t, file, real)
		cards, err := r.Fault(t.Context(), 0)
		require.NoError(rt, err)
		require.Len(rt, cards, 1)
		require.Equal(rt, []int{there[k-1], there[k]}, cards[0].Pixels)
		m, found := show.ParseMachine("machine.toml", r.Source)
		require.NoError(rt, found.Err())
		require.ElementsMatch(rt, append(slices.Clone(gone), there[k]), m.Strip("lower").Missing)
		real[0][0].broken = -1

		real[0][0].dead = []int{there[k]}
		_, r = benchOf(t, file, real)
		cards, err = r.Fault(t.Context(), 0)
		require.NoError(rt, err)
		require.Len(rt, cards, 1)
		require.Equal(rt, real[0][0].dead, cards[0].Pixels)
		real[0][0].dead = nil

		real[0][0].reel = there[k]
		_, r = benchOf(t, file, real)
		require.NoError(rt, r.Reels(t.Context(), 0))
		require.Equal(rt, there[k], r.Machine().Strip("lower").Stretches[0].From)
	})
	// A strip that has lost its end and is shorter besides.
	real, file := bridged(t, []int{3, 4})
	real[0][0].pixels = 20
	_, r := benchOf(t, file, real)
	require.Error(t, r.Strips(t.Context()), "its path no longer fits")
	require.Contains(t, string(r.Source), "pixels = 20\nmissing = [3, 4]")
}

// The controller's firmware was built before pixels were marked as missing: its
// numbers still hold, those of another panel do not.
func TestFits(t *testing.T) {
	before := func(file string) uint32 {
		_, r := benchOf(t, file, right())
		sum, err := r.PanelSum()
		require.NoError(t, err)
		return sum
	}
	_, file := bridged(t, []int{3, 14, 20})
	_, some := bridged(t, []int{14})
	_, other := bridged(t, []int{5})
	_, r := benchOf(t, file, right())
	for sum, want := range map[uint32]bool{before(source): true, before(some): true, before(file): true, before(other): false, before(strings.Replace(source, "GRB", "RGB", 1)): false} {
		got, err := r.Fits(sum)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
}

// The card comes before the question what was done by it.
func TestCardFirst(t *testing.T) {
	real := right()
	real[0][0].broken = 9
	b, r := bench(t, real)
	shown := 0
	r.Cards = func(*Card) { shown++ }
	r.Person = asks(func(q Question) (int, error) {
		if q.Kind == Bridged {
			require.Equal(t, 1, shown)
			require.Equal(t, []string{"nothing: what is bad will be replaced", "pixel 9, and the strip lights behind it", "pixels 8 and 9, and the strip lights behind them"}, q.Answers)
			return 2, nil
		}
		return b.Answer(t.Context(), q)
	})
	_, err := r.Fault(t.Context(), 0)
	require.NoError(t, err)
	require.Equal(t, 1, shown)
	require.Contains(t, string(r.Source), "missing = [8, 9]")
}

type asks func(Question) (int, error)

func (a asks) Answer(_ context.Context, q Question) (int, error) { return a(q) }

// A break anywhere is found, with a card; the pixel that was bridged is marked.
func TestBreaks(t *testing.T) {
	for at := range 28 {
		real := right()
		real[0][0].broken = at
		_, r := bench(t, real)
		cards, err := r.Fault(t.Context(), 0)
		require.NoError(t, err)
		if at == 0 {
			require.Empty(t, cards)
			require.Equal(t, []string{"commission.dark"}, codes(r.Found))
			continue
		}
		require.Len(t, cards, 1)
		require.Equal(t, []int{at - 1, at}, cards[0].Pixels)
		require.Contains(t, cards[0].Trouble, fmt.Sprintf("lit up to pixel %d, nothing from pixel %d on", at-1, at))
		m, found := show.ParseMachine("machine.toml", r.Source)
		require.NoError(t, found.Err())
		require.Equal(t, []int{at}, m.Strip("lower").Missing)
	}
}

// Dead pixels that let data pass are found one after the other.
func TestHoles(t *testing.T) {
	for _, dead := range [][]int{nil, {0}, {27}, {3, 4}, {0, 11, 27}} {
		real := right()
		real[0][0].dead = dead
		_, r := bench(t, real)
		cards, err := r.Fault(t.Context(), 0)
		require.NoError(t, err)
		var got []int
		for _, c := range cards {
			got = append(got, c.Pixels...)
		}
		require.Equal(t, dead, got)
		require.Equal(t, source, string(r.Source))
	}
}

// The card of one break, word for word.
func TestCard(t *testing.T) {
	real := right()
	real[0][0].broken = 9
	_, r := bench(t, real)
	cards, err := r.Fault(t.Context(), 0)
	require.NoError(t, err)
	require.Equal(t, `repair card: strip "lower"
  trouble   lit up to pixel 8, nothing from pixel 9 on: the one lets no data out, or the other lets none in
  where     pixel 8, 133 mm along the strip, at x 153 mm, y 60 mm
            pixel 9, 150 mm along the strip, at x 170 mm, y 60 mm
  spare     part "strip12", 2 pixels, the reel of the whole strip
  1         switch the supply off and wait until all is dark; what runs on mains is for those who may
  2         cut at the pad before and the pad behind pixels 8 and 9: either of them may be the bad one
  3         solder in 2 pixels of the same part and reel, the arrow with the others
  4         ground first, then plus, then data; check for shorts before the supply comes back
  5         run this again: all of the strip has to be lit
  until then  bridge pixel 9: cut it out and join plus, minus and data (data out of the pixel before it to data in of the one behind it); if it stays dark behind it, bridge pixel 8 as well; answer below to have the file say so
`, cards[0].String())
}

func TestReels(t *testing.T) {
	for _, from := range []int{0, 1, 13, 27} {
		real := right()
		real[0][0].reel = from
		_, r := bench(t, real)
		require.NoError(t, r.Reels(t.Context(), 0))
		stretches := r.Machine().Strip("lower").Stretches
		if from == 0 {
			require.Empty(t, stretches)
			require.Equal(t, source, string(r.Source))
			continue
		}
		require.Len(t, stretches, 1)
		require.Equal(t, from, stretches[0].From)
		require.Equal(t, 27, stretches[0].To)
	}
}

// What latches is found within a twentieth, and the file gets both sides of it with
// their margins.
func TestTiming(t *testing.T) {
	for _, latch := range []float64{17, 25, 60, 280, 590} {
		b, r := bench(t, right())
		b.latch = latch
		require.NoError(t, r.Timing(t.Context()))
		m, found := show.ParseMachine("machine.toml", r.Source)
		require.NoError(t, found.Err())
		d := m.Part("strip12").Data
		require.InDelta(t, latch*gapShare, float64(d.Gap)/1000, latch*0.04+1)
		require.InDelta(t, latch*latchShare, float64(d.Latch)/1000, latch*0.1+3)
		require.Less(t, float64(d.Gap)/1000, latch)
		require.GreaterOrEqual(t, float64(d.Latch)/1000, latch)
		require.Less(t, b.asked, 12)
	}
	b, r := bench(t, right())
	b.latch = 9
	require.NoError(t, r.Timing(t.Context()))
	require.Equal(t, []string{"commission.gap"}, codes(r.Found))
	b, r = bench(t, right())
	b.latch = 10_000
	require.NoError(t, r.Timing(t.Context()))
	require.Equal(t, []string{"commission.latch"}, codes(r.Found))
	require.Equal(t, source, string(r.Source))
}

// Readings within 5 % are accepted, others are not; loads may take less than the
// file says, never more.
func TestPower(t *testing.T) {
	for _, c := range []struct {
		name  string
		amps  float64
		volts int
		loads []int
		want  []string
	}{
		{"as predicted", 1, 11_950, []int{1900, 950}, nil},
		{"a little more", 1.04, 11_950, []int{2050, 1040}, nil},
		{"too much", 1.08, 11_950, []int{2000, 1000}, []string{"red at code", "green at code", "blue at code", "white at code"}},
		{"too little", 0.9, 11_950, []int{1900, 950}, []string{"red at code", "green at code", "blue at code", "white at code"}},
		{"volts are lost", 1, 10_900, []int{1900, 950}, []string{"lowest volts"}},
		{"a load takes more", 1, 11_950, []int{2300, 1200}, []string{"load ring, starting", "load ring, running"}},
		{"nothing was measured", 1, 11_950, []int{0, 0}, []string{"load ring, starting", "load ring, running"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, r := bench(t, right())
			b.amps, b.volts, b.loads = c.amps, c.volts, c.loads
			readings, err := r.Power(t.Context(), 1_000_000)
			require.NoError(t, err)
			require.Len(t, readings, 8)
			require.Len(t, r.Found, len(c.want))
			for i, w := range c.want {
				require.Contains(t, r.Found[i].Where, w)
				severity := finding.Error
				if c.loads[0] == 0 {
					severity = finding.Warning
				}
				require.Equal(t, severity, r.Found[i].Severity)
			}
			verdicts := map[int]string{0: "not measured", 1900: "good", 2050: "good", 2000: "good", 2300: "more than the file allows for"}
			require.Equal(t, verdicts[c.loads[0]], readings[6].Verdict())
			require.Equal(t, c.loads[0] == 0, readings[7].None)
			for _, x := range readings[1:5] {
				if x.Unit == "A" {
					require.LessOrEqual(t, x.Predicted, 1.0, "inside the budget")
				}
			}
		})
	}
	_, r := bench(t, right())
	_, err := r.Power(t.Context(), 1000)
	require.ErrorContains(t, err, "not one code of red fits")
}

// A file that cannot be written ends the work, and what was found before is kept.
func TestSaving(t *testing.T) {
	real := right()
	real[0][0].order, real[0][1].order = "BGR", "BGR"
	_, r := bench(t, real)
	full := fmt.Errorf("the disk is full")
	r.Save = func([]byte) error { return full }
	require.ErrorIs(t, r.Strips(t.Context()), full)
	require.Equal(t, source, string(r.Source))

	_, r = bench(t, real)
	var saved []string
	r.Save = func(b []byte) error { saved = append(saved, string(b)); return nil }
	require.NoError(t, r.Strips(t.Context()))
	require.Equal(t, []string{strings.Replace(source, `order = "GRB"`, `order = "BGR"`, 1)}, saved)
}
