package sim

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/controller/upload"
)

// timed notes when the first block was sent.
type timed struct {
	*Live
	first time.Time
}

func (l *timed) Write(p []byte) (int, error) {
	if l.first.IsZero() && len(p) > 200 {
		l.first = time.Now()
	}
	return l.Live.Write(p)
}

// efficiency uploads a table of 40 KB and gives the payload's share of the slower of line and
// memory, from the first block to the last answer; and the time of all of it.
func efficiency(tb *testing.T, nor bool, rate, pages, window int) (share float64, all time.Duration) {
	tab := noise(tb, 20, 40000/60, 7)
	k := keep(tb, nor, rate, pages, &tab.Show, fmt.Sprintf("PG_LINE_WINDOW=%d", window))
	k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
		var last time.Time
		begun := time.Now()
		_, err := upload.Upload(ctx, c, tab, upload.Options{Progress: func(done, all int) { last = time.Now() }})
		require.NoError(t, err)
		all = time.Since(begun)
		n := float64(len(tab.Bytes()))
		best := n * 10 / float64(k.rate)
		if k.nor {
			best = max(best, n/4096*(norSector+16*norPage).Seconds())
		} else {
			best = max(best, n/256*(2*ownPage).Seconds())
		}
		share = best / last.Sub(k.line.first).Seconds()
	})
	return share, all
}

// BenchmarkUpload measures how much of the slower of line and memory an upload uses,
// from the first block to the last answer, with the typical times of data sheets and
// a computer that answers a millisecond late: into serial NOR flash, and into the
// chip's own.
func BenchmarkUpload(b *testing.B) {
	ready(b)
	for range b.N {
		// The simulated clock is a test's.
		all := func(string, string) (bool, error) { return true, nil }
		require.True(b, testing.RunTests(all, []testing.InternalTest{{Name: "upload", F: func(t *testing.T) { measureUpload(t, b) }}}))
	}
	b.ReportMetric(0, "ns/op")
}

func measureUpload(t *testing.T, b *testing.B) {
	worst := 1.0
	for _, m := range []struct {
		name  string
		nor   bool
		cases [3]struct{ rate, pages, window int }
	}{
		{"nor", true, [3]struct{ rate, pages, window int }{{115200, 2, 510}, {250000, 5, 510}, {500000, 10, 510}}},
		{"flash", false, [3]struct{ rate, pages, window int }{{115200, 2, 510}, {250000, 4, 510}, {500000, 4, 510}}},
	} {
		for _, c := range m.cases {
			share, all := efficiency(t, m.nor, c.rate, c.pages, c.window)
			worst = min(worst, share)
			b.ReportMetric(share, fmt.Sprintf("upload_efficiency_%s_%d", m.name, c.rate))
			b.Logf("%s, %d baud, %d pages: %.3f; all of the upload %v", m.name, c.rate, c.pages, share, all)
		}
	}
	b.ReportMetric(worst, "upload_efficiency")
}
