package prove

import (
	"fmt"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/render/safety"
)

// flashes counts every clip in a loop and every change of state, tells what is
// over the limit, and gives the worst count by clip.
func (p *Project) flashes(laps map[int]*Latched) []int {
	out := make([]int, len(p.Clips))
	eye, err := safety.NewEye(p.Machine, p.On.Layout)
	if err != nil {
		p.take(err, p.Machine.File)
		return out
	}
	fps := p.Show.FPS
	tracks := make([]*safety.Track, len(p.Clips))
	for i := range p.Clips {
		frames := func(f int) []uint8 { return p.Codes[i].Frame(f) }
		n := p.Codes[i].Frames
		if s := StateOf(p.Table, i); s >= 0 && laps[s] != nil {
			l := laps[s]
			n, frames = len(l.Frames), func(f int) []uint8 { return l.Frames[f] }
		}
		tracks[i] = eye.Track(n, frames)
		var worst safety.Result
		most := -1
		for _, r := range tracks[i].Loop(fps) {
			if w, _, _ := r.Worst(); w > most {
				most, worst = w, r
			}
		}
		out[i] = max(most, 0)
		if n, at, kind := worst.Worst(); n > safety.Limit {
			at %= p.Codes[i].Frames
			p.Add(finding.Warning, "safety.flashes", fmt.Sprintf("clip %q, frame %d", p.Clips[i].Name, at),
				"slow it down, or keep its changes below a tenth of full light",
				"%d %s flashes within a second on %s; more than %d can cause seizures (WCAG 2.3.1)", n, kind, worst.Region, safety.Limit)
		}
	}
	p.joints(tracks, out)
	return out
}

// joints looks at every change of state whose two clips keep the limit by
// themselves.
func (p *Project) joints(tracks []*safety.Track, alone []int) {
	fps := p.Show.FPS
	seen := map[[3]int]bool{}
	for a := range p.Table.States {
		for b := range p.Table.States {
			from, to := p.Table.States[a].Clip, p.Table.States[b].Clip
			fade := 0
			if p.Table.States[b].HandOver == show.Crossfade {
				fade = int(p.Table.States[b].Fade) * fps / 1000
			}
			key := [3]int{from, to, fade}
			if from == to || seen[key] || max(alone[from], alone[to]) > safety.Limit {
				continue
			}
			seen[key] = true
			for _, r := range safety.Joint(tracks[from], tracks[to], fps, fade) {
				if n, at, kind := r.Worst(); n > safety.Limit {
					p.Add(finding.Warning, "safety.flashes", fmt.Sprintf("from state %q, frame %d, to state %q", p.Table.States[a].Name, at, p.Table.States[b].Name),
						"hand over by a longer crossfade, or calm the start of the second clip",
						"%d %s flashes within a second on %s where the two meet; more than %d can cause seizures (WCAG 2.3.1)", n, kind, r.Region, safety.Limit)
					break
				}
			}
		}
	}
}
