package blackbox

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"paneglow/render/table"
)

const (
	daySeconds  = 86400
	weekSeconds = 7 * daySeconds
)

// rate is how many refreshes a second has.
func (s *Span) rate(t *table.Table) int64 { return int64(t.FPS) * int64(max(s.PerFrame, 1)) }

// At finds the refresh of a time, in the run where it is. Known are
//
//	2026-11-29T14:03:20Z   by the clock of the computer that read the log, back to the last start
//	Mon 14:03:20           by the panel's own clock, the last time that it was so late
//	14:03:20               the same on any day
//
// A time before the panel was told one is counted back to, as far as the run reaches.
// The panel's clock is told by a computer and is written down when it is off by more
// than two seconds: so near the moment is. The first goes by refreshes, of which a
// kept-busy controller leaves some out (counter late refreshes).
func (l *Log) At(spans []Span, t *table.Table, when string) (run int, refresh uint32, err error) {
	if moment, err := time.Parse(time.RFC3339, when); err == nil {
		return l.back(spans, t, moment)
	}
	day, clock := -1, when
	if word, rest, ok := strings.Cut(when, " "); ok {
		if day = slices.Index(days[:], word); day < 0 {
			return 0, 0, fmt.Errorf("no day %q: use Mon, Tue, Wed, Thu, Fri, Sat or Sun", word)
		}
		clock = rest
	}
	c, err := time.Parse("15:04:05", clock)
	if err != nil {
		if c, err = time.Parse("15:04", clock); err != nil {
			return 0, 0, fmt.Errorf("no time %q: use \"14:03:20\", \"Mon 14:03:20\" or \"2026-11-29T14:03:20Z\"", when)
		}
	}
	want := int64(c.Hour()*3600 + c.Minute()*60 + c.Second())
	turn := int64(daySeconds)
	if day >= 0 {
		want, turn = want+int64(day)*daySeconds, weekSeconds
	}
	told := false
	for i := len(spans) - 1; i >= 0; i-- {
		s := &spans[i]
		clocks := s.clocks(spans)
		for k := len(clocks) - 1; k >= 0; k-- {
			told = true
			c := &clocks[k]
			// Where this clock holds: up to the next one, the first one backwards too.
			lo, hi := max(int64(c.refresh), int64(s.From)), int64(s.To)
			if k == 0 {
				lo = int64(s.From)
			}
			if k+1 < len(clocks) {
				hi = min(hi, int64(clocks[k+1].refresh)-1)
			}
			left := ((want-c.second)%turn + turn) % turn
			at := c.at(left, s.rate(t))
			if at > hi {
				at = c.at(left-turn, s.rate(t))
			}
			if at < lo || at > hi {
				continue
			}
			at += (hi - at) / (turn * s.rate(t)) * turn * s.rate(t)
			return s.Run, uint32(at), nil
		}
	}
	if !told {
		return 0, 0, fmt.Errorf("nobody told the panel the time of day: use --refresh, or a moment such as %q", l.Read.UTC().Format(time.RFC3339))
	}
	return 0, 0, fmt.Errorf("%s is not in what can be played again; %s", when, words(spans, t))
}

// told is a refresh whose time of day the log has.
type told struct {
	refresh uint32
	second  int64 // of the week, from Monday on
	micro   int64 // since that second
}

// clocks are the times that the log has of a span's run, in order.
func (s *Span) clocks(spans []Span) (out []told) {
	for i := range spans {
		if spans[i].Run != s.Run {
			continue
		}
		for k := range spans[i].records {
			r := &spans[i].records[k]
			if r.Kind != Clock || r.Body[0] > 6 || r.u32(1) >= daySeconds {
				continue
			}
			out = append(out, told{r.Refresh, int64(r.Body[0])*daySeconds + int64(r.u32(1)), min(int64(r.u32(5)), 999_999)})
		}
	}
	return out
}

// at is the first refresh so many seconds later.
func (c *told) at(seconds, rate int64) int64 {
	if seconds == 0 {
		return int64(c.refresh)
	}
	micro := (seconds*1_000_000 - c.micro) * rate
	n := micro / 1_000_000
	if n*1_000_000 < micro {
		n++
	}
	return int64(c.refresh) + n
}

// Time is the panel's own time of day with a refresh of a span's run, such as
// "Mon 14:03:20"; "" where nobody told it.
func (s *Span) Time(spans []Span, t *table.Table, refresh uint32) string {
	clocks := s.clocks(spans)
	if len(clocks) == 0 {
		return ""
	}
	c := &clocks[0]
	for k := range clocks {
		if clocks[k].refresh <= refresh {
			c = &clocks[k]
		}
	}
	micro := c.micro + (int64(refresh)-int64(c.refresh))*1_000_000/s.rate(t)
	n := micro / 1_000_000
	if n*1_000_000 > micro {
		n--
	}
	n = ((c.second+n)%weekSeconds + weekSeconds) % weekSeconds
	return fmt.Sprintf("%s %s", days[n/daySeconds], second(uint32(n%daySeconds)))
}

// back counts from the moment of reading.
func (l *Log) back(spans []Span, t *table.Table, moment time.Time) (int, uint32, error) {
	if len(spans) == 0 {
		return 0, 0, fmt.Errorf("%s", words(spans, t))
	}
	s := &spans[len(spans)-1]
	ago := l.Read.Sub(moment)
	if ago < 0 {
		return 0, 0, fmt.Errorf("%s is after the log was read, at %s", moment.Format(time.RFC3339), l.Read.Format(time.RFC3339))
	}
	begun := time.Duration(float64(l.Refreshes) / float64(s.rate(t)) * float64(time.Second))
	if ago >= begun {
		return 0, 0, fmt.Errorf("%s is before the last start, at %s: use the panel's own clock, such as \"Mon 14:03:20\", or --run and --refresh",
			moment.Format(time.RFC3339), l.Read.Add(-begun).UTC().Format(time.RFC3339))
	}
	return s.Run, l.Refreshes - uint32(ago.Seconds()*float64(s.rate(t))), nil
}
