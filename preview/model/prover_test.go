package model

import (
	"bytes"
	"fmt"
	"io/fs"
	"path/filepath"

	"paneglow/anim"
	"paneglow/anim/script"
	"paneglow/anim/show"
	"paneglow/examples"
	"paneglow/patterns"
	"paneglow/render"
	"paneglow/render/play"
	"paneglow/render/power"
	"paneglow/render/table"
)

func demoFiles() fs.FS { return examples.Umbrella() }

// stripSeverities leaves JSON as it is; a severity is a word there and a number
// here.
func stripSeverities(b []byte) []byte {
	for _, w := range []string{"note", "warning", "error"} {
		b = bytes.ReplaceAll(b, []byte(`"severity": "`+w+`"`), []byte(`"severity": 0`))
	}
	return b
}

// plainProver does what a proof needs for the window to work, and no more.
type plainProver struct{}

func (plainProver) Prove(src Sources, _ *Stage) *Stage {
	st := &Stage{}
	s, found := show.ParseShow(src.Show, src.Instead[src.Show])
	s.Dir = filepath.Dir(src.Show)
	st.Show, st.Found = s, found
	if found.Err() != nil {
		return st
	}
	file := filepath.Join(s.Dir, s.MachineFile)
	m, found := show.LoadMachine(file)
	if text, ok := src.Instead[file]; ok {
		m, found = show.ParseMachine(file, text)
	}
	st.Machine, st.Found = m, append(st.Found, found...)
	if st.Found.Err() != nil {
		return st
	}
	hw, err := render.NewHardware(m)
	if err != nil {
		panic(err)
	}
	clips, found := anim.Build(s, hw.Layout, anim.Options{Pattern: patterns.Source, Patterns: patterns.Names()})
	st.On, st.Clips, st.Found = hw, clips, append(st.Found, found...)
	if st.Found.Err() != nil {
		return st
	}
	codes, err := render.FinishShow(clips, hw, power.ClipBudgets(s, m), s.Cap, 2, nil)
	if err != nil {
		panic(err)
	}
	st.Codes = codes
	ts, err := table.NewShow(s, m, hw.Layout)
	if err != nil {
		panic(err)
	}
	var tc []table.Clip
	for i, c := range codes {
		tc = append(tc, table.Clip{Name: clips[i].Name, Frames: c.Frames, Channels: c.Channels, Bytes: c.Bytes, Current: c.Current, Loop: !clips[i].Follow, Value: clips[i].Follow})
	}
	var b bytes.Buffer
	r, err := table.Write(&b, ts, tc, table.Options{Workers: 2})
	if err != nil {
		panic(err)
	}
	st.Table = r.Table
	for i := range st.Table.States {
		clip := st.Table.States[i].Clip
		c := codes[clip]
		lap := &Lap{Budget: st.Table.States[i].Budget, Current: c.Current}
		if c.Bites() > 0 {
			lap.Wanted = c.Wanted
		}
		for f := range c.Frames {
			lap.Frames = append(lap.Frames, c.Frame(f))
		}
		st.Laps = append(st.Laps, lap)
	}
	for ci := range s.Clips {
		for li := range s.Clips[ci].Layers {
			name := s.Clips[ci].Layers[li].Pattern
			text, ok := patterns.Source(name)
			if !ok {
				continue
			}
			p, err := script.Load(name, text)
			if err != nil {
				panic(fmt.Sprint(name, err))
			}
			st.Layers = append(st.Layers, Layer{Clip: ci, Layer: li, Pattern: name, Doc: p.Doc(), Controls: p.Controls()})
		}
	}
	st.Flashes = make([]int, len(clips))
	_ = play.Options{}
	return st
}
