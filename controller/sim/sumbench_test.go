package sim

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/controller/upload"
)

// BenchmarkSwitch measures what comes after a table's last byte, and before a broken
// upload is resumed: the sums that the controller works out over its memory, by
// CRC-32C. From the last block's answer to the switch's, over 40 KB, with a computer
// that answers a millisecond late: cycles a byte of the table, the record and the two
// questions included.
func BenchmarkSwitch(b *testing.B) {
	ready(b)
	for range b.N {
		// The simulated clock is a test's.
		all := func(string, string) (bool, error) { return true, nil }
		require.True(b, testing.RunTests(all, []testing.InternalTest{{Name: "switch", F: func(t *testing.T) { measureSwitch(t, b) }}}))
	}
	b.ReportMetric(0, "ns/op")
}

func measureSwitch(t *testing.T, b *testing.B) {
	for _, m := range []struct {
		name string
		nor  bool
	}{{"nor", true}, {"flash", false}} {
		tab := noise(t, 20, 40000/60, 7)
		k := keep(t, m.nor, 500000, 4, &tab.Show, "PG_LINE_WINDOW=255")
		k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
			var last time.Time
			_, err := upload.Upload(ctx, c, tab, upload.Options{Progress: func(done, all int) { last = time.Now() }})
			require.NoError(t, err)
			took := time.Since(last)
			b.ReportMetric(took.Seconds()*Hz/float64(len(tab.Bytes())), "upload_sum_cycles_byte_"+m.name)
			b.Logf("%s: %v after the last of %d bytes", m.name, took, len(tab.Bytes()))
		})
	}
}
