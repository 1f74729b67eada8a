package render

import (
	"paneglow/anim/show"
	"paneglow/render/drive"
)

// Plan says how light is kept inside budgets.
type Plan struct {
	Cap    show.Cap
	Window int // frames over which CapMoment smooths; at least 1
	// Rise and Fall are the most that the current from each supply may change from
	// one frame to the next, in microamperes; 0 or none: any. They hold over a
	// loop's seam, and not in clips that follow a value, whose frames come in any
	// order: there and between clips the player holds rises back (render/play).
	Rise, Fall []int64
	Compare    bool // fill Codes.Costs for every policy, not for this one alone
}

// PlanOf is the plan that a show and its machine ask for.
func PlanOf(s *show.Show, m *show.Machine) Plan {
	p := Plan{Cap: s.Cap, Window: max(1, int((int64(s.Window)*int64(s.FPS)+500_000_000)/1_000_000_000))}
	step := int64(1_000_000 / max(s.FPS, 1)) // microseconds, as the player counts them
	for _, x := range m.Supplies() {
		p.Rise = append(p.Rise, perFrame(int64(x.Rise), step))
		p.Fall = append(p.Fall, perFrame(int64(x.Fall), step))
	}
	return p
}

// perFrame turns microamperes a second into microamperes a frame, by way of
// microamperes a millisecond, as a table holds them.
func perFrame(rate, microseconds int64) int64 {
	if rate == 0 {
		return 0
	}
	return max(max(rate/1000, 1)*microseconds/1000, 1)
}

func (p *Plan) slews() bool {
	for i := range p.Rise {
		if p.Rise[i] > 0 || p.Fall[i] > 0 {
			return true
		}
	}
	return false
}

// Light is what a cap leaves of a clip's light: the gain of its frames on
// average and at the least, 0..1.
type Light struct{ Mean, Least float64 }

// lightOf sums gains up; one gain stands for all frames.
func lightOf(gains ...uint32) Light {
	sum, least := 0.0, uint32(drive.FullGain)
	for _, g := range gains {
		sum += float64(g)
		least = min(least, g)
	}
	return Light{sum / float64(len(gains)) / drive.FullGain, float64(least) / drive.FullGain}
}

// Momentary makes gains that follow the needs of frames without pumping: of
// each frame the least need within a window around it, then the average of
// those over the same window.
//
// No gain exceeds its frame's need: every least that is averaged looked at a
// window that holds that frame. From frame to frame a gain changes by at most
// 1/window, so in a second by at most 1/(window in seconds). A constant need is
// kept as it is. loop closes the window over the clip's seam; else it ends at
// the clip's ends. Whole numbers all the way: the same bytes everywhere.
func Momentary(needs []uint32, window int, loop bool) []uint32 {
	n := len(needs)
	half := min(max(window, 1), n) / 2 // the window is 2 half + 1 frames wide
	if 2*half+1 > n {
		half = (n - 1) / 2
	}
	at := func(v []uint32, i int) uint32 {
		if loop {
			return v[(i+n)%n]
		}
		return v[min(max(i, 0), n-1)]
	}
	least := make([]uint32, n)
	// The least within a window that slides: a queue of frames whose needs rise.
	var queue []int
	for i := -half; i < n+half; i++ {
		for len(queue) > 0 && at(needs, queue[len(queue)-1]) >= at(needs, i) {
			queue = queue[:len(queue)-1]
		}
		queue = append(queue, i)
		if f := i - half; f >= 0 && f < n {
			for queue[0] < f-half {
				queue = queue[1:]
			}
			least[f] = at(needs, queue[0])
		}
	}
	out := make([]uint32, n)
	var sum uint64
	for i := -half; i <= half; i++ {
		sum += uint64(at(least, i))
	}
	for f := range n {
		out[f] = uint32(sum / uint64(2*half+1))
		sum += uint64(at(least, f+half+1)) - uint64(at(least, f-half))
	}
	return out
}

// swingOf is the largest change from one gain to the next.
func swingOf(gains []uint32, loop bool) uint32 {
	most := uint32(0)
	for f, g := range gains {
		if f > 0 || loop {
			before := gains[(f+len(gains)-1)%len(gains)]
			most = max(most, max(g, before)-min(g, before))
		}
	}
	return most
}
