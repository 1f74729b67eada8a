package prove

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/table"
)

// What an interrupt may take, as controller/sim measures it (TestPausesAreCounted,
// TestPausesOfSlowParts): the slowest bit and the shortest gap count.
func TestRoutine(t *testing.T) {
	fast, slow := table.Part{Bit: 1250, Gap: 5000}, table.Part{Bit: 2500, Gap: 6300}
	for _, x := range []struct {
		parts []table.Part
		most  int64
	}{{[]table.Part{fast}, 58}, {[]table.Part{{Bit: 2500, Gap: 5000}}, 38}, {[]table.Part{slow}, 58}, {[]table.Part{slow, fast}, 38}} {
		most, _ := routine(&table.Show{Parts: x.parts})
		require.Equal(t, x.most, most)
		require.Equal(t, x.most < receiverCycles, most == 38)
	}
}
