package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"paneglow/controller/live"
	"paneglow/preview/model"
	"paneglow/render/prove"
)

// newModel opens a show.
func newModel(s settings) (*model.Model, error) {
	path := s.show
	if st, err := os.Stat(path); err == nil && st.IsDir() {
		path = filepath.Join(path, "show.toml")
	}
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("cannot open %s: %w", path, err)
	}
	changed, err := model.Watch(filepath.Dir(path))
	if err != nil {
		return nil, err
	}
	o := model.Options{Show: path, StateFile: s.state, Light: s.light, Changed: changed}
	if s.frames == 0 && !s.forget {
		// A measurement begins like a new window, and leaves nothing behind.
		if o.Memory, err = model.MemoryFile(); err != nil {
			o.Notice = fmt.Sprintf("size and view of the window are not remembered: %v", err)
		}
	}
	if s.target.To != "" {
		p := prove.Open(s.show, "")
		if err := p.Found.Err(); err != nil {
			return nil, err
		}
		strips, err := live.Open(context.Background(), p.Machine, p.Show.FPS, s.target)
		if err != nil {
			return nil, err
		}
		o.Sink = strips
		m, err := model.New(o, &model.Proof{})
		if err != nil {
			return nil, errors.Join(err, strips.Close())
		}
		return m, nil
	}
	return model.New(o, &model.Proof{})
}
