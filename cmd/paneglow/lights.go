package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"paneglow/controller/attach"
	"paneglow/controller/commission"
	"paneglow/controller/link"
	"paneglow/controller/live"
	"paneglow/controller/upload"
	"paneglow/render/drive"
	"paneglow/render/play"
	"paneglow/render/table"
)

// lights are a commission.Panel behind a line.
type lights struct {
	*live.Strips
	w      *attach.Line
	begun  bool
	levels []table.Level // of the show that plays
	level  uint32        // by its timetable, k/65536 of the light
	now    time.Time     // when that was
}

// brighten takes back what dims the strips: a level that the machine told. What a
// timetable dims now is made up for by brighter codes, as far as they go.
func (l *lights) brighten(ctx context.Context, now time.Time, say func(string, ...any)) error {
	l.level = drive.FullGain
	h, err := upload.Playing(ctx, l.w.Conn)
	if err != nil {
		return err
	}
	if h == nil {
		return errNoShow
	}
	if err := l.w.Soon(ctx, link.Level, link.LevelBody(1000)); err != nil {
		return err
	}
	if l.levels = h.Levels; len(l.levels) == 0 {
		return nil
	}
	// The panel goes by its own clock, which this computer sets: then both know.
	day, second := weekday(now)
	if err := l.w.Soon(ctx, link.Clock, link.ClockBody(uint8(day), uint32(second))); err != nil {
		return err
	}
	l.now, l.level = now, play.Planned(l.levels, day, second)
	switch {
	case l.level == 0:
		return fmt.Errorf("by its timetable the panel is dark now: do this %s", l.bright())
	case l.level < drive.FullGain:
		say("by its timetable the panel is dimmed to %.1f %% of its light now: codes are sent brighter by that", 100*float64(l.level)/drive.FullGain)
	}
	return nil
}

// weekday is the time of day as the panel counts it, Monday 0.
func weekday(t time.Time) (day, second int) {
	h, m, s := t.Clock()
	return (int(t.Weekday()) + 6) % 7, 3600*h + 60*m + s
}

// bright says when the timetable dims nothing.
func (l *lights) bright() string {
	for m := range 7 * 24 * 60 {
		t := l.now.Add(time.Duration(m) * time.Minute).Truncate(time.Minute)
		if day, second := weekday(t); play.Planned(l.levels, day, second) == drive.FullGain {
			return t.Format("from Mon 15:04 on")
		}
	}
	return "with a show that has no [[level]]"
}

// atFull is an error while the timetable dims: currents would be those of less light.
func (l *lights) atFull() error {
	if l.level < drive.FullGain {
		return fmt.Errorf("by its timetable the panel is dimmed to %.1f %% of its light now, and so are the currents: measure %s", 100*float64(l.level)/drive.FullGain, l.bright())
	}
	return nil
}

func (l *lights) Show(ctx context.Context, codes []uint8) error {
	codes = slices.Clone(codes)
	for i, c := range codes { // what the level makes of it is rounded down
		codes[i] = uint8(min(255, (uint32(c)*drive.FullGain+l.level-1)/l.level))
	}
	if !l.begun {
		if err := l.Begin(ctx, l.w.Conn, len(codes)); err != nil {
			return err
		}
		l.begun = true
	}
	return l.Strips.Show(ctx, codes)
}

// Probe needs the line of pixels for itself: the stream ends first.
func (l *lights) Probe(ctx context.Context, p commission.Probe) error {
	if err := l.end(); err != nil {
		return err
	}
	b := []byte{uint8(p.Strip), uint8(p.First)}
	b = append(b, p.A[:]...)
	b = append(b, uint8(p.Pause), uint8(p.Pause>>8), uint8(p.Second))
	b = append(b, p.B[:]...)
	_, err := l.w.Ask(ctx, link.Probe, b)
	switch {
	case link.IsStatus(err, link.Busy):
		return fmt.Errorf("a probe wants all loads to stand still, and the panel to be told so (a machine that tells nothing: --all-stopped): %w", err)
	case link.IsStatus(err, link.Refused), link.IsStatus(err, link.Unknown):
		return fmt.Errorf("this firmware makes no probes: build it with pg_probe_message: %w", err)
	}
	return err
}

func (l *lights) end() error {
	if !l.begun {
		return nil
	}
	l.begun = false
	return l.End()
}
