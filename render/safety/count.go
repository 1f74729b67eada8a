package safety

// Limit is the most flashes allowed within any second (WCAG 2.3.1).
const Limit = 3

const (
	change  = 0.10 // of maximum relative luminance
	bright  = 0.80 // a flash counts when its darker side is below this
	redness = 0.8  // R/(R+G+B) of a saturated red
	apart   = 0.2  // in u', v'
	black   = 0.02 // of full light
)

// slack forgives the rounding of a mean over many pixels, so that a change of
// exactly 0.10 counts.
const slack = 1e-9

// swing finds the transitions of one luminance signal: it follows the peak or
// the valley and reports when the signal has come back from it far enough.
type swing struct {
	started bool
	up      int // +1 after a rise, -1 after a fall, 0 before the first
	lo, hi  float64
}

// add takes the next value and tells whether a transition ends here.
func (s *swing) add(y float64) bool {
	if !s.started {
		*s = swing{started: true, lo: y, hi: y}
		return false
	}
	rose := y-s.lo >= change-slack && s.lo < bright
	fell := s.hi-y >= change-slack && y < bright
	switch {
	case rose && s.up <= 0:
		s.up, s.hi, s.lo = 1, y, y
		return true
	case fell && s.up >= 0:
		s.up, s.hi, s.lo = -1, y, y
		return true
	}
	// Only the end that a next transition starts from may move.
	if s.up >= 0 && y > s.hi {
		s.hi = y
	}
	if s.up <= 0 && y < s.lo {
		s.lo = y
	}
	return false
}

// colour is what the red rule needs of a region's light.
type colour struct {
	dark  bool
	ratio float64 // R/(R+G+B), linear sRGB, negatives as 0
	u, v  float64 // CIE 1976 u', v'
}

// blush finds the transitions to and from saturated red.
type blush struct {
	started bool
	red     bool
	ref     colour // of a red: the latest; of anything else: the farthest from red
}

func distant(a, b colour) bool {
	if a.dark || b.dark {
		return a.dark != b.dark
	}
	du, dv := a.u-b.u, a.v-b.v
	return float64(du*du)+float64(dv*dv) > apart*apart
}

func (s *blush) add(c colour) bool {
	isRed := !c.dark && c.ratio >= redness
	if !s.started {
		*s = blush{started: true, red: isRed, ref: c}
		return false
	}
	switch {
	case s.red && isRed:
		s.ref = c
	case s.red && distant(s.ref, c):
		s.red, s.ref = false, c
		return true
	case !s.red && isRed && distant(s.ref, c):
		s.red, s.ref = true, c
		return true
	case !s.red && !isRed:
		// Black is as far as can be; otherwise the least red one is kept.
		if c.dark || !s.ref.dark && c.ratio < s.ref.ratio {
			s.ref = c
		}
	}
	return false
}

// window counts transitions within the last second.
type window struct {
	at    []int // frames of transitions, oldest first
	most  int
	begin int // first frame of the worst window
}

func (w *window) add(frame, fps int) {
	w.at = append(w.at, frame)
	first := 0
	for w.at[first] <= frame-fps {
		first++
	}
	w.at = append(w.at[:0], w.at[first:]...)
	if len(w.at) > w.most {
		w.most, w.begin = len(w.at), w.at[0]
	}
}

func (w *window) flashes() int { return w.most / 2 }
