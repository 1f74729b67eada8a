package model

import (
	"os"
	"path/filepath"
	"strings"
	"time"

	"paneglow/anim/script"
	"paneglow/patterns"
	"paneglow/render/prove"
	"paneglow/render/table"
)

// Proof is the Prover that takes a show all the way, as `paneglow check` does.
type Proof struct{ memory prove.Memory }

// Prove makes a Stage of files.
func (f *Proof) Prove(src Sources, _ *Stage) *Stage {
	begun := time.Now()
	p := prove.OpenWith(src.Show, src.Machine, src.Instead)
	p.Memory = &f.memory
	p.Finish(prove.Workers(), nil)
	p.Pack(table.Quick, prove.Workers())
	p.Examine()
	s := &Stage{
		Show: p.Show, Machine: p.Machine, On: p.On, Clips: p.Clips, Codes: p.Codes, Table: p.Table,
		Flashes: p.Flashes, Found: p.Found, Took: time.Since(begun).Seconds(),
	}
	for i, l := range p.Laps {
		if l == nil {
			s.Laps = append(s.Laps, nil)
			continue
		}
		lap := &Lap{Frames: l.Frames, Current: l.Current, Budget: l.Budget}
		if c := p.Codes[p.Table.States[i].Clip]; c.Bites() > 0 && len(c.Wanted) == len(l.Frames) {
			lap.Wanted = c.Wanted
		}
		s.Laps = append(s.Laps, lap)
	}
	if p.Show != nil {
		s.Layers = layersOf(p)
	}
	return s
}

// layersOf reads what the patterns of a show declare.
func layersOf(p *prove.Project) (all []Layer) {
	for ci := range p.Show.Clips {
		for li := range p.Show.Clips[ci].Layers {
			name := p.Show.Clips[ci].Layers[li].Pattern
			if name == "" {
				continue
			}
			var src []byte
			if strings.HasSuffix(name, ".star") {
				b, err := os.ReadFile(filepath.Join(p.Show.Dir, filepath.FromSlash(name)))
				if err != nil {
					continue // told by the proof
				}
				src = b
			} else if b, ok := patterns.Source(name); ok {
				src = b
			}
			pattern, err := script.Load(name, src)
			if err != nil {
				continue // told by the proof
			}
			all = append(all, Layer{Clip: ci, Layer: li, Pattern: name, Doc: pattern.Doc(), Controls: pattern.Controls()})
		}
	}
	return all
}
