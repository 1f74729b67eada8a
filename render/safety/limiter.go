package safety

import "time"

// Limiter lets frames through as long as they make no more than Limit flashes
// within a second, for what was proven nowhere: a pattern that is being written.
// Frames may come at any time. A frame that is one transition too many is to be left
// out, and what shows stays; as soon as the flashes are a second old the next one
// passes. It serves one goroutine.
type Limiter struct {
	eye     *Eye
	regions []watched
	pixels  []watched
}

// watched is one signal: the transitions that it has made.
type watched struct {
	light        swing
	red          blush
	flashes, hot recent
	// with the frame that is looked at
	nextLight swing
	nextRed   blush
	rises     bool // a transition of luminance
	blushes   bool // of the red rule
}

// mostTransitions is how many transitions are a flash too many.
const mostTransitions = 2*Limit + 2

// second is a little more than one: frames reach the strips some milliseconds sooner
// or later than they were let through.
const second = 1050 * time.Millisecond

// recent holds the times of the last transitions.
type recent struct {
	at [mostTransitions]time.Time
	n  int
}

func (r *recent) add(now time.Time) {
	r.at[r.n%len(r.at)] = now
	r.n++
}

// over tells whether, with more of them now, there are too many within a second.
func (r *recent) over(more bool, now time.Time) bool {
	need := mostTransitions
	if more {
		need--
	}
	if r.n < need {
		return false
	}
	return now.Sub(r.at[(r.n-need)%len(r.at)]) < second
}

// NewLimiter counts with an eye.
func NewLimiter(e *Eye) *Limiter {
	return &Limiter{eye: e, regions: make([]watched, len(e.regions)), pixels: make([]watched, len(e.layout.Pixels))}
}

// Allow tells whether a frame may be shown now, and remembers it if so.
func (l *Limiter) Allow(codes []uint8, now time.Time) bool {
	t := l.eye.Track(1, func(int) []uint8 { return codes })
	ok := true
	for r := range l.regions {
		if l.eye.visible[r] == 0 {
			continue
		}
		w := &l.regions[r]
		w.nextLight, w.nextRed = w.light, w.red
		w.rises, w.blushes = w.nextLight.add(t.xyz[r][1]), w.nextRed.add(t.looks[r])
		ok = ok && !(w.rises && w.flashes.over(true, now)) && !(w.blushes && w.hot.over(true, now))
	}
	restless := 0
	for i := range l.pixels {
		w := &l.pixels[i]
		w.nextLight = w.light
		w.rises = w.nextLight.add(float64(t.y[i]))
		if w.flashes.over(w.rises, now) {
			restless++
		}
	}
	if need := (l.eye.visible[0] + 3) / 4; need > 0 && restless >= need {
		ok = false
	}
	if !ok {
		return false
	}
	for _, list := range [][]watched{l.regions, l.pixels} {
		for i := range list {
			w := &list[i]
			w.light, w.red = w.nextLight, w.nextRed
			if w.rises {
				w.flashes.add(now)
			}
			if w.blushes {
				w.hot.add(now)
			}
			w.rises, w.blushes = false, false
		}
	}
	return true
}
