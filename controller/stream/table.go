package stream

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"sync"

	"paneglow/anim/show"
	"paneglow/render/table"
)

// Table is a source that plays a table's clips, each for as long as its state lasts,
// as a player plays them that holds the table: it repeats those that loop, stays on
// the last frame of others, begins by lot where the clip says so, and lets a clip
// finish where the hand-over says so. It is safe for several goroutines.
type Table struct {
	t *table.Table

	mu      sync.Mutex
	lot     *rand.Rand
	state   int
	clip    int
	from    *table.Decoder
	frame   int
	value   int
	fresh   bool // the next frame is the state's first
	finish  bool // the clip plays to its end, then the state's own
	stopped bool // a still state's frame was given
	err     error
}

// NewTable plays a table; seed begins the lots. The player draws its own, so where a
// clip begins differs from what it would show by itself.
func NewTable(t *table.Table, seed uint64) *Table {
	return &Table{t: t, clip: table.None, lot: rand.New(rand.NewPCG(seed, 0))}
}

// Value tells the frame of clips that follow a value, 0 to 255.
func (s *Table) Value(v uint8) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.value = int(v)
}

// Enter begins a state. One that the table does not have is left to the stored clips.
func (s *Table) Enter(state int, anew bool) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if state < 0 || state >= len(s.t.States) {
		s.clip = table.None
		return true
	}
	st := &s.t.States[state]
	finish := !anew && s.clip != table.None && !s.fresh && !s.stopped && !st.Still && st.HandOver == show.Finish && !s.t.Clips[s.clip].Value
	s.state, s.finish = state, finish
	if !finish {
		s.begin(st.Clip)
	}
	return !finish
}

func (s *Table) begin(clip int) {
	s.clip, s.from, s.frame = clip, s.t.Clip(clip).Start(), -1
	s.fresh, s.finish, s.stopped = true, false, false
}

// Ahead is a quarter of a second: what a computer may be busy with something else.
func (s *Table) Ahead(fps int) int { return 3 + fps/4 }

// Err is the first error of a clip's decoder, or nil: a table that was read has none.
func (s *Table) Err() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.err
}

// Frame gives the next frame.
func (s *Table) Frame(dst []uint8) (mark int, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.clip == table.None || s.stopped || s.err != nil {
		return None, false
	}
	c := &s.t.Clips[s.clip]
	if s.finish && s.frame+1 >= c.Frames {
		s.begin(s.t.States[s.state].Clip)
		c = &s.t.Clips[s.clip]
	}
	next := s.frame + 1
	switch {
	case c.Value:
		next = s.value
	case s.fresh && c.Random:
		next = s.t.Clip(s.clip).StartFrame(s.lot.IntN(s.t.Clip(s.clip).Starts()))
	case next >= c.Frames && c.Loop:
		next = 0
	case next >= c.Frames:
		next = c.Frames - 1
	}
	err := s.from.Seek(next)
	if err == nil {
		err = s.from.Next(dst)
	}
	if err != nil && !errors.Is(err, io.EOF) {
		s.err = fmt.Errorf("stream: clip %d, frame %d: %w", s.clip, next, err)
		return None, false
	}
	mark, s.frame = None, next
	if s.fresh {
		mark, s.fresh = s.state, false
	}
	s.stopped = s.t.States[s.state].Still && !s.finish
	return mark, true
}

// Live is a source that shows the newest of the frames that it is given, in whatever
// state the panel is; it repeats it as long as no newer one comes. It is safe for
// several goroutines.
type Live struct {
	mu    sync.Mutex
	codes []uint8
	has   bool
	state int
	fresh bool
	put   int // frames given, and how many of them were shown
	shown int
	newer bool
}

// NewLive shows frames of so many channels.
func NewLive(channels int) *Live { return &Live{codes: make([]uint8, channels)} }

// Put takes a frame's codes, in data order, in place of the one before; of another
// length they are an error.
func (l *Live) Put(codes []uint8) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(codes) != len(l.codes) {
		return fmt.Errorf("stream: a frame of %d codes, the panel has %d", len(codes), len(l.codes))
	}
	copy(l.codes, codes)
	l.has, l.newer = true, true
	l.put++
	return nil
}

// Shown is how many frames were given, and how many of them went out.
func (l *Live) Shown() (put, shown int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.put, l.shown
}

// Waiting tells whether the newest frame has still to go out.
func (l *Live) Waiting() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.newer
}

// Enter marks the next frame.
func (l *Live) Enter(state int, _ bool) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.state, l.fresh = state, true
	return true
}

// Ahead is as little as the time between two wants of the controller allows, so that
// what is put is seen soon.
func (l *Live) Ahead(fps int) int { return 2 + fps/12 }

// Frame gives the newest frame.
func (l *Live) Frame(dst []uint8) (mark int, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.has {
		return None, false
	}
	copy(dst, l.codes)
	if l.newer {
		l.newer = false
		l.shown++
	}
	mark = None
	if l.fresh {
		mark, l.fresh = l.state, false
	}
	return mark, true
}
