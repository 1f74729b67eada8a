package model

import (
	"paneglow/anim"
	"paneglow/anim/finding"
	"paneglow/anim/script"
	"paneglow/anim/show"
	"paneglow/render"
	"paneglow/render/panel"
	"paneglow/render/table"
)

// Stage is a show as it stands after one proof: what the files say, what the
// machine would latch, and what was found. It is never changed; the next proof
// makes another one.
type Stage struct {
	Show    *show.Show
	Machine *show.Machine
	On      *render.Hardware
	Clips   []*anim.Clip
	Codes   []*render.Codes
	Table   *table.Table
	Laps    []*Lap // by state; nil where a state does not come to show its clip
	Flashes []int  // by clip, in the worst second
	Found   finding.List
	Glass   *panel.Glass
	Layers  []Layer // of all clips, in file order
	Took    float64 // seconds
}

// Whole tells that the show can be played.
func (s *Stage) Whole() bool { return s != nil && s.Table != nil && s.Found.Err() == nil }

// Lap is one state's clip as it is latched, with the state's loads running.
type Lap struct {
	Frames  [][]uint8
	Current []int64 // microamperes, of each frame
	Wanted  []int64 // before the cap; nil where nothing was capped
	Budget  int64
}

// Layer is a pattern's controls in a clip.
type Layer struct {
	Clip, Layer int // in show.Show
	Pattern     string
	Doc         string
	Controls    []script.Control
}

// Sources are the files of a show, and what is to be read instead of them.
type Sources struct {
	Show    string            // path of show.toml
	Machine string            // path of another machine file, or ""
	Instead map[string][]byte // by path
}

// Prover makes a Stage of files. It is called from goroutines, one call at a
// time. before is the last whole stage, from which it may take what has not
// changed; it may be nil.
type Prover interface {
	Prove(src Sources, before *Stage) *Stage
}
