package stream

import (
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"

	"paneglow/controller/link"
)

// Why says what a want is for, or why a stream has ended.
type Why uint8

// Numbered as on the line.
const (
	GoesOn    Why = iota
	OnceMore      // blocks were lost: again from the next one on
	Silent        // no frame came for too long
	Malformed     // bytes made no frame
	HandOver      // a new state's first frame did not come within 200 ms
	Service       // somebody is inside the machine
	Anew          // the player began anew: another table, or a reset
	Closed        // by this side
)

var whys = [...]string{"it goes on", "blocks were lost", "no frame came for too long", "the controller could not read a frame",
	"a new state's first frame came too late", "somebody is inside the machine", "the controller began anew", "it was closed"}

func (w Why) String() string {
	if int(w) < len(whys) {
		return whys[w]
	}
	return fmt.Sprintf("reason %d", uint8(w))
}

// Want is what a controller says of a stream unasked.
type Want struct {
	Next   uint16 // the block that comes next
	Room   int    // bytes that it holds after what came before that block
	Late   uint16 // refreshes that should have had a new frame
	Passed uint16 // frames shown or left out since the stream opened
	State  int    // that the panel is in
	Why    Why
}

// ParseWant takes a want out of a message's body. Bytes that a later version may
// add are left alone.
func ParseWant(b []byte) (Want, error) {
	if len(b) < 10 {
		return Want{}, fmt.Errorf("%w: a want of %d bytes, want 10", link.ErrAnswer, len(b))
	}
	le := binary.LittleEndian
	return Want{le.Uint16(b), int(le.Uint16(b[2:])), le.Uint16(b[4:]), le.Uint16(b[6:]), int(b[8]), Why(b[9])}, nil
}

// Line is what a controller's answer to opening says, and the line's own rate.
type Line struct {
	FPS   int // frames a second
	Ring  int // bytes that the controller can hold
	Block int // most bytes of a block
	Baud  int // bits a second, 8N1; 0: what is written is carried
}

// ParseOpen takes it out of the answer's body after its status.
func ParseOpen(b []byte, baud int) (Line, error) {
	if len(b) < 5 {
		return Line{}, fmt.Errorf("%w: an opening of %d bytes, want 5", link.ErrAnswer, len(b))
	}
	le := binary.LittleEndian
	l := Line{int(le.Uint16(b)), int(le.Uint16(b[2:])), int(b[4]), baud}
	if l.FPS == 0 || l.Block == 0 || l.Block > link.MostBody-2 {
		return Line{}, fmt.Errorf("%w: %d frames a second, blocks of %d bytes", link.ErrAnswer, l.FPS, l.Block)
	}
	return l, nil
}

// Source gives a feed its frames. Table and Live are two.
type Source interface {
	// Enter tells that the panel shows a state from now on. It returns true when
	// frames that are not under way yet are to be left out, and the next one is the
	// state's first; false when the source goes on for a while and marks that one
	// itself. With anew nothing was shown before.
	Enter(state int, anew bool) bool
	// Frame writes the next frame; mark is the state whose first one it is, or None.
	// Without a frame, for now, it returns false.
	Frame(dst []uint8) (mark int, ok bool)
	// Ahead is how many frames may be under way.
	Ahead(fps int) int
}

// Stats are what a stream has done since it opened.
type Stats struct {
	Bytes   int // of blocks, those sent again included
	Again   int // blocks sent again
	Frames  int // of the table's rate, sent
	Thinned int // of these, frames that repeat the one before because the line had no room
	Late    int // refreshes that should have had a new frame and had none, as the controller says
	Passed  int // frames that it showed or left out
	Ended   Why // and why, or GoesOn
}

// plus adds another stream's figures; it ended as that one did.
func (s Stats) plus(x Stats) Stats {
	return Stats{s.Bytes + x.Bytes, s.Again + x.Again, s.Frames + x.Frames, s.Thinned + x.Thinned, s.Late + x.Late, s.Passed + x.Passed, x.Ended}
}

// Rate is the frames a second that carried a picture of their own.
func (s Stats) Rate(fps int) float64 {
	if s.Frames == 0 {
		return 0
	}
	return float64(fps) * float64(s.Frames-s.Thinned) / float64(s.Frames)
}

// ErrEnded is the kind of an error that tells why a stream has ended.
var ErrEnded = errors.New("stream: it has ended")

// slack is how much may stand in buffers on the way to the line: with more of it a
// new state would wait behind the frames of the old one.
const slack = 5 * time.Millisecond

// fastest is how many bytes a second a controller of 16 MHz takes beside its refreshes:
// 240 pixels of three dies as they are, 30 times a second, are 23,700. In the
// simulator 50,000 overrun a receiver of 512 bytes, since no byte is read while a
// refresh goes out, for 7 ms.
const fastest = 32_000

// wireBytes is what a block of n bytes takes on the line.
func wireBytes(n int) int { return n + 9 }

// Feed is the sending side of a stream: what to send next, by what the controller
// grants and the line carries. It knows no port and no clock: time is an argument,
// counted from any moment.
type Feed struct {
	line    Line
	source  Source
	enc     *Encoder
	codes   []uint8
	pending []byte  // of frames, not in blocks yet
	lengths []int   // of these frames what is pending
	begun   bool    // of the first of them a part was sent
	blocks  []block // sent and not known to have come
	sent    int     // of these: from here on they go out again
	first   uint16  // the first one's number
	room    int     // after what came before it
	free    time.Duration
	tokens  int // bytes that the line carries and no frame has taken
	share   int // of them in a frame's time
	rate    int // bytes a second
	left    int // frames of states that were left: they are not shown, and the new one's wait for none of them
	marks   []firstFrame
	stats   Stats
}

// firstFrame is a state's first one that is under way.
type firstFrame struct{ state, number int }

type block struct {
	b  []byte
	at time.Duration // when it was sent last
}

// NewFeed makes the feed of a stream that has just been opened in a state, for
// frames of so many channels.
func NewFeed(l Line, channels, state int, s Source) *Feed {
	f := &Feed{line: l, source: s, enc: NewEncoder(channels), codes: make([]uint8, channels), rate: fastest}
	if l.Baud > 0 {
		f.rate = min(l.Baud/10, fastest)
	}
	f.share = f.rate / l.FPS * l.Block / wireBytes(l.Block) * 97 / 100
	f.tokens = f.most()
	s.Enter(state, true)
	return f
}

// most is how many bytes of the line may be saved up: two frames' time, or one
// frame as it is.
func (f *Feed) most() int { return max(2*f.share, most(len(f.codes))+2) }

// Stale tells whether a first frame of a state is under way from an earlier time in
// it. The panel could take it for that of now, and then wait for ever for the state
// that came between: a stream has to be opened anew.
func (f *Feed) Stale(state int) bool {
	for _, m := range f.marks {
		if m.state == state && m.number >= f.stats.Passed {
			return true
		}
	}
	return false
}

// Enter tells that the panel's state is another one, which is not Stale; before the first block after
// the State message, and before any other.
func (f *Feed) Enter(state int) {
	if !f.source.Enter(state, false) {
		return
	}
	keep, frames := 0, 0
	if f.begun {
		keep, frames = f.lengths[0], 1
	}
	f.stats.Frames -= len(f.lengths) - frames
	f.pending, f.lengths = f.pending[:keep], f.lengths[:frames]
	f.left = f.stats.Frames
	f.marks = slices.DeleteFunc(f.marks, func(m firstFrame) bool { return m.number >= f.left })
}

// Want takes what the controller says. A want that speaks of other blocks than
// those under way is out of date, and changes nothing.
func (f *Feed) Want(w Want, now time.Duration) {
	if f.stats.Ended != GoesOn {
		return
	}
	if w.Why > OnceMore {
		f.stats.Ended = w.Why
		return
	}
	n := int(w.Next - f.first)
	if n > len(f.blocks) {
		return
	}
	f.blocks, f.first = f.blocks[n:], w.Next
	f.sent = max(f.sent-n, 0)
	f.room = w.Room
	f.stats.Late = int(w.Late)
	f.stats.Passed += int(w.Passed - uint16(f.stats.Passed))
	f.marks = slices.DeleteFunc(f.marks, func(m firstFrame) bool { return m.number < f.stats.Passed })
	// Of the last block that was lost no later one tells. Wants come every 50 ms.
	if w.Why == OnceMore || len(f.blocks) > 0 && now-f.blocks[0].at > f.lost() {
		f.sent = 0
	}
}

// lost is how long a block may take to be taken, its want to come back included.
func (f *Feed) lost() time.Duration {
	d := 150 * time.Millisecond
	if f.line.Baud > 0 {
		d += 4 * link.FrameTime(f.line.Baud)
	}
	return d
}

// Close ends the feed.
func (f *Feed) Close() {
	if f.stats.Ended == GoesOn {
		f.stats.Ended = Closed
	}
}

// Stats gives the figures so far.
func (f *Feed) Stats() Stats { return f.stats }

// Next gives the body of the next Stream message, valid for ever, or how long there
// is none as far as the line goes; a want, a state or a new frame may change that.
func (f *Feed) Next(now time.Duration) (body []byte, wait time.Duration) {
	const idle = time.Second
	if f.stats.Ended != GoesOn {
		return nil, idle
	}
	if d := f.free - now - slack; d > 0 {
		return nil, d
	}
	b := f.again(now)
	if b == nil {
		if b = f.cut(now); b == nil {
			return nil, idle
		}
	}
	f.stats.Bytes += len(b) - 2
	f.free = max(f.free, now) + time.Duration(wireBytes(len(b)-2))*time.Second/time.Duration(f.rate)
	return b, 0
}

// again is the next block of those to be sent once more.
func (f *Feed) again(now time.Duration) []byte {
	if f.sent == len(f.blocks) {
		return nil
	}
	b := &f.blocks[f.sent]
	f.sent++
	b.at = now
	f.stats.Again++
	return b.b
}

// cut makes a block of what is pending, if it was granted: a full one, or the rest
// when no more is to come for now.
func (f *Feed) cut(now time.Duration) []byte {
	room := f.room
	for _, b := range f.blocks {
		room -= len(b.b) - 2
	}
	f.fill()
	n := min(f.line.Block, len(f.pending))
	if n == 0 || n > room || len(f.blocks) == 0x4000 {
		return nil
	}
	b := binary.LittleEndian.AppendUint16(make([]byte, 0, n+2), f.first+uint16(len(f.blocks)))
	b = append(b, f.pending[:n]...)
	f.pending = f.pending[:copy(f.pending, f.pending[n:])]
	for rest := n; rest > 0; {
		if f.begun = f.lengths[0] > rest; f.begun {
			f.lengths[0] -= rest
			break
		}
		rest -= f.lengths[0]
		f.lengths = f.lengths[:copy(f.lengths, f.lengths[1:])]
	}
	f.blocks = append(f.blocks, block{b, now})
	f.sent = len(f.blocks)
	return b
}

// fill asks the source for frames until a block is full.
func (f *Feed) fill() {
	for len(f.pending) < f.line.Block && f.stats.Frames-max(f.stats.Passed, f.left) < f.source.Ahead(f.line.FPS) {
		mark, ok := f.source.Frame(f.codes)
		if !ok {
			return
		}
		before := len(f.pending)
		body := f.enc.code(f.codes, mark)
		f.tokens = min(f.tokens+f.share, f.most())
		if mark == None && len(body)+2 > f.tokens {
			f.pending = f.enc.Same(f.pending)
			f.stats.Thinned++
		} else {
			f.pending = append(binary.LittleEndian.AppendUint16(f.pending, uint16(len(body))), body...)
			f.enc.keep(f.codes)
		}
		f.tokens -= len(f.pending) - before
		f.lengths = append(f.lengths, len(f.pending)-before)
		if mark != None {
			f.marks = append(f.marks, firstFrame{mark, f.stats.Frames})
		}
		f.stats.Frames++
	}
}
