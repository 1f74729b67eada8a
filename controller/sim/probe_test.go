package sim

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The pause of a probe is what was asked for, within half a microsecond; both runs
// keep the times of their bits.
func TestProbe(t *testing.T) {
	ready(t)
	t.Parallel()
	pauses := []int{15, 16, 30, 50, 80, 123, 280, 600, 2000}
	f := Firmware{
		Sources: []string{"sim/testdata/probe.c", "player/port/avr/pg_probe.c", "player/port/avr/pg_pixels.S"},
		Include: []string{part(t, "1250", "5000"), "player/port/avr"},
		Define:  []string{"T_PAUSES=14,2001," + strings.Trim(strings.ReplaceAll(fmt.Sprint(pauses), " ", ","), "[]")},
	}
	s := &Script{}
	l := Common
	l.Gap, l.Latch = 10*time.Microsecond, 10*time.Microsecond
	s.Watch("B7", l)
	s.Peek("refused")
	r := run(t, f, s)
	require.EqualValues(t, 2, r.Uint("refused"), "14 and 2001 us")
	w := r.Waves[0]
	require.Zero(t, w.Bad)
	require.Len(t, w.Refreshes, 2*len(pauses))
	for i, p := range pauses {
		a, b := w.Refreshes[2*i], w.Refreshes[2*i+1]
		require.Equal(t, "010203010203", fmt.Sprintf("%x", []byte(a.Codes)))
		require.Equal(t, "fafbfc", fmt.Sprintf("%x", []byte(b.Codes)))
		got := (b.At - a.End).Of()
		t.Logf("%d us: %v", p, got)
		require.InDelta(t, float64(p), float64(got)/1000, 0.5, "pause of %d us", p)
	}
}
