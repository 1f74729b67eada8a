package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/render/table"
)

// When a timetable dims nothing: the demo's, which says so later on a weekend.
func TestBright(t *testing.T) {
	every, week, weekend := uint8(0x7f), uint8(0x1f), uint8(0x60) // from Monday on
	levels := []table.Level{{From: 22 * 3600, Days: every, Lightness: 400}, {From: 5*3600 + 1800, Days: week, Lightness: 1000}, {From: 8 * 3600, Days: weekend, Lightness: 1000}}
	at := func(day, hour int) time.Time { return time.Date(2026, 11, day, hour, 0, 7, 0, time.UTC) } // the 27th is a Friday
	for now, want := range map[time.Time]string{
		at(27, 23): "from Sat 08:00 on",
		at(28, 3):  "from Sat 08:00 on",
		at(29, 23): "from Mon 05:30 on",
		at(27, 12): "from Fri 12:00 on",
	} {
		l := &lights{levels: levels, now: now}
		require.Equal(t, want, l.bright())
	}
	l := &lights{levels: levels[:1], now: at(27, 12)}
	require.Equal(t, "with a show that has no [[level]]", l.bright())
}
