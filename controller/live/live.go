// Package live shows frames on real strips while they are being made: the window's
// while one designs, the lights of commissioning. It is a stream whose newest frame
// wins, thinned to what the line carries; the controller counts every refresh and
// holds it inside the budget, as ever.
//
// In: final codes in data order. Out: a stream on a link.Conn. A limiter may stand
// before it, which leaves out frames that would make more than three flashes a
// second (WCAG 2.3.1): a pattern in the making is in nobody's proof yet. Where the
// newest frame was left out it shows as soon as it may.
package live

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"paneglow/controller/link"
	"paneglow/controller/stream"
	"paneglow/render/play"
	"paneglow/render/safety"
)

// Strips are the strips behind one controller. Make them before the line is opened,
// give Event to link.Options, and Begin.
type Strips struct {
	baud     int
	limiter  *safety.Limiter
	channels int
	end      func() error // of the line, by Close

	mu     sync.Mutex
	source *stream.Live
	sender *stream.Sender
	stop   context.CancelFunc
	ended  chan struct{} // closed when the sender has ended
	err    error         // why, valid then
	held   int
	late   []uint8     // the newest frame, where it was held back; nil: it shows
	again  *time.Timer // tries it once more
}

// New makes strips on a line of so many bits a second, 0: one that carries what is
// written. limiter nil: nothing is left out.
func New(baud int, limiter *safety.Limiter) *Strips { return &Strips{baud: baud, limiter: limiter} }

// Event takes what the controller sends unasked.
func (s *Strips) Event(f link.Frame) {
	s.mu.Lock()
	sender := s.sender
	s.mu.Unlock()
	if sender != nil {
		sender.Event(f)
	}
}

// Begin opens the stream; dark is what shows until the first frame is put.
func (s *Strips) Begin(ctx context.Context, conn *link.Conn, channels int) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.source, s.channels = stream.NewLive(channels), channels
	if err := s.source.Put(make([]uint8, channels)); err != nil {
		return err
	}
	s.sender = stream.NewSender(s.source, channels, s.baud)
	run, stop := context.WithCancel(ctx)
	s.stop, s.ended, s.err = stop, make(chan struct{}), nil
	sender, ended := s.sender, s.ended
	go func() {
		err := sender.Run(run, conn)
		// A board that has just started looks at its table first.
		for end := time.Now().Add(patience); link.IsStatus(err, link.Busy) && time.Now().Before(end) && run.Err() == nil; {
			time.Sleep(50 * time.Millisecond)
			err = sender.Run(run, conn)
		}
		s.mu.Lock()
		s.err = err
		s.mu.Unlock()
		close(ended)
	}()
	return nil
}

// EndWith is called by Close, after the stream has ended: it closes the line.
func (s *Strips) EndWith(end func() error) { s.end = end }

// ErrShow is the kind of an error of Show when the controller took nothing.
var ErrShow = errors.New("the controller does not show it")

// patience is how long a frame may take until it is on the strips.
const patience = 5 * time.Second

// Show puts a frame and waits until the strips have it.
func (s *Strips) Show(ctx context.Context, codes []uint8) error {
	if err := s.put(codes); err != nil {
		return err
	}
	limit := time.NewTimer(patience)
	defer limit.Stop()
	wait := func(done func() bool) error {
		for !done() {
			select {
			case <-s.ended:
				return s.why()
			case <-ctx.Done():
				return ctx.Err()
			case <-limit.C:
				return fmt.Errorf("%w: it took nothing within %v; was a show uploaded, and does nobody hold the service state on?", ErrShow, patience)
			case <-time.After(5 * time.Millisecond):
			}
		}
		return nil
	}
	if err := wait(func() bool { return !s.source.Waiting() }); err != nil {
		return err
	}
	sent := s.sender.Stats().Frames
	return wait(func() bool { return s.sender.Stats().Passed >= sent })
}

func (s *Strips) put(codes []uint8) error {
	s.mu.Lock()
	source, sender := s.source, s.sender
	s.mu.Unlock()
	if source == nil {
		return fmt.Errorf("%w: no stream was begun", ErrShow)
	}
	if err := source.Put(codes); err != nil {
		return err
	}
	sender.Wake()
	return nil
}

func (s *Strips) why() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.err == nil {
		return fmt.Errorf("%w: the stream has ended", ErrShow)
	}
	return s.err
}

// End closes the stream: the stored show plays again.
func (s *Strips) End() error {
	s.mu.Lock()
	stop, ended := s.stop, s.ended
	s.stop, s.late = nil, nil
	s.mu.Unlock()
	if stop == nil {
		return nil
	}
	stop()
	<-ended
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.err
}

// Latch is play.Sink's: it takes one refresh, unless it would be one flash too many.
// A stream that has ended is an error.
func (s *Strips) Latch(codes []uint8, _ play.Tick) error {
	select {
	case <-s.ended:
		return s.why()
	default:
	}
	if len(codes) != s.channels {
		return fmt.Errorf("%w: %d codes, the panel that its firmware was built for has %d: the machine's file has changed", ErrShow, len(codes), s.channels)
	}
	if s.limiter == nil {
		return s.put(codes)
	}
	s.mu.Lock()
	allowed := s.limiter.Allow(codes, time.Now())
	if s.late = nil; !allowed {
		s.held++
		s.late = slices.Clone(codes)
		s.retry()
	}
	s.mu.Unlock()
	if !allowed {
		return nil
	}
	return s.put(codes)
}

// unheld is how often a frame that was held back is tried again.
const unheld = 50 * time.Millisecond

// retry shows the newest frame as soon as the flashes before it are old enough: no
// other may come, where the picture stands still. With s.mu.
func (s *Strips) retry() {
	if s.again != nil {
		return
	}
	s.again = time.AfterFunc(unheld, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.again = nil
		switch {
		case s.late == nil || s.stop == nil:
		case !s.limiter.Allow(s.late, time.Now()):
			s.retry()
		default:
			if s.source.Put(s.late) == nil { // its length was looked at
				s.sender.Wake()
			}
			s.late = nil
		}
	})
}

// Close is play.Sink's.
func (s *Strips) Close() error {
	err := s.End()
	if s.end != nil {
		err = errors.Join(err, s.end())
	}
	return err
}

// Stats are the stream's, and how many frames the limiter has held back.
func (s *Strips) Stats() (stats stream.Stats, held int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.sender != nil {
		stats = s.sender.Stats()
	}
	return stats, s.held
}
