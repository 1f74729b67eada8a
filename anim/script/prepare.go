package script

import (
	"fmt"
	"math"

	"paneglow/anim/color"
	"paneglow/anim/finding"
)

// keptBytes bounds what a program keeps of its trails for Seek.
const keptBytes = 8 << 20

func valueOf(imm uint64) float64 { return math.Float64frombits(imm) }

// clock gives the numbers that come from the frame number. frame may be the
// clip's length, which is where a loop closes.
func (o *Options) clock(k op, imm uint64, frame int) float64 {
	switch k {
	case opSeconds:
		return float64(frame) / float64(o.FPS)
	case opProgress:
		p := 0.0
		if o.Loop {
			p = float64(frame) / float64(o.Frames)
		} else if o.Frames > 1 {
			p = float64(frame) / float64(o.Frames-1)
		}
		if o.Easing != nil {
			p = o.Easing(p)
		}
		return math.Min(math.Max(p, progressLow), progressHigh)
	case opValue:
		return float64(frame) / 255
	}
	turns := valueOf(imm)
	if turns == math.Trunc(turns) {
		// Whole turns are counted in integers: no drift, and the loop closes exactly.
		return float64(int64(turns)*int64(frame)%int64(o.Frames)) / float64(o.Frames)
	}
	t := turns * float64(frame) / float64(o.Frames)
	return t - math.Floor(t)
}

// An easing function may overshoot; these are its bounds in a graph.
const progressLow, progressHigh = -2, 3

// prepare runs what has to be known before the first frame: the lap that fills
// the trails, the states kept for Seek, and the seam.
func (p *Program) prepare() error {
	p.notes = append(p.notes, p.g.hints...)
	o := &p.g.opt
	open, clockPos, clockName := p.openClock()
	if p.trails > 0 {
		p.keepEvery = 32
		for size := 4 * p.n * p.trails; (p.frames/p.keepEvery+1)*size > keptBytes && p.keepEvery < p.frames; {
			p.keepEvery *= 2
		}
		r := p.Start()
		if o.Loop {
			for f := range p.frames {
				r.render(f, nil)
			}
		}
		for f := range p.frames {
			if f%p.keepEvery == 0 {
				keep := make([]float32, 0, p.n*p.trails)
				for _, s := range r.state {
					keep = append(keep, s...)
				}
				p.kept = append(p.kept, keep)
			}
			r.render(f, nil)
		}
		if o.Loop {
			p.seam(r, clockPos, clockName)
		}
		return nil
	}
	if open && o.Loop {
		p.seam(p.Start(), clockPos, clockName)
	}
	return nil
}

// openClock finds a clock that does not close with the loop.
func (p *Program) openClock() (bool, place, string) {
	for i, on := range p.g.live() {
		n := &p.g.nodes[i]
		if !on {
			continue
		}
		switch n.op {
		case opSeconds, opProgress:
			return true, n.pos, "now." + ops[n.op].name
		}
	}
	for i, on := range p.g.live() {
		if n := &p.g.nodes[i]; on && n.op == opTrail {
			return false, n.pos, "trail"
		}
	}
	return false, place{}, ""
}

// seamSeen is the smallest jump worth telling, in light: half a step of an
// 8-bit code.
const seamSeen = 0.5 / 255

// seam compares the frame after the last, as the pattern would go on, with
// frame 0, where the loop goes on. after has run to the end of the clip.
func (p *Program) seam(after *Run, at place, name string) {
	end, first := make([]color.Light, p.n), make([]color.Light, p.n)
	after.render(p.frames, end)
	p.Start().render(0, first)
	jump, where, part := 0.0, 0, 0
	for i := range end {
		for k := range 3 {
			if d := math.Abs(float64(end[i][k] - first[i][k])); d > jump {
				jump, where, part = d, i, k
			}
		}
	}
	if jump < seamSeen {
		return
	}
	fix := "use now.cycle(T), which closes, or bring the pattern back to its start"
	if name == "trail" {
		fix = "shorten half, so that the memory fades within one lap"
	}
	p.notes = append(p.notes, finding.At(p.g.src.pos(at), finding.Warning, "script.seam",
		fmt.Sprintf("the loop jumps by %.3g of white where it closes (%s, pixel %d): %s does not come back",
			jump, [...]string{"red", "green", "blue"}[part], where, name), fix))
}
