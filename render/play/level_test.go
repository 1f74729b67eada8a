package play

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/drive"
	"paneglow/render/table"
)

func TestLevelOnlyLowers(t *testing.T) {
	s := calm(t, alarm)
	s.tell(Event{Kind: Level, Value: 500})
	// L* 50 is a luminance of 0.184187 (CIE 15), 210 x 0.184187 = 38.7
	s.shows(38)
	require.InDelta(t, 0.184187, float64(s.last.Gain)/drive.FullGain, 1e-5)
	s.tell(Event{Kind: Level, Value: 0})
	s.shows(0)
	s.tell(Event{Kind: Level, Value: 1000})
	s.shows(210)
}

// Source: the definition in floating point, CIE 15:2018; L* 50 = 18.4187 % as
// tables print it.
func TestLinearFollowsCIE(t *testing.T) {
	for p := range 1001 {
		l := float64(p) / 10
		y := l * 27 / 24389
		if l > 8 {
			y = math.Pow((l+16)/116, 3)
		}
		require.InDelta(t, y*drive.FullGain, float64(Linear(p)), 0.5001, "lightness %d", p)
	}
	require.EqualValues(t, 0, Linear(-5))
	require.EqualValues(t, drive.FullGain, Linear(2000))
}

func TestTimetable(t *testing.T) {
	tab := cabinet(t)
	tab.Levels = []table.Level{{From: 6 * 3600, Days: 0x7f, Lightness: 1000}, {From: 22 * 3600, Days: 0x1f, Lightness: 300}}
	p, err := NewPlayer(tab, Options{First: alarm, KnownLoads: true})
	require.NoError(t, err)
	low := Linear(300)
	for _, c := range []struct {
		day, second int
		want        uint32
	}{
		{0, 22*3600 - 1, drive.FullGain}, {0, 22 * 3600, low}, {1, 0, low}, {1, 6*3600 - 1, low}, {1, 6 * 3600, drive.FullGain},
		{5, 5 * 3600, low}, {5, 23 * 3600, drive.FullGain}, {6, 23 * 3600, drive.FullGain}, {0, 3600, drive.FullGain},
	} {
		require.NoError(t, p.Tell(0, Event{Kind: Clock, Index: c.day, Value: c.second}))
		require.Equal(t, c.want, p.level(), "day %d second %d", c.day, c.second)
	}
	// The clock runs on by itself, over midnight.
	require.NoError(t, p.Tell(0, Event{Kind: Clock, Index: 6, Value: 86_399}))
	codes := make([]byte, tab.Channels())
	for range 12 {
		p.Next(codes)
	}
	require.Equal(t, 0, p.day)
	require.Equal(t, 0, p.second)
}
