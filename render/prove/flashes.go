package prove

import (
	"fmt"
	"sync"
	"sync/atomic"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/render/safety"
	"paneglow/render/table"
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
	p.Memory.begin(p.Machine.Source)
	defer p.Memory.end()
	fps := p.Show.FPS
	clips := make([]*looped, len(p.Clips))
	keys := make([][32]byte, len(p.Clips))
	each(len(p.Clips), func(i int) {
		frames := func(f int) []uint8 { return p.Codes[i].Frame(f) }
		n := p.Codes[i].Frames
		if s := StateOf(p.Table, i); s >= 0 && laps[s] != nil {
			l := laps[s]
			n, frames = len(l.Frames), func(f int) []uint8 { return l.Frames[f] }
		}
		keys[i] = keyOf(fps, n, frames)
		clips[i] = p.Memory.loop(keys[i], func() *looped {
			t := eye.Track(n, frames)
			return &looped{t, t.Loop(fps)}
		})
	})
	for i := range p.Clips {
		var worst safety.Result
		most := -1
		for _, r := range clips[i].loop {
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
	p.joints(clips, keys, out)
	return out
}

// joint is a change of state whose flashes are counted.
type joint struct {
	a, b, from, to, fade int
	results              []safety.Result
}

// joints looks at every change of state whose two clips keep the limit by
// themselves.
func (p *Project) joints(clips []*looped, keys [][32]byte, alone []int) {
	fps := p.Show.FPS
	all := jointsOf(p.Table, alone)
	each(len(all), func(i int) {
		j := &all[i]
		j.results = p.Memory.joint(jointKey{keys[j.from], keys[j.to], fps, j.fade}, func() []safety.Result {
			return safety.Joint(clips[j.from].track, clips[j.to].track, fps, j.fade)
		})
	})
	for i := range all {
		j := &all[i]
		for _, r := range j.results {
			if n, at, kind := r.Worst(); n > safety.Limit {
				p.Add(finding.Warning, "safety.flashes", fmt.Sprintf("from state %q, frame %d, to state %q", p.Table.States[j.a].Name, at, p.Table.States[j.b].Name),
					"hand over by a longer crossfade, or calm the start of the second clip",
					"%d %s flashes within a second on %s where the two meet; more than %d can cause seizures (WCAG 2.3.1)", n, kind, r.Region, safety.Limit)
				break
			}
		}
	}
}

// jointsOf are the changes of state whose two clips keep the limit by themselves,
// each pair of clips once for every length of crossfade.
func jointsOf(t *table.Table, alone []int) (all []joint) {
	seen := map[[3]int]bool{}
	for a := range t.States {
		for b := range t.States {
			j := joint{a: a, b: b, from: t.States[a].Clip, to: t.States[b].Clip}
			if t.States[b].HandOver == show.Crossfade {
				j.fade = int(t.States[b].Fade) * t.FPS / 1000
			}
			key := [3]int{j.from, j.to, j.fade}
			if j.from == j.to || seen[key] || max(alone[j.from], alone[j.to]) > safety.Limit {
				continue
			}
			seen[key] = true
			all = append(all, j)
		}
	}
	return all
}

// each calls f for 0..n-1 from as many goroutines as there are processors.
func each(n int, f func(i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(Workers(), n) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				f(i)
			}
		})
	}
	wg.Wait()
}
