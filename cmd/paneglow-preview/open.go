package main

import (
	"fmt"
	"os"
	"path/filepath"

	"paneglow/preview/model"
	"paneglow/preview/view"
)

// newModel opens a show.
func newModel(s settings) (view.Model, error) {
	path := s.show
	if st, err := os.Stat(path); err == nil && st.IsDir() {
		path = filepath.Join(path, "show.toml")
	}
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("cannot open %s: %w", path, err)
	}
	changed, err := watch(filepath.Dir(path))
	if err != nil {
		return nil, err
	}
	return model.New(model.Options{Show: path, StateFile: s.state, Light: s.light, Changed: changed}, &model.Proof{})
}
