package table

import "bytes"

// turning gives a clip as one that repeats after fewer frames at another place, every
// strip moved round by its own number of pixels; nil where it does not. frames is how
// many the clip has.
func (p *planes) turning(frames int) *planes {
	for period := 1; period < p.frames && p.frames > 1; period++ {
		turns := p.turnsAfter(period, frames)
		if turns == nil {
			continue
		}
		out := *p
		out.frames, out.period, out.turns = period, period, turns
		out.data = p.data[:period*p.bytes]
		out.twin = nil
		out.findTwins()
		return &out
	}
	return nil
}

// turnsAfter tells how every strip has moved when a frame comes again after some
// frames, in all frames of the clip; nil where one does not.
func (p *planes) turnsAfter(period, frames int) []turn {
	var turns []turn
	for i := range p.spans {
		s := &p.spans[i]
		by := -1
		for k := 0; k < s.bytes && by < 0; k += s.dies {
			if p.turnsBy(s, k, period, frames) {
				by = k
			}
		}
		if by < 0 && s.bytes > 0 {
			return nil
		}
		if s.bytes > 0 {
			turns = append(turns, turn{s.bytes, by})
		}
	}
	still := true
	for _, t := range turns {
		still = still && t.by == 0
	}
	if still || len(turns) > 255 {
		return nil
	}
	return turns
}

// turnsBy tells whether a strip's bytes come again after a period, k bytes on.
func (p *planes) turnsBy(s *span, k, period, frames int) bool {
	at := func(f int) []uint8 { return p.data[f%p.frames*p.bytes:][s.first : s.first+s.bytes] }
	for f := 0; f+period < frames && f < p.frames; f++ {
		a, b := at(f), at(f+period)
		if !bytes.Equal(b[k:], a[:s.bytes-k]) || !bytes.Equal(b[:k], a[s.bytes-k:]) {
			return false
		}
	}
	return true
}
