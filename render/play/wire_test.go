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
		require.Equal(t, want, WireTime(&table.Table{Header: table.Header{Show: *s}}))
	}
}
