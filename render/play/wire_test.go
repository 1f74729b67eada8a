package play

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/table"
)

// Worked by hand: 300 pixels x 24 bits x 1.25 us + 280 us = 9.28 ms (107.76
// refreshes a second); at 400 kHz, 2.5 us a bit, 18.28 ms.
func TestWireTime(t *testing.T) {
	for bit, want := range map[int64]int64{1250: 9280, 2500: 18280} {
		s := &table.Show{FPS: 40, Lines: []string{"a"}, Strips: []table.Strip{{Name: "s", Pixels: 300}},
			Parts: []table.Part{{Name: "p", Order: "GRB", Bit: bit, Latch: 280_000}}}
		s.Parts[0].Dies = 3
		require.Equal(t, want, WireTime(s, false))
	}
	// 100 pixels and 50 of four dies: 4.6 ms in turn, 3 ms side by side.
	s := &table.Show{FPS: 40, Lines: []string{"a", "b"}, Strips: []table.Strip{{Name: "s", Pixels: 100}, {Name: "t", Pixels: 50, Line: 1, Part: 1, Missing: []int{3}}},
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 80_000}, {Name: "w", Order: "GRBW", Bit: 1250, Latch: 280_000}}}
	s.Parts[0].Dies, s.Parts[1].Dies = 3, 4
	require.EqualValues(t, 3000+49*40+280, WireTime(s, false))
	require.EqualValues(t, 3280, WireTime(s, true))
}
