package play

import (
	"fmt"
	"slices"

	"paneglow/anim/show"
	"paneglow/render/table"
)

// A stream's frames come from a computer instead of out of the table; all else
// stays the table's. It begins, and every state does while it is open, on a frozen
// picture: that of the refresh that would have come, until the state's own first
// frame is here, which ends the hand-over's wait and begins its crossfade. A
// hand-over that lets the old clip finish goes on with the frames that come, up to
// the new state's first one.
//
// Times are those of refreshes, microseconds.
const (
	// StreamWait is how long a new state waits for its first frame.
	StreamWait = 200_000
	// StreamLimit is how long a stream may bring no frame where the table knows no
	// silence of the host.
	StreamLimit = 1_000_000
)

// StreamEnd says why a stream has ended.
type StreamEnd uint8

// Numbered as on the line.
const (
	StreamGoesOn    StreamEnd = 0
	StreamSilent    StreamEnd = 2 // no frame for too long
	StreamMalformed StreamEnd = 3 // bytes that make no frame
	StreamHandOver  StreamEnd = 4 // a new state's first frame did not come in time
	StreamService   StreamEnd = 5 // somebody is inside
	StreamClosed    StreamEnd = 7 // the computer has closed it
)

// stream is what the player knows of one.
type stream struct {
	asked, closing bool
	on, hold       bool
	frames         []streamFrame // told and not yet taken
	since          Tick          // of the last frame, or of the hold
	patience       int64
	late           int
	freezing       bool // what is shown now is what a hand-over comes from
	handing        bool // this refresh hands over: a frame that is missing is not late
	why            StreamEnd
}

type streamFrame struct {
	codes []uint8 // none: bytes that make no frame
	state int     // whose first it is, or table.None
}

// ends tells of bytes that make no frame of any state.
func (f *streamFrame) ends() bool { return f.codes == nil && f.state == table.None }

// OpenStream opens a stream with the next refresh. One that is open begins anew.
func (p *Player) OpenStream() error {
	if p.service.told != ServiceOff {
		return fmt.Errorf("play: no stream while somebody is inside")
	}
	p.stream.asked, p.stream.closing, p.stream.why = true, false, StreamGoesOn
	return nil
}

// CloseStream ends it with the next refresh.
func (p *Player) CloseStream() {
	s := &p.stream
	if s.on || s.asked {
		s.why = StreamClosed
	}
	s.closing, s.asked = s.on, false
}

// StreamFrame tells a frame that the next refresh may show, a copy of whose codes it
// keeps. Frames are taken in order, one for each frame's time; state is the state
// whose first frame it is, or table.None. Without codes it stands for bytes that make
// no frame, which end the stream as soon as a first frame of that state would be taken.
func (p *Player) StreamFrame(codes []uint8, state int) {
	p.stream.frames = append(p.stream.frames, streamFrame{slices.Clone(codes), state})
}

// Stream tells whether one is shown, how many of its frames came late, and why the
// last one ended.
func (p *Player) Stream() (open bool, late int, why StreamEnd) {
	return p.stream.on, p.stream.late, p.stream.why
}

// turn is what a stream makes of this refresh: whether it begins with it or ends.
func (p *Player) turn() (opens, ends bool) {
	s := &p.stream
	if !s.on && !s.asked {
		return false, false
	}
	held := p.t.States[p.state].Still && !p.finishing
	why := StreamGoesOn
	switch {
	case p.service.on != ServiceOff:
		why = StreamService
	case s.closing:
		why = s.why
	case p.silent:
		why = StreamSilent
	case s.on && !s.asked && (s.hold || !held) && int64(p.at.Since(s.since)) >= s.patience:
		why = StreamSilent
		if s.hold && s.patience == StreamWait {
			why = StreamHandOver
		}
	}
	if why != StreamGoesOn {
		s.asked, s.closing, s.why = false, false, why
		return false, s.on
	}
	return s.asked && !p.holding, false // what the strips hold nobody has: later
}

func (p *Player) patience() int64 {
	if p.t.Silence > 0 {
		return p.t.Silence * 1000
	}
	return StreamLimit
}

// hold enters a state and waits for its first frame on the frozen picture of what
// would have been shown now.
func (p *Player) hold(state int, opens bool) {
	s := &p.stream
	was := s.on
	s.freezing = true
	p.show()
	s.freezing = false
	copy(p.frozen, p.shown)
	p.state, p.fadeLen = state, 0
	p.begin(p.clipOf(state))
	if was && !s.on {
		return // its next frame was none, and it has ended
	}
	p.holding = false
	s.hold, s.since, s.patience = true, p.at, StreamWait
	if opens {
		s.on, s.asked, s.frames, s.late, s.patience = true, false, nil, 0, p.patience()
	}
}

// endStream leaves the panel to the stored clips.
func (p *Player) endStream() {
	s := &p.stream
	s.on, s.asked, s.hold, s.frames = false, false, false, nil
}

// pickStream brings the stream's next frame into codes, if it is here; where
// it is not, that is late. It ends the stream on bytes that make no frame.
func (p *Player) pickStream() {
	s := &p.stream
	st := &p.t.States[p.state]
	if p.sub < p.perFrame {
		p.sub++
		return
	}
	if st.Still && !s.hold {
		return
	}
	if s.freezing && s.hold && len(s.frames) > 0 && !s.frames[0].ends() && s.frames[0].state != p.state {
		return // it may be of the state that is entered
	}
	for s.hold && len(s.frames) > 0 && !s.frames[0].ends() && s.frames[0].state != p.state {
		s.frames = s.frames[1:] // of a state that is gone
	}
	if len(s.frames) == 0 || s.frames[0].state != table.None && s.frames[0].state != p.state && !p.finishing {
		if !s.hold && !s.handing {
			s.late++
		}
		return
	}
	f := s.frames[0]
	s.frames = s.frames[1:]
	p.refresh = true
	if f.codes == nil {
		s.why = StreamMalformed
		p.endStream()
		p.fadeLen = 0
		p.begin(p.clipOf(p.state))
		return
	}
	copy(p.codes, f.codes)
	s.since, s.patience = p.at, p.patience()
	if f.state == p.state { // not the old state's, while its clip finishes
		p.begin(p.clipOf(p.state))
		p.holding = false // whatever becomes of that clip
		if s.hold && !st.Still && st.HandOver == show.Crossfade {
			p.fadeAt, p.fadeLen = 0, p.fade(st)
		}
		s.hold = false
	}
	p.sub = 1
}
