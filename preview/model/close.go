package model

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// Close ends what goes on behind the window, after its last Update: a picture being
// saved is given up, size and view are kept, the sink is closed. The errors are
// those that the window can no longer tell.
func (m *Model) Close() error {
	var errs []error
	if m.stopPicture() {
		select {
		case s := <-m.saver.job.ended:
			if s.err != nil && !errors.Is(s.err, context.Canceled) {
				errs = append(errs, fmt.Errorf("the picture was not saved: %w", s.err))
			}
		case <-time.After(farewell): // before its first frame, with no file yet
		}
		m.saver.job = nil
	}
	if m.memory.path != "" {
		m.memory.fresh = m.standing()
		if m.memory.fresh != m.memory.disk {
			if err := m.memory.write(); err != nil {
				errs = append(errs, fmt.Errorf("how the window stands cannot be remembered: %w", err))
			}
		}
	}
	if err := m.sink.close(); err != nil {
		errs = append(errs, fmt.Errorf("the strip was let go: %w", err))
	}
	m.sink, m.run.feed = nil, nil
	return errors.Join(errs...)
}
