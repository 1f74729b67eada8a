package model

import (
	"bytes"
	"fmt"
	"sync/atomic"
	"time"

	"paneglow/render/play"
)

// feed hands what the panel shows to a play.Sink, such as a strip on the bench. The
// sink is served on a goroutine of its own: a slow port must not hold up the window.
//
// Its ticks go on where the window's player jumps: when the clip is scrubbed, and
// when a changed show starts a new player, whose ticks begin at 0 again.
type feed struct {
	queue   chan refresh
	free    chan []uint8
	ended   chan error // the sink's error or Close's, once
	closed  bool       // the queue is
	left    atomic.Int64
	told    int64
	shown   []uint8 // sent last
	at      play.Tick
	skew    play.Tick // from the player's ticks to the sink's
	resync  bool      // the player has jumped
	standAt float64   // window's seconds of the last refresh
}

type refresh struct {
	codes []uint8
	at    play.Tick
}

// queued is how many refreshes may wait for a slow sink: over a second of them.
const queued = 64

// farewell is how long a sink may take over its last refreshes.
const farewell = 2 * time.Second

func newFeed(s play.Sink) *feed {
	if s == nil {
		return nil
	}
	f := &feed{queue: make(chan refresh, queued), free: make(chan []uint8, queued+1), ended: make(chan error, 1)}
	go func() {
		var failed error
		for r := range f.queue {
			if failed == nil {
				if err := s.Latch(r.codes, r.at); err != nil {
					failed = err
					// Closed at once; the error is told, what follows is dropped.
					if e := s.Close(); e != nil {
						failed = fmt.Errorf("%w; closing it: %v", err, e)
					}
					f.ended <- failed
				}
			}
			select {
			case f.free <- r.codes:
			default:
			}
		}
		if failed == nil {
			f.ended <- s.Close()
		}
	}()
	return f
}

// restarts tells that the player begins again at tick 0.
func (f *feed) restarts() {
	if f != nil {
		f.resync = f.shown != nil
	}
}

// latched takes a refresh of the player. Refreshes that send nothing leave the
// strips as they are.
func (f *feed) latched(l play.Latched, codes []uint8, frame play.Tick) {
	if f == nil || f.closed {
		return
	}
	if f.resync {
		f.skew, f.resync = f.at+frame-l.At, false
	}
	// After a scrub the strip shows something else than the player thinks.
	if l.Sent || !bytes.Equal(codes, f.shown) {
		f.put(codes, l.At+f.skew)
	}
}

// stands takes what shows while the machine stands still, when it is another frame
// than before.
func (f *feed) stands(codes []uint8, seconds float64) {
	if f == nil || f.closed || codes == nil {
		return
	}
	f.resync = true
	if bytes.Equal(codes, f.shown) {
		return
	}
	f.put(codes, f.at+play.Tick(max(1, (seconds-f.standAt)*1e6)))
	f.standAt = seconds
}

// put queues a refresh, or counts it where the queue is full.
func (f *feed) put(codes []uint8, at play.Tick) {
	f.at = at
	var b []uint8
	select {
	case b = <-f.free:
	default:
	}
	select {
	case f.queue <- refresh{append(b[:0], codes...), at}:
		f.shown = append(f.shown[:0], codes...)
	default:
		f.left.Add(1)
	}
}

// feedSink looks after the sink once a tick of the window.
func (m *Model) feedSink() {
	f := m.sink
	if f == nil {
		return
	}
	if m.playing {
		f.standAt = m.lastTime
	} else {
		f.stands(m.codes(), m.lastTime)
	}
	select {
	case err := <-f.ended:
		m.sink = nil
		close(f.queue)
		f.closed = true
		m.notice = fmt.Sprintf("the strip was let go: %v", err)
		return
	default:
	}
	if n := f.left.Load(); n > f.told {
		f.told = n
		m.notice = fmt.Sprintf("the strip is too slow: %s left out so far", count(int(n), "refresh", "refreshes"))
	}
}

func count(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

// close ends the feed and waits for the sink, but not for ever.
func (f *feed) close() error {
	if f == nil || f.closed {
		return nil
	}
	f.closed = true
	close(f.queue)
	select {
	case err := <-f.ended:
		return err
	case <-time.After(farewell):
		return fmt.Errorf("the strip did not take its last refreshes within %v", farewell)
	}
}
