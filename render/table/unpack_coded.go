package table

import (
	"fmt"
	"sort"
)

// codedReader reads a clip of kind coded.
type codedReader struct {
	m      *model
	stored int     // frames that have bits
	ahead  int     // the one that comes next
	lap    int     // periods before it
	moved  []uint8 // the last frame turned, where the clip turns
	fresh  bool    // the place in the bits does not follow from the frame before
	dies   int
	spans  []span // strips, in frames of codes
}

func newCodedReader(t *Show, c *ClipInfo, payload []byte) (*codedReader, error) {
	k, at, err := parseCoded(t, c, payload)
	if err != nil {
		return nil, err
	}
	m := newModel(k)
	m.in, m.at = payload, at
	if err := m.colours(nil); err != nil {
		return nil, fmt.Errorf("table: clip %q: %w: %w", c.Name, err, ErrData)
	}
	k.starts[0].at = m.at
	var moved []uint8
	if len(k.turns) > 0 {
		moved = make([]uint8, k.bytes)
	}
	return &codedReader{m: m, moved: moved, stored: k.stored(c.Frames), fresh: true, dies: k.dies, spans: spans(t)}, nil
}

// next reads one frame. It allocates nothing.
func (r *codedReader) next() error {
	m := r.m
	if r.ahead == r.stored {
		r.ahead, r.fresh = 0, true
		r.lap++
	}
	if i := r.start(r.ahead); r.fresh || m.k.starts[i].frame == r.ahead {
		s := m.k.starts[i]
		if !r.fresh && s.at != m.at {
			return fmt.Errorf("frame %d starts at byte %d, the frame before ends at %d: %w", r.ahead, s.at, m.at, ErrData)
		}
		m.at = s.at
		m.reset()
		m.begin()
		r.fresh = false
	}
	if err := m.next(nil, nil); err != nil {
		return fmt.Errorf("frame %d: %w: %w", r.ahead, err, ErrData)
	}
	if r.ahead++; m.at > len(m.in) || r.ahead == r.stored && m.at != len(m.in) {
		return fmt.Errorf("frame %d ends at byte %d of %d: %w", r.ahead-1, m.at, len(m.in), ErrData)
	}
	return nil
}

// start is the last start point not after a stored frame.
func (r *codedReader) start(frame int) int {
	s := r.m.k.starts
	return sort.Search(len(s), func(i int) bool { return s[i].frame > frame }) - 1
}

// seek stands before a frame of the clip, from the nearest start or from where
// it is.
func (r *codedReader) seek(frame int) error {
	r.lap = frame / r.stored
	frame %= r.stored
	from := r.m.k.starts[r.start(frame)].frame
	if r.ahead > frame || r.ahead < from || r.fresh {
		r.ahead, r.fresh = from, true
	}
	for r.ahead < frame {
		if err := r.next(); err != nil {
			return err
		}
	}
	return nil
}

// codes gives the last frame's codes.
func (r *codedReader) codes(dst []uint8) {
	m := r.m
	plane := m.frame
	if r.moved != nil && r.lap > 0 {
		plane = r.moved
		turnRuns(plane, m.frame, m.k.turns, r.lap)
	}
	if !m.k.palette {
		copy(dst, plane)
		return
	}
	for i := range r.spans {
		s := &r.spans[i]
		px := dst[s.first : s.first+s.bytes]
		n := s.bytes / s.dies
		for j, v := range plane[:n] {
			copy(px[j*s.dies:(j+1)*s.dies], m.palette[int(v)*r.dies:])
		}
		plane = plane[n:]
	}
}

// turnRuns moves every run of a plane round by as much as it turns in some periods.
func turnRuns(dst, src []uint8, turns []turn, laps int) {
	for _, t := range turns {
		by := laps % t.bytes * t.by % t.bytes
		copy(dst[by:t.bytes], src)
		copy(dst[:by], src[t.bytes-by:t.bytes])
		dst, src = dst[t.bytes:], src[t.bytes:]
	}
}
