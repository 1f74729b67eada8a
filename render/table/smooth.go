package table

import (
	"fmt"
	"slices"

	"paneglow/render/power"
)

// Smooth is what a clip is kept by that need not keep every frame equal.
type Smooth struct {
	Fine   []uint16 // Frames*Channels duties before rounding, FineFull is full
	Limits []int64  // microamperes that each supply allows any refresh; nil: any
	Error  float64  // most mean difference, in the unit of Differ; 0: 0.4
	// Differ appends the colour differences (CIEDE2000) of the pixels of two
	// frames of duties, 0..1 each, a die each.
	Differ func(dst []float64, a, b []float32) []float64
}

// SmoothError is the default of Smooth.Error.
const SmoothError = 0.4

// hops are the distances of keys that are tried, in frames.
var hops = []int{1, 2, 3, 4, 5, 6, 8, 10, 12, 16, 24, 32}

// packSmooth keeps a clip as key frames: the smallest whose mean difference to
// the duties, averaged over 50 ms, is within the limit. Where every frame equal
// is smaller, or nothing is within, that is kept instead.
func packSmooth(t *Show, meter *power.Meter, c *Clip, o Options) (packed, []int64, ClipReport, error) {
	fail := func(format string, args ...any) (packed, []int64, ClipReport, error) {
		return packed{}, nil, ClipReport{}, fmt.Errorf("table: clip %q: %s: %w", c.Name, fmt.Sprintf(format, args...), ErrData)
	}
	s := c.Smooth
	if len(s.Fine) != len(c.Bytes) {
		return fail("%d duties for %d codes", len(s.Fine), len(c.Bytes))
	}
	if c.Value {
		return fail("a clip that follows a value keeps every frame equal")
	}
	plain := *c
	plain.Smooth = nil
	best, currents, rep, err := packClip(t, meter, &plain, o)
	if err != nil {
		return packed{}, nil, rep, err
	}
	if c.Random {
		rep.Why += "; it begins by lot, and so keeps every frame equal"
		return best, currents, rep, nil
	}
	exact := len(best.payload)
	limit := s.Error
	if limit == 0 {
		limit = SmoothError
	}
	// Rounded codes differ from the duties too: every frame equal competes only
	// where it is as good as key frames have to be.
	rep.Mean, rep.High = newKeys(t, meter, c, 1).differenceOf(t.FPS, func(f int, fine []uint16) {
		for i, code := range c.Bytes[f*c.Channels : (f+1)*c.Channels] {
			fine[i] = uint16(code) << 8
		}
	})
	good := rep.Mean <= limit
	within, fits := false, false
	most := uint32(o.limits(c).cycles)
	fields := newFields(t, c, limit)
	for _, hop := range hops {
		if hop > 1 && hop >= c.Frames {
			break
		}
		k := newKeys(t, meter, c, hop)
		mean, high := k.difference(t.FPS)
		if mean > limit {
			break
		}
		within = true
		try := func(k *keys, mean, high float64, what string) {
			x := k.pack(o)
			if x == nil || slices.Max(x.cycles) > most {
				return // no memory for it, or no time
			}
			fits = true
			if (good || best.kind.Between()) && len(x.payload) >= len(best.payload) {
				return
			}
			best = *x
			rep.Mean, rep.High = mean, high
			rep.Why = fmt.Sprintf("%sa key every %s, in place of %d bytes with every frame equal; looks %.2f different on average, up to %.2f in 95 of 100 pixels (CIEDE2000 over 50 ms)", what, frames(hop), exact, mean, high)
			if k.lowered {
				rep.Why += "; lowered a little, to stay within the budget between the keys"
			}
		}
		if f, mean, high := fields.within(meter, hop, limit); f != nil {
			try(f, mean, high, fmt.Sprintf("%d colours in a row, ", len(f.row.tints)))
		}
		try(k, mean, high, "")
	}
	switch {
	case best.kind.Between():
	case !within:
		rep.Why += fmt.Sprintf("; even a key a frame differs by more than %.2f", limit)
	case !fits:
		rep.Why += fmt.Sprintf("; looks %.2f different on average, but key frames would take more memory or cycles than there are", rep.Mean)
	default:
		rep.Why += "; smaller than key frames and as near"
	}
	info := best.info(c)
	rep.Kind, rep.Bytes, rep.Work, rep.Cycles = best.kind, len(best.payload)+4, best.work, info.Cycles
	if !best.kind.Between() {
		return best, currents, rep, nil
	}
	// What a reader will see, frame by frame.
	d, err := newDecoder(t, &info, best.payload)
	if err != nil {
		return packed{}, nil, rep, err
	}
	codes := make([]uint8, c.Channels)
	rep.Peak = 0
	for f := range c.Frames {
		if err := d.Next(codes); err != nil {
			return packed{}, nil, rep, err
		}
		currents[f] = meter.Current(codes)
		rep.Peak = max(rep.Peak, currents[f])
	}
	return best, currents, rep, nil
}

func frames(n int) string {
	if n == 1 {
		return "frame"
	}
	return fmt.Sprintf("%d frames", n)
}
