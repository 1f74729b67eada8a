package commission

import (
	"context"
	"fmt"
	"math"
	"strings"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/anim/unit"
)

// What is probed, in microseconds: the controller makes no shorter pause between
// two runs, and no part is known to us that needs more than 300 us (common practice;
// data sheets give 50 to 280 us).
const (
	leastPause = 15
	mostPause  = 600
)

// Margins between what a strip did on the bench and what is relied on: a pause
// inside a frame stays below half of what latched, the pause after it is half as
// long again. Chips, supply and temperature differ; one strip was tried.
const (
	gapShare   = 0.5
	latchShare = 1.5
)

// Timing probes, on a strip of every part that begins a data line, how long a pause has to be for
// the strip to take the next byte as a new frame, and writes gap and latch of the
// part: the longest pause inside a frame, the shortest after it.
func (r *Run) Timing(ctx context.Context) error {
	done := map[string]bool{}
	for _, strips := range r.lay.lines {
		// A probe's pixels are the first of a line.
		strip := strips[0]
		part := r.m.Strips[r.stripOf(strip)].Part
		if done[part] || r.lay.Strips[strip].Count < 2 {
			continue
		}
		done[part] = true
		if err := r.probe(ctx, strip, r.m.Part(part)); err != nil {
			return err
		}
	}
	for i := range r.m.Parts {
		if p := &r.m.Parts[i]; !done[p.Name] {
			r.found(finding.Note, "commission.not_probed", "part "+p.Name, "hang a strip of it alone on a line for the probe, or keep what its data sheet says", "no strip of it begins a data line with two pixels or more, so its pauses were not probed")
		}
	}
	return nil
}

// wire is a color's bytes on the wire of a strip.
func (r *Run) wire(order string, color int) (out [4]uint8) {
	if i := strings.IndexByte(order, "RGBW"[color]); i >= 0 {
		out[i] = spot / 2
	}
	return out
}

func (r *Run) probe(ctx context.Context, strip int, part *show.Part) error {
	s := &r.lay.Strips[strip]
	if err := r.dark().show(ctx); err != nil {
		return err
	}
	latched := func(pause int) (bool, error) {
		// Dark first: what the second pixel showed before must not be taken for news.
		clear := Probe{Strip: strip, First: 2, Second: 2, Pause: mostPause}
		if err := r.Panel.Probe(ctx, clear); err != nil {
			return false, err
		}
		if err := r.Panel.Probe(ctx, Probe{Strip: strip, First: 1, Second: 1, A: r.wire(part.Order, 0), B: r.wire(part.Order, 2), Pause: pause}); err != nil {
			return false, err
		}
		n, err := r.choose(ctx, Two, s.Name, fmt.Sprintf("strip %q: what do its first two pixels show?", s.Name), "red, then blue", "blue, then nothing", "neither")
		if err == nil && n == 2 {
			r.found(finding.Error, "commission.probe", "strip "+s.Name, "commission its colors first, and look at the data wire", "it showed neither what a pause that latches gives nor what one that does not")
			return false, ErrWiring
		}
		return n == 1, err
	}
	switch at, err := latched(mostPause); {
	case err != nil:
		return err
	case !at:
		r.found(finding.Error, "commission.latch", "part "+part.Name, "see whether the strip hangs on this line at all", "a pause of %d us did not latch it", mostPause)
		return nil
	}
	if at, err := latched(leastPause); err != nil {
		return err
	} else if at {
		r.found(finding.Warning, "commission.gap", "part "+part.Name, "interrupts must stay off while a frame goes out: not every part forgives a pause", "a pause of %d us latches it", leastPause)
		return nil
	}
	// By steps of a twentieth: thirty of them between the ends.
	pause := func(n int) int {
		return int(math.Round(leastPause * math.Pow(float64(mostPause)/leastPause, float64(n)/100)))
	}
	n, err := bisect(0, 99, func(n int) (bool, error) {
		at, err := latched(pause(n))
		return !at, err
	})
	if err != nil {
		return err
	}
	gap, latch := unit.Time(math.Floor(float64(pause(n))*gapShare*1000)), unit.Time(math.Ceil(float64(pause(n+1))*latchShare)*1000)
	r.found(finding.Note, "commission.pause", "part "+part.Name, "",
		"a pause of %d us was forgiven, one of %d us latched: inside a frame up to %v, after it %v", pause(n), pause(n+1), gap, latch)
	if err := r.change(show.SetPart(r.File, r.Source, part.Name, "data.gap", show.Quote(gap.String()))); err != nil {
		return err
	}
	return r.change(show.SetPart(r.File, r.Source, part.Name, "data.latch", show.Quote(latch.String())))
}
