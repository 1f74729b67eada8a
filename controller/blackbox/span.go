package blackbox

import (
	"fmt"
	"strings"

	"paneglow/render/table"
)

// Span is a stretch of refreshes of one beginning of the player of which nothing is
// missing.
type Span struct {
	Run      int    // of the player's beginnings in the log, from 0
	From, To uint32 // refreshes that can be played again; To is the last one that the log knows of
	Why      string // it ends there
	PerFrame int    // refreshes of a frame; 0: not known
	Sum      uint32 // of the table
	Known    bool   // Sum is

	seed    uint32
	still   [4]uint8
	service uint8
	begun   bool // From is the player's first refresh; else a check point's
	records []Record
	checks  []int // records that end a check point
}

// Spans cuts a log. Every start of the controller and every table begins a run.
func (l *Log) Spans() []Span {
	c := cutter{run: -1}
	for i := range l.Entries {
		e := &l.Entries[i]
		if i > 0 && e.Number != l.Entries[i-1].Number+1 {
			c.lose("records are missing before record %d", e.Number)
		}
		if e.Blank() {
			continue
		}
		r, ok := Parse(e.Number, e.Bytes)
		if !ok {
			c.lose("record %d is torn or damaged", e.Number)
			continue
		}
		c.take(r)
	}
	if c.open && l.Refreshes > c.last {
		c.last = l.Refreshes
	}
	c.close(c.last, "the log was read then")
	for i := range c.out {
		c.out[i].still, c.out[i].service = c.still, c.service
		for k := range c.out {
			if c.out[k].Run == c.out[i].Run && c.out[k].Known {
				c.out[i].Sum, c.out[i].Known = c.out[k].Sum, true
			}
		}
	}
	return c.out
}

// cutter takes record after record.
type cutter struct {
	out     []Span
	now     Span
	open    bool
	run     int
	last    uint32   // the latest refresh that a record of this run tells of
	group   []Record // of a check point
	still   [4]uint8
	service uint8
}

func (c *cutter) close(to uint32, why string) {
	c.group = c.group[:0]
	if c.open && to >= c.now.From {
		c.now.To, c.now.Why = to, why
		c.out = append(c.out, c.now)
	}
	c.open = false
}

// lose ends a span because of a record that is not there: it may have told of
// the same refresh as the one before it.
func (c *cutter) lose(format string, args ...any) {
	c.close(max(c.last, 1)-1, fmt.Sprintf(format, args...))
}

func (c *cutter) take(r Record) {
	switch r.Kind {
	case Unit:
		return
	case Start:
		// What waited in memory was lost with the power.
		c.close(max(c.last, 1)-1, fmt.Sprintf("the controller started anew with record %d", r.Number))
		c.last = 0
		return
	case Begin:
		c.close(c.last, fmt.Sprintf("another table began with record %d", r.Number))
		c.run++
		c.last = 0
		c.now = Span{Run: c.run, From: 1, PerFrame: int(r.Body[4]), seed: r.u32(0), begun: true}
		c.open = true
		return
	case Left:
		c.close(max(r.Refresh, 1)-1, fmt.Sprintf("too much happened: %d records were left out", r.u16(0)))
		c.last = max(c.last, r.u32(2))
		return
	case Stream:
		if r.Body[0] != 0 {
			c.close(max(r.Refresh, 1)-1, "a computer showed frames of its own")
		}
	case State:
		copy(c.still[:], r.Body[4:8])
	case Service:
		c.service = r.Body[1]
	}
	if c.run < 0 {
		c.run = 0 // its beginning is gone
	}
	if r.Refresh < c.last {
		// No controller writes that.
		c.lose("record %d tells of refresh %d after one of %d", r.Number, r.Refresh, c.last)
		return
	}
	c.last = r.Refresh
	if r.Kind == Value {
		at, _ := r.Values()
		c.last = at[len(at)-1]
	}
	if c.open {
		c.now.records = append(c.now.records, r)
	}
	c.checkPoint(r)
	if c.open && r.Kind == Table {
		c.now.Sum, c.now.Known = r.u32(0), true
	}
}

// checkPoint looks for the records of one: from Table to Check, all of one refresh.
func (c *cutter) checkPoint(r Record) {
	switch {
	case r.Kind == Table && r.Body[8] != 0:
		c.group = append(c.group[:0], r)
		return
	case len(c.group) == 0:
		return
	case r.Refresh != c.group[0].Refresh:
		c.group = c.group[:0]
		return
	}
	c.group = append(c.group, r)
	if r.Kind != Check {
		return
	}
	if !c.open {
		c.open = true
		c.now = Span{Run: c.run, From: r.Refresh, PerFrame: int(c.group[0].Body[4]), Sum: c.group[0].u32(0), Known: true}
		c.now.records = append(c.now.records, c.group...)
	}
	c.now.checks = append(c.now.checks, len(c.now.records)-1)
	c.group = c.group[:0]
}

func (s *Span) String() string {
	return fmt.Sprintf("refreshes %d to %d of run %d", s.From, s.To, s.Run)
}

// words are spans, for a message, with the panel's times where it knew them; t may be
// nil.
func words(spans []Span, t *table.Table) string {
	if len(spans) == 0 {
		return "nothing in this log can be played again"
	}
	const most = 8
	var s []string
	for i := range spans {
		if len(spans) > most && i == most/2 {
			s = append(s, fmt.Sprintf("%d more", len(spans)-most))
		}
		if len(spans) <= most || i < most/2 || i >= len(spans)-most/2 {
			s = append(s, spans[i].String()+spans[i].times(spans, t))
		}
	}
	return "what can be played again is " + strings.Join(s, ", ")
}

// times are those of a span's ends, in brackets.
func (s *Span) times(spans []Span, t *table.Table) string {
	if t == nil {
		return ""
	}
	from, to := s.Time(spans, t, s.From), s.Time(spans, t, s.To)
	if from == "" {
		return ""
	}
	return fmt.Sprintf(" (%s to %s)", from, to)
}

// Find gives the span that holds a refresh of a run; run -1 is the last one. t is for
// the times in an error, and may be nil.
func Find(spans []Span, t *table.Table, run int, refresh uint32) (*Span, error) {
	if run < 0 {
		for i := range spans {
			run = max(run, spans[i].Run)
		}
	}
	for i := range spans {
		if s := &spans[i]; s.Run == run && refresh >= s.From && refresh <= s.To {
			return s, nil
		}
	}
	for i := range spans {
		if s := &spans[i]; s.Run == run && refresh > s.To && (i+1 == len(spans) || spans[i+1].Run != run || spans[i+1].From > refresh) {
			return nil, fmt.Errorf("refresh %d of run %d: the log is exact up to refresh %d only, for %s; %s", refresh, run, s.To, s.Why, words(spans, t))
		}
	}
	return nil, fmt.Errorf("refresh %d of run %d: the log does not reach back to it; %s", refresh, run, words(spans, t))
}
