package live

import (
	"context"
	"fmt"
	"time"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/controller/attach"
	"paneglow/controller/link"
	"paneglow/render/safety"
	"paneglow/render/table"
)

// Bench are the real strips of a machine, for the window: a play.Sink with words.
type Bench struct {
	*Strips
	fps int
}

// Words say how the strips keep up.
func (b *Bench) Words() string {
	stats, held := b.Stats()
	words := fmt.Sprintf("on the strips, %.0f of %d frames a second", stats.Rate(b.fps), b.fps)
	if held > 0 {
		words += fmt.Sprintf(", %d held back: more than %d flashes a second", held, safety.Limit)
	}
	return words
}

// Open connects to the controller of a machine, whose firmware has to be built for
// this very panel, and begins to stream frames of so many a second.
func Open(ctx context.Context, m *show.Machine, fps int, target attach.Target) (*Bench, error) {
	l, err := layout.New(m)
	if err != nil {
		return nil, err
	}
	panel, err := table.PanelOf(m, l)
	if err != nil {
		return nil, err
	}
	eye, err := safety.NewEye(m, l)
	if err != nil {
		return nil, err
	}
	b := &Bench{Strips: New(target.Rate(), safety.NewLimiter(eye)), fps: fps}
	ctx, stop := context.WithCancel(ctx)
	w, err := target.Connect(ctx, link.Options{Event: b.Event})
	if err != nil {
		stop()
		return nil, err
	}
	if w.Is.Layout != panel {
		stop()
		w.Close()
		return nil, fmt.Errorf("%s: its firmware was built for a panel with the fingerprint %08x, the show's machine has %08x: build it with this machine's header", w.Target, w.Is.Layout, panel)
	}
	b.EndWith(func() error { stop(); return w.Close() })
	if err := b.Begin(ctx, w.Conn, l.Channels()); err != nil {
		stop()
		w.Close()
		return nil, err
	}
	go alive(ctx, w)
	return b, nil
}

// alive gives signs of life while nothing changes: a silent computer would end the
// stream.
func alive(ctx context.Context, w *attach.Line) {
	tick := time.NewTicker(500 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			if _, err := w.Ask(ctx, link.Alive, nil); err != nil {
				return // the stream finds out, and says so
			}
		}
	}
}
