package energy

import (
	"slices"

	"paneglow/render/table"
)

// Week168 is the hours of a week.
const Week168 = 168.0

// Level is a lightness of the timetable and how long it holds in a week.
type Level struct {
	Lightness int     // per mille
	Hours     float64 // of a week's 168
}

// Week is how long a table's levels hold, brightest first: at any time the last
// entry of the day that has begun, or else the last of the nearest day before, as the
// player has it; without entries the full level all week.
func Week(levels []table.Level) []Level {
	// Changes may only be where an entry begins or a day does.
	at := []int64{0, 24 * 3600}
	for _, l := range levels {
		at = append(at, l.From)
	}
	slices.Sort(at)
	at = slices.Compact(at)
	seconds := map[int]int64{}
	for day := range 7 {
		for i := 1; i < len(at); i++ {
			seconds[holds(levels, day, at[i-1])] += at[i] - at[i-1]
		}
	}
	var out []Level
	for lightness, s := range seconds {
		out = append(out, Level{lightness, float64(s) / 3600})
	}
	slices.SortFunc(out, func(a, b Level) int { return b.Lightness - a.Lightness })
	return out
}

// holds is the lightness at a second of a day, 0 for Monday.
func holds(levels []table.Level, day int, second int64) int {
	for back := range 8 {
		d, best, lightness := (day+14-back)%7, int64(-1), 1000
		for _, l := range levels {
			if l.Days>>d&1 != 0 && l.From > best && (back > 0 || l.From <= second) {
				best, lightness = l.From, int(l.Lightness)
			}
		}
		if best >= 0 {
			return lightness
		}
	}
	return 1000
}
