package model

import (
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/render/play"
)

// recorder is a sink that keeps everything, and fails or dawdles where it is told.
type recorder struct {
	mu     sync.Mutex
	codes  [][]uint8
	at     []play.Tick
	fail   int // at this refresh; 0: never
	hold   chan struct{}
	closed int
	broken error // of Close
}

func (r *recorder) Latch(codes []uint8, at play.Tick) error {
	if r.hold != nil {
		<-r.hold
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.fail > 0 && len(r.at)+1 == r.fail {
		return errors.New("the cable was pulled")
	}
	r.codes = append(r.codes, append([]uint8(nil), codes...))
	r.at = append(r.at, at)
	return nil
}

func (r *recorder) Close() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.closed++
	return r.broken
}

func (r *recorder) last() []uint8 {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.codes) == 0 {
		return nil
	}
	return r.codes[len(r.codes)-1]
}

// The sink gets what a player of its own latches: every refresh that is sent, in
// order, at its tick, with its codes.
func TestSink(t *testing.T) {
	r := &recorder{}
	w := openDemo(t, plainProver{}).reopen(Options{Sink: r})
	w.tick(3)
	steps := 0
	p, err := play.NewPlayer(w.stage.Table, play.Options{First: 0, KnownLoads: true})
	require.NoError(t, err)
	require.NoError(t, p.Tell(0, play.Event{Kind: play.Loads, Mask: w.stage.Table.States[0].Loads}))
	require.NoError(t, w.Close())
	require.Equal(t, 1, r.closed)
	require.Greater(t, len(r.at), 60)
	codes := make([]uint8, w.stage.Table.Channels())
	var last play.Tick
	for i := range r.at {
		for {
			require.NoError(t, p.Tell(last, play.Event{Kind: play.Host}))
			l := p.Next(codes)
			last = l.At
			steps++
			if l.Sent {
				require.Equal(t, l.At, r.at[i], "refresh %d", i)
				require.Equal(t, codes, r.codes[i], "refresh %d", i)
				break
			}
		}
	}
	require.InDelta(t, 3*float64(w.stage.Show.FPS), steps, 4, "all of three seconds")
}

// Scrubbed frames go out, too; ticks run forwards through stops, new states and new
// shows; and after each of them the strip shows what the panel shows.
func TestSinkFollowsTheHand(t *testing.T) {
	r := &recorder{}
	w := openDemo(t, plainProver{}).reopen(Options{Sink: r})
	same := func(why string) {
		t.Helper()
		w.frame1()
		require.Eventually(t, func() bool { return string(r.last()) == string(w.codes()) }, 5*time.Second, time.Millisecond, why)
	}
	w.tick(1)
	w.key("end")
	require.False(t, w.playing)
	same("a scrub")
	n := len(r.at)
	w.tick(1)
	require.Len(t, r.at, n, "a still picture is sent once")
	w.key("left")
	same("a step")
	w.key("space")
	w.tick(0.5)
	w.key("space")
	same("playing on, and a stop")
	w.click("state.turning")
	w.tick(1)
	w.key("home")
	same("another state")
	w.prove()
	w.settle()
	w.key("space")
	w.tick(0.5)
	w.key("space")
	same("a new show")
	require.NoError(t, w.Close())
	for i := 1; i < len(r.at); i++ {
		require.Positive(t, r.at[i].Since(r.at[i-1]), "refresh %d", i)
	}
}

// A sink that fails is closed at once and told; the window goes on without it.
func TestSinkFails(t *testing.T) {
	r := &recorder{fail: 20}
	w := openDemo(t, plainProver{}).reopen(Options{Sink: r})
	for range 200 {
		w.frame1()
		if w.notice != "" {
			break
		}
		time.Sleep(time.Millisecond)
	}
	require.Equal(t, "the strip was let go: the cable was pulled", w.notice)
	require.Equal(t, 1, r.closed)
	require.Len(t, r.at, 19)
	w.tick(1)
	require.Len(t, r.at, 19)
	require.NoError(t, w.Close())
	require.Equal(t, 1, r.closed, "it is closed once")

	// Close's own error is told, too.
	r = &recorder{broken: errors.New("the port is gone")}
	w = w.reopen(Options{Sink: r})
	w.tick(0.2)
	require.ErrorContains(t, w.Close(), "the strip was let go: the port is gone")
}

// A sink that hangs does not hold up the window: what finds no room is left out and
// told, and the newest picture comes through in the end.
func TestSinkHangs(t *testing.T) {
	r := &recorder{hold: make(chan struct{})}
	w := openDemo(t, plainProver{}).reopen(Options{Sink: r})
	w.tick(4)
	require.Contains(t, w.notice, "the strip is too slow")
	w.key("end")
	w.frame1()
	close(r.hold)
	for range 2000 {
		w.frame1()
		if string(r.last()) == string(w.codes()) {
			break
		}
		time.Sleep(time.Millisecond)
	}
	require.Equal(t, w.codes(), r.last())
	require.NoError(t, w.Close())
}
