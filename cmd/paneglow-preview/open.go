package main

import (
	"fmt"
	"image/color"
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
	return &card{name: path}, nil
}

// card names the show.
type card struct {
	name string
	list model.List
	w, h float64
}

func (c *card) Title() string       { return c.name }
func (c *card) Light() *model.Light { return nil }

func (c *card) Update(in model.Input) bool {
	c.w, c.h = in.W, in.H
	for _, k := range in.Keys {
		if k == "q" {
			return true
		}
	}
	return in.Close
}

func (c *card) Draw() *model.List {
	c.list.Ops = append(c.list.Ops[:0],
		model.Op{Kind: model.Fill, W: c.w, H: c.h, Color: color.NRGBA{20, 22, 26, 255}},
		model.Op{Kind: model.Text, X: 24, Y: 48, Text: c.name, Size: 18, Bold: true, Color: color.NRGBA{230, 234, 238, 255}},
		model.Op{Kind: model.Text, X: 24, Y: 76, Text: "q closes the window", Size: 14, Color: color.NRGBA{154, 164, 176, 255}})
	return &c.list
}
