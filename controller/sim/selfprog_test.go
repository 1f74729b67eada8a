package sim

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// The model of the chip's own flash: a page is erased and written in its times, and
// every rule of the data sheet that a firmware breaks ends the run.
//
// Source: the ATmega2560's data sheet on self-programming (from memory): SPM out of the
// boot section, within four cycles of SPMCSR, nothing fetched or read below while a
// page is erased or written; 3.7 to 4.5 ms for each.
func TestSelfProgrammingRules(t *testing.T) {
	ready(t)
	t.Parallel()
	for wrong, says := range []string{"", "is run while the flash below", "are read, at", "is run while the flash below", "four are allowed", "outside the boot section"} {
		s := &Script{}
		s.SelfProgram(ownPage, ownPage)
		s.Peek("got")
		r, err := try(t, Firmware{Sources: []string{"sim/testdata/selfprog.c"}, Define: []string{fmt.Sprintf("WRONG=%d", wrong)},
			Flags: []string{"-Wl,--section-start=.boot=0x3e000", "-Wl,--undefined=program"}}, s)
		if says != "" {
			require.ErrorContains(t, err, says, "rule %d", wrong)
			continue
		}
		require.NoError(t, err)
		require.Equal(t, Hex{4, 0x5a}, r.Peeks["got"])
		require.Equal(t, SelfProg{Pages: 1, Erasures: 1, Cycles: 144_000, Longest: 72_000}, r.SelfProg)
		require.Greater(t, r.Cycles, Cycles(144_000))
	}
}
