package prove

import (
	"fmt"

	"paneglow/anim/finding"
	"paneglow/anim/layout"
	"paneglow/render/safety"
	"paneglow/render/table"
)

// LayoutOf lays out a table's panel as far as a table knows it: strips and pixels
// in data order, without places.
func LayoutOf(t *table.Show) *layout.Layout {
	l := &layout.Layout{}
	offset := 0
	for i := range t.Strips {
		s := &t.Strips[i]
		dies := t.Parts[s.Part].Dies
		gone := map[int]bool{}
		for _, p := range s.Missing {
			gone[p] = true
		}
		l.Strips = append(l.Strips, layout.Strip{Name: s.Name, Part: s.Part, Line: s.Line, First: len(l.Pixels), Count: s.Pixels, Dies: dies, Order: t.Parts[s.Part].Order})
		for p := range s.Pixels {
			l.Pixels = append(l.Pixels, layout.Pixel{Strip: i, Index: p, Place: p, Missing: gone[p], Offset: offset})
			offset += dies
		}
	}
	return l
}

// FlashesOf counts the flashes of a table's clips, each in a loop, and of its
// changes of state, from the codes as they are stored, and tells what is over the
// limit. eye nil: dies of which nothing is known, safety.NewPlainEye.
func FlashesOf(t *table.Table, eye *safety.Eye) (found finding.List) {
	if eye == nil {
		eye = safety.NewPlainEye(LayoutOf(&t.Show), len(t.Parts))
	}
	tracks := make([]*safety.Track, len(t.Clips))
	alone := make([]int, len(t.Clips))
	worst := make([]safety.Result, len(t.Clips))
	each(len(t.Clips), func(i int) {
		d, frame := t.Clip(i).Start(), make([]uint8, t.Channels())
		tracks[i] = eye.Track(t.Clips[i].Frames, func(int) []uint8 {
			if err := d.Next(frame); err != nil {
				panic(err) // Read has decoded this very clip
			}
			return frame
		})
		for _, r := range tracks[i].Loop(t.FPS) {
			if n, _, _ := r.Worst(); n > alone[i] {
				alone[i], worst[i] = n, r
			}
		}
	})
	tell := func(r safety.Result, where string, args ...any) {
		n, _, kind := r.Worst()
		found = append(found, finding.Finding{Code: "safety.flashes", Severity: finding.Warning, Where: fmt.Sprintf(where, args...),
			Message: fmt.Sprintf("%d %s flashes within a second on %s; more than %d can cause seizures (WCAG 2.3.1)", n, kind, r.Region, safety.Limit)})
	}
	for i, n := range alone {
		if n > safety.Limit {
			tell(worst[i], "clip %q", t.Clips[i].Name)
		}
	}
	all := jointsOf(t, alone)
	each(len(all), func(i int) {
		all[i].results = safety.Joint(tracks[all[i].from], tracks[all[i].to], t.FPS, all[i].fade)
	})
	for i := range all {
		j := &all[i]
		for _, r := range j.results {
			if n, _, _ := r.Worst(); n > safety.Limit {
				tell(r, "from state %q to state %q", t.States[j.a].Name, t.States[j.b].Name)
				break
			}
		}
	}
	return found
}
