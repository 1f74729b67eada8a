package prove

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/power"
	"paneglow/render/table"
)

// blinking is a table of two states: light that comes and goes so many times a
// second, and what the other one shows.
func blinking(t *testing.T, a, b [2]uint8, halves int) *table.Table {
	s := &table.Show{Title: "blinking", FPS: 30, Then: table.None, Lines: []string{"a"}, Steady: 4_000_000, Surge: 4_000_000, Least: 4_000_000, Raise: 4000,
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
			Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}},
		Strips: []table.Strip{{Name: "s", Pixels: 6, Missing: []int{2}}}}
	var clips []table.Clip
	for i, levels := range [][2]uint8{a, b} {
		var c []uint8
		for f := range 30 {
			c = append(c, bytes.Repeat([]uint8{levels[f*halves/30%2]}, 18)...)
			for d := range 3 {
				c[len(c)-18+6+d] = 0 // the missing one
			}
		}
		clips = append(clips, table.Clip{Name: string(rune('a' + i)), Frames: 30, Channels: 18, Bytes: c, Loop: true})
		s.States = append(s.States, table.State{Name: string(rune('a' + i)), Clip: i, Then: table.None, Budget: 4_000_000})
	}
	var out bytes.Buffer
	_, err := table.Write(&out, s, clips, table.Options{Workers: 1})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

// Changes of 0.10 in relative luminance count when the darker side is below 0.80,
// three pairs a second are allowed (WCAG 2.3.1): codes of white are relative
// luminance times 255.
func TestFlashesOfATable(t *testing.T) {
	for _, c := range []struct {
		name   string
		a, b   [2]uint8
		halves int
		want   []string
	}{
		{"three a second", [2]uint8{0, 200}, [2]uint8{100, 100}, 6, nil},
		{"four a second", [2]uint8{0, 200}, [2]uint8{100, 100}, 8, []string{`clip "a"`}},
		{"both", [2]uint8{0, 200}, [2]uint8{10, 100}, 10, []string{`clip "a"`, `clip "b"`}},
		{"below a tenth", [2]uint8{100, 124}, [2]uint8{100, 100}, 10, nil},
		{"a tenth", [2]uint8{100, 126}, [2]uint8{100, 100}, 10, []string{`clip "a"`}},
		{"bright on both sides", [2]uint8{205, 255}, [2]uint8{255, 255}, 10, nil},
		{"two that are calm make a joint that is not", [2]uint8{0, 200}, [2]uint8{200, 0}, 7, []string{`from state "a" to state "b"`, `from state "b" to state "a"`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var got []string
			for _, f := range FlashesOf(blinking(t, c.a, c.b, c.halves), nil) {
				require.Equal(t, "safety.flashes", f.Code)
				got = append(got, f.Where)
			}
			require.Equal(t, c.want, got)
		})
	}
}
