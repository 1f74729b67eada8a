package main

import (
	"context"
	"fmt"

	"paneglow/controller/attach"
	"paneglow/controller/commission"
	"paneglow/controller/link"
	"paneglow/controller/live"
)

// lights are a commission.Panel behind a line.
type lights struct {
	*live.Strips
	w     *attach.Line
	begun bool
}

func (l *lights) Show(ctx context.Context, codes []uint8) error {
	if !l.begun {
		if err := l.Begin(ctx, l.w.Conn, len(codes)); err != nil {
			return err
		}
		l.begun = true
	}
	return l.Strips.Show(ctx, codes)
}

// Probe needs the line of pixels for itself: the stream ends first.
func (l *lights) Probe(ctx context.Context, p commission.Probe) error {
	if err := l.end(); err != nil {
		return err
	}
	b := []byte{uint8(p.Strip), uint8(p.First)}
	b = append(b, p.A[:]...)
	b = append(b, uint8(p.Pause), uint8(p.Pause>>8), uint8(p.Second))
	b = append(b, p.B[:]...)
	_, err := l.w.Ask(ctx, link.Probe, b)
	switch {
	case link.IsStatus(err, link.Busy):
		return fmt.Errorf("a probe wants all loads to stand still, and the panel to be told so: %w", err)
	case link.IsStatus(err, link.Refused), link.IsStatus(err, link.Unknown):
		return fmt.Errorf("this firmware makes no probes: build it with pg_probe_message: %w", err)
	}
	return err
}

func (l *lights) end() error {
	if !l.begun {
		return nil
	}
	l.begun = false
	return l.End()
}
