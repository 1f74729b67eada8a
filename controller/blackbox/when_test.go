package blackbox

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/table"
)

func TestAt(t *testing.T) {
	tab := cabinet(t, table.Plain) // 40 refreshes a second
	l := sample(tab)               // read at 03:00:00 with refresh 400; Monday 21:58:00 at refresh 10
	for _, c := range []struct {
		when string
		want uint32
	}{
		{"2026-11-29T03:00:00Z", 400}, {"2026-11-29T02:59:58Z", 320}, {"2026-11-29T03:59:59+01:00", 360},
		{"21:58:00", 10}, {"21:58", 10}, {"Mon 21:58:01", 50}, {"21:58:09", 370},
	} {
		run, refresh, err := l.At(l.Spans(), tab, c.when)
		require.NoError(t, err, c.when)
		require.Zero(t, run)
		require.Equal(t, c.want, refresh, c.when)
	}
	for when, want := range map[string]string{
		"2026-11-29T02:59:49Z": "before the last start, at 2026-11-29T02:59:50Z",
		"2026-11-29T03:00:01Z": "is after the log was read",
		"21:58:10":             "is not in what can be played again",
		"Tue 21:58:01":         "is not in what can be played again",
		"Tag 21:58:01":         "no day \"Tag\"",
		"noon":                 "no time \"noon\"",
		"25:00":                "no time \"25:00\"",
	} {
		_, _, err := l.At(l.Spans(), tab, when)
		require.ErrorContains(t, err, want)
	}
	// Refreshes before the clock was told are found by it too, and every time leads back
	// to its refresh.
	late := sample(tab)
	late.Refreshes, late.Entries = 40*90000, late.Entries[:7]
	late.Entries[6].Bytes = Record{Kind: Clock, Refresh: 4000, Body: [9]byte{1, 0, 0, 0, 0, 0x20, 0xa1, 7, 0}}.Bytes() // Tue 00:00:00.5
	for when, want := range map[string]uint32{"Tue 00:00:00": 4000, "Tue 00:00:01": 4020, "Mon 23:59:59": 3940, "Mon 23:58:21": 20, "23:58:30": 40*86400 + 380} {
		spans := late.Spans()
		run, refresh, err := late.At(spans, tab, when)
		require.NoError(t, err, when)
		require.Equal(t, want, refresh, when)
		s, err := Find(spans, tab, run, refresh)
		require.NoError(t, err)
		require.Contains(t, s.Time(spans, tab, refresh), when)
	}
	_, _, err := late.At(late.Spans(), tab, "Mon 23:58:20")
	require.ErrorContains(t, err, "refreshes 1 to 3600000 of run 0 (Mon 23:58:20 to Wed 00:58:20)")

	l.Entries[6].Bytes = Record{Kind: News, Refresh: 10}.Bytes()
	_, _, err = l.At(l.Spans(), tab, "21:58:00")
	require.ErrorContains(t, err, "nobody told the panel the time of day")

	// Over midnight, and many days later: the last time that it was so late.
	l = sample(tab)
	l.Refreshes = 40 * 86400 * 9
	_, refresh, err := l.At(l.Spans(), tab, "00:00:00")
	require.NoError(t, err)
	require.EqualValues(t, 10+40*7320+40*86400*8, refresh)
	_, refresh, err = l.At(l.Spans(), tab, "Mon 21:58:00")
	require.NoError(t, err)
	require.EqualValues(t, 10+40*86400*7, refresh)
}
