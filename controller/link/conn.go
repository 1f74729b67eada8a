package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"
)

// ErrSilent is returned when no answer came, however often it was asked.
var ErrSilent = errors.New("link: no answer")

// ErrClosed is returned when the line is gone. What reading or writing gave is beside
// it.
var ErrClosed = errors.New("link: the line is closed")

// StatusError is an answer other than OK.
type StatusError struct {
	Kind   Kind
	Status Status
}

func (e *StatusError) Error() string {
	return fmt.Sprintf("link: the controller answers: %v", e.Status)
}

// IsStatus tells whether an error is an answer of that status.
func IsStatus(err error, s Status) bool {
	var e *StatusError
	return errors.As(err, &e) && e.Status == s
}

// Options of a Conn. The zero value works.
type Options struct {
	Baud    int           // of the line, for how long a frame may take; 0: 115200
	Timeout time.Duration // for one answer; 0: 250 ms and twice a frame's time
	Tries   int           // how often a question is sent; 0: 4
	Text    func([]byte)  // the machine's own text; valid during the call
	Event   func(Frame)   // what the controller sends unasked
}

// Conn asks a controller. It is safe for several goroutines: every frame and
// every piece of text goes out whole. Questions may overlap; each waits for the
// answer with its own number.
type Conn struct {
	o    Options
	line io.ReadWriter

	send  sync.Mutex // of the line
	frame bool       // the last that went out was a frame's end

	mu    sync.Mutex
	next  uint8
	wait  map[uint8]chan Frame
	lost  int
	err   error
	ended chan struct{}
}

// NewConn begins to read the line. It ends, and every waiting question with it,
// when reading fails; closing the line, which ends it, is the caller's.
func NewConn(line io.ReadWriter, o Options) *Conn {
	if o.Baud == 0 {
		o.Baud = 115200
	}
	if o.Timeout == 0 {
		o.Timeout = 250*time.Millisecond + 2*FrameTime(o.Baud)
	}
	if o.Tries == 0 {
		o.Tries = 4
	}
	c := &Conn{o: o, line: line, wait: map[uint8]chan Frame{}, ended: make(chan struct{})}
	go c.read()
	return c
}

// read takes the line apart until it ends. The reading itself may block, so it
// has a goroutine of its own: what waits for a pause must not wait for a byte.
func (c *Conn) read() {
	type piece struct {
		b   []byte
		err error
	}
	pieces := make(chan piece)
	go func() {
		for {
			b := make([]byte, 4096)
			n, err := c.line.Read(b)
			pieces <- piece{b[:n], err}
			if err != nil {
				return
			}
		}
	}()
	s := Splitter{Frame: c.take, Text: c.o.Text}
	limit := FrameTime(c.o.Baud)
	quiet := time.NewTimer(limit)
	defer quiet.Stop()
	for {
		select {
		case p := <-pieces:
			s.Write(p.b, time.Now())
			c.mu.Lock()
			c.lost = s.Lost
			if p.err != nil {
				c.err = fmt.Errorf("%w: %w", ErrClosed, p.err)
				close(c.ended)
			}
			c.mu.Unlock()
			if p.err != nil {
				return
			}
			quiet.Reset(limit)
		case now := <-quiet.C:
			s.Tick(now, limit)
			c.mu.Lock()
			c.lost = s.Lost
			c.mu.Unlock()
			if s.Waiting() {
				quiet.Reset(limit)
			}
		}
	}
}

// take gives an answer to who waits for it. An answer that nobody waits for
// came twice, and is dropped.
func (c *Conn) take(f Frame) {
	switch f.Kind {
	case Granted, Want, Pass:
		if c.o.Event != nil {
			c.o.Event(f)
		}
		return
	}
	c.mu.Lock()
	ch := c.wait[f.Seq]
	delete(c.wait, f.Seq)
	c.mu.Unlock()
	if ch != nil {
		ch <- f
	}
}

// Ask sends a question and waits for its answer, asking again with the same
// number when none comes: the controller does nothing twice for it. It gives
// the answer's body after the status. Anything but OK is a *StatusError.
func (c *Conn) Ask(ctx context.Context, kind Kind, body []byte) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err // what nobody waits for is not begun
	}
	q, err := c.Start(kind, body)
	if err != nil {
		return nil, err
	}
	return c.Finish(ctx, q)
}

// Question is on its way.
type Question struct {
	kind   Kind
	seq    uint8
	wire   []byte
	answer chan Frame
}

// untold is the number of what is told without waiting for an answer. No question has
// it: a late answer to a sign of life would be taken for the question's own.
const untold = 0

// Start sends a question without waiting for its answer. There may be at most
// 128 at once.
func (c *Conn) Start(kind Kind, body []byte) (*Question, error) {
	c.mu.Lock()
	if len(c.wait) >= 128 {
		c.mu.Unlock()
		return nil, errors.New("link: 128 questions wait for their answers")
	}
	c.next++
	for c.next == untold || c.wait[c.next] != nil {
		c.next++
	}
	others := len(c.wait) > 0
	q := &Question{kind: kind, seq: c.next, answer: make(chan Frame, 1)}
	c.wait[q.seq] = q.answer
	c.mu.Unlock()
	q.wire = Append(nil, Frame{Kind: kind, Seq: q.seq, Body: body})
	return q, c.follow(q.wire, others)
}

// follow sends a frame. Right behind another one, whose receiver is known to be in
// the midst of them, it does without a zero of its own.
func (c *Conn) follow(wire []byte, others bool) error {
	c.send.Lock()
	defer c.send.Unlock()
	if others && c.frame {
		wire = wire[1:]
	}
	return c.writeLocked(wire)
}

// Finish waits for a question's answer, see Ask.
func (c *Conn) Finish(ctx context.Context, q *Question) ([]byte, error) {
	return c.FinishSlow(ctx, q, 0)
}

// FinishSlow is Finish for an answer that may take its time: the question is not sent
// again before so long, where that is longer than Options.Timeout.
func (c *Conn) FinishSlow(ctx context.Context, q *Question, least time.Duration) ([]byte, error) {
	defer func() {
		c.mu.Lock()
		if c.wait[q.seq] == q.answer {
			delete(c.wait, q.seq)
		}
		c.mu.Unlock()
	}()
	timeout := max(c.o.Timeout, least)
	timer := time.NewTimer(timeout)
	defer timer.Stop()
	for try := 1; ; try++ {
		select {
		case f := <-q.answer:
			return open(q, f)
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-c.ended:
			return nil, c.err
		case <-timer.C:
			if try >= c.o.Tries {
				return nil, fmt.Errorf("%w to message %d in %d tries of %v", ErrSilent, q.kind, try, timeout)
			}
			if err := c.write(q.wire); err != nil {
				return nil, err
			}
			timer.Reset(timeout)
		}
	}
}

func open(q *Question, f Frame) ([]byte, error) {
	if f.Kind != q.kind || len(f.Body) == 0 {
		return nil, fmt.Errorf("%w: message %d with %d bytes to message %d", ErrAnswer, f.Kind, len(f.Body), q.kind)
	}
	if s := Status(f.Body[0]); s != OK {
		return nil, &StatusError{f.Kind, s}
	}
	return f.Body[1:], nil
}

// WriteText sends text of the machine's own protocol, whole. It refuses a 0x00,
// which only a pass message may carry.
func (c *Conn) WriteText(b []byte) error {
	for i, x := range b {
		if x == 0 {
			return fmt.Errorf("link: a zero at byte %d of a text: send it as a pass message", i)
		}
	}
	return c.write(b)
}

// Tell sends a message that has no answer: Pass.
func (c *Conn) Tell(kind Kind, body []byte) error {
	return c.write(Append(nil, Frame{Kind: kind, Seq: untold, Body: body}))
}

func (c *Conn) write(b []byte) error {
	c.send.Lock()
	defer c.send.Unlock()
	return c.writeLocked(b)
}

func (c *Conn) writeLocked(b []byte) error {
	c.frame = len(b) > 0 && b[len(b)-1] == 0
	if _, err := c.line.Write(b); err != nil {
		return fmt.Errorf("%w: writing: %w", ErrClosed, err)
	}
	return nil
}

// Lost is how much of what came was neither a frame nor text.
func (c *Conn) Lost() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.lost
}

// Hello asks who is there.
func (c *Conn) Hello(ctx context.Context) (Identity, error) {
	b, err := c.Ask(ctx, Hello, []byte{Version})
	if err != nil {
		return Identity{}, err
	}
	id, err := ParseIdentity(b)
	if err == nil && id.Version != Version {
		err = fmt.Errorf("link: the controller speaks version %d of the messages, this program version %d: use the program that came with its firmware, or load the firmware anew", id.Version, Version)
	}
	return id, err
}
