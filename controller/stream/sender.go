package stream

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"paneglow/controller/link"
)

// life is how long a sender says nothing at most: a still state has no frames, and
// the show's silence must not begin.
const life = 500 * time.Millisecond

// closing is how long the end of a stream may take to be told.
const closing = time.Second

// Sender streams a source to a controller: it opens, sends what is granted, sends
// again what was lost, follows the panel's states. Make it, give its Event to
// link.Options, and Run it; it is safe for several goroutines.
type Sender struct {
	source   Source
	channels int
	baud     int

	mu      sync.Mutex
	conn    *link.Conn
	feed    *Feed // none: not open
	line    Line
	opened  bool // the controller has said yes, and its first want is awaited
	afresh  bool // the stream has to be opened once more
	state   int
	moved   int // wants in a row that speak of another state
	telling int // State messages without an answer
	began   time.Time
	stats   Stats // of the last stream
	past    Stats // of all streams that have ended
	wake    chan struct{}
}

// NewSender makes one for frames of so many channels, over a line of so many bits a
// second; 0 for one that carries what is written, such as TCP.
func NewSender(source Source, channels, baud int) *Sender {
	return &Sender{source: source, channels: channels, baud: baud, state: None, wake: make(chan struct{}, 1)}
}

// Wake says that the source has a new frame. Without it one is looked for when the
// controller says something, or the line has become free.
func (s *Sender) Wake() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// Event takes what the controller sends unasked; anything but a want is left alone.
func (s *Sender) Event(f link.Frame) {
	if f.Kind != link.Want {
		return
	}
	w, err := ParseWant(f.Body)
	if err != nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	defer s.Wake()
	if s.feed == nil {
		if s.opened && w.Why == GoesOn && w.Room > 0 {
			s.state, s.moved = w.State, 0
			s.feed = NewFeed(s.line, s.channels, w.State, s.source)
			s.feed.Want(w, time.Since(s.began))
		}
		return
	}
	s.feed.Want(w, time.Since(s.began))
	// One that was made before a State came may follow its answer: two in a row tell
	// that the panel has moved by itself.
	if w.State == s.state || s.telling > 0 {
		s.moved = 0
	} else if s.moved++; s.moved > 1 {
		s.moved = 0
		s.enter(w.State)
	}
}

// enter goes on with a state's frames. With s.mu.
func (s *Sender) enter(state int) {
	if s.state = state; !s.feed.Stale(state) {
		s.feed.Enter(state)
		return
	}
	s.ended()
	s.opened, s.afresh = false, true
}

// ended keeps what a stream did. With s.mu.
func (s *Sender) ended() {
	s.stats = s.feed.Stats()
	s.past = s.past.plus(s.stats)
	s.feed = nil
}

// State tells the controller a state, and goes on with its frames. Without a stream
// it tells the state alone.
func (s *Sender) State(ctx context.Context, conn *link.Conn, state uint8) error {
	s.mu.Lock()
	q, err := conn.Start(link.State, link.StateBody(state))
	if err == nil && s.feed != nil && int(state) != s.state {
		s.enter(int(state))
	}
	if err == nil {
		s.telling++
	}
	s.mu.Unlock()
	if err != nil {
		return err
	}
	s.Wake()
	_, err = conn.Finish(ctx, q)
	s.mu.Lock()
	s.telling--
	s.mu.Unlock()
	if err != nil {
		return fmt.Errorf("telling state %d: %w", state, err)
	}
	return nil
}

// Stats are those of the stream, or of the last one.
func (s *Sender) Stats() Stats {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.feed != nil {
		return s.feed.Stats()
	}
	return s.stats
}

// Total are those of all streams so far, that of now included.
func (s *Sender) Total() Stats {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.feed != nil {
		return s.past.plus(s.feed.Stats())
	}
	return s.past
}

// Run opens a stream and keeps it going until ctx is done, which closes it and gives
// nil, or until it ends by itself, an ErrEnded that says why, or the line does.
func (s *Sender) Run(ctx context.Context, conn *link.Conn) error {
	err := s.open(ctx, conn)
	if err != nil {
		return err
	}
	for {
		if err = s.run(ctx, conn); !errors.Is(err, errAfresh) {
			break
		}
		if err = s.open(ctx, conn); err != nil {
			break
		}
	}
	s.mu.Lock()
	if s.feed != nil {
		if ctx.Err() != nil {
			s.feed.Close()
		}
		s.ended()
	}
	s.opened, s.afresh = false, false
	s.mu.Unlock()
	if ctx.Err() == nil {
		return err
	}
	after, cancel := context.WithTimeout(context.WithoutCancel(ctx), closing)
	defer cancel()
	if _, err := conn.Ask(after, link.CloseStream, nil); err != nil {
		return fmt.Errorf("closing the stream: %w", err)
	}
	return nil
}

// errAfresh is a stream that has to be opened once more.
var errAfresh = errors.New("stream: to be opened once more")

// open asks for a stream; the controller's first want begins it.
func (s *Sender) open(ctx context.Context, conn *link.Conn) error {
	answer, err := conn.Ask(ctx, link.OpenStream, []byte{Coding})
	if err != nil {
		return opening(err)
	}
	line, err := ParseOpen(answer, s.baud)
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.conn, s.line, s.opened, s.afresh, s.feed, s.began = conn, line, true, false, nil, time.Now()
	return nil
}

func opening(err error) error {
	var status *link.StatusError
	if errors.As(err, &status) {
		switch status.Status {
		case link.Unknown:
			err = fmt.Errorf("%w: its firmware takes no streams; build it with PG_STREAMS 1", err)
		case link.OutOfRange:
			err = fmt.Errorf("%w: it knows another coding than %d; use the program that came with its firmware", err, Coding)
		case link.Refused:
			err = fmt.Errorf("%w: its work memory does not hold one frame", err)
		case link.Busy:
			err = fmt.Errorf("%w: no table plays, or somebody is inside the machine", err)
		}
	}
	return fmt.Errorf("opening a stream: %w", err)
}

// run sends until something ends it.
func (s *Sender) run(ctx context.Context, conn *link.Conn) error {
	said := time.Now()
	timer := time.NewTimer(life)
	defer timer.Stop()
	for ctx.Err() == nil {
		body, wait, why := s.next()
		s.mu.Lock()
		afresh := s.afresh
		s.mu.Unlock()
		if afresh {
			return errAfresh
		}
		if why != GoesOn {
			return fmt.Errorf("%w: %v", ErrEnded, why)
		}
		if body != nil {
			if err := conn.Tell(link.Stream, body); err != nil {
				return err
			}
			said = time.Now()
			continue
		}
		if time.Since(said) >= life {
			if err := conn.Tell(link.Alive, nil); err != nil {
				return err
			}
			said = time.Now()
		}
		timer.Reset(min(wait, life))
		select {
		case <-ctx.Done():
		case <-s.wake:
		case <-timer.C:
		}
	}
	return nil
}

func (s *Sender) next() ([]byte, time.Duration, Why) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.feed == nil {
		if time.Since(s.began) > 2*time.Second {
			return nil, 0, Silent
		}
		return nil, life, GoesOn
	}
	b, wait := s.feed.Next(time.Since(s.began))
	return b, wait, s.feed.Stats().Ended
}
