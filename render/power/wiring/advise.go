package wiring

import (
	"errors"
	"math"
	"slices"

	"paneglow/anim/show"
	"paneglow/anim/unit"
)

// Way is one change of the copper and what it does to the lowest pixel of all
// frames.
type Way struct {
	Feeds []Place     // to be added, or all of them where placed anew
	Wires []unit.Wire // of every feed, where wires are changed
	Low   Low
	At    Place
	Lap   int
	Frame int
	Fused bool // every feed can have a fuse that protects it
}

// Enough tells that no pixel lacks volts then, and every feed can be fused.
func (w *Way) Enough() bool { return w.Low.Margin() >= 0 && w.Fused }

// Advice is what keeps every pixel above its least volts.
type Advice struct {
	Now Way
	// Thicker is the first step of wire sizes, all feeds at once, that is enough;
	// the thickest that there is, where none is.
	Thicker Way
	// More is the fewest feeds beside those that are there. Greedy says that more
	// than exhaustive search allows were added one at a time: fewer may do.
	More   Way
	Greedy bool
	// Anew is the fewest feeds where all are placed anew, and may be empty.
	Anew Way
	// The wire and length that new feeds are taken to have: of the feeds that are
	// there the thickest and the longest.
	Wire   unit.Wire
	Length unit.Length
}

// Advise looks for what keeps every pixel of all laps above its least volts.
// Positions are searched exhaustively up to four feeds, on a grid of pixels that
// is coarser the more there are; a wire's size step by step.
func (p *Panel) Advise(laps []Lap) (*Advice, error) {
	s := &search{p: p, laps: laps, template: p.template()}
	a := &Advice{Wire: s.template.Wire, Length: s.template.Length}
	var err error
	if a.Now, err = s.judge(p.Machine, Way{}); err != nil {
		return nil, err
	}
	s.keep(a.Now)
	if a.Thicker, err = s.thicker(a.Now); err != nil {
		return nil, err
	}
	a.More = a.Now
	if !a.Now.Enough() {
		if a.More, a.Greedy, err = s.fewest(p.Machine.Feeds, 12); err != nil {
			return nil, err
		}
	}
	if total := len(p.Machine.Feeds) + len(a.More.Feeds); total > 1 {
		anew, greedy, err := s.fewest(nil, min(total-1, exhaustive))
		if err != nil {
			return nil, err
		}
		if anew.Enough() && !greedy {
			a.Anew = anew
		}
	}
	return a, nil
}

// template is the feed that stands for those to be added.
func (p *Panel) template() show.Feed {
	f := p.Machine.Feeds[0]
	for _, g := range p.Machine.Feeds {
		if PerMetre(g.Wire) < PerMetre(f.Wire) {
			f.Wire = g.Wire
		}
		f.Length = max(f.Length, g.Length)
	}
	return f
}

// search holds what is tried again and again: the frames that were worst so far
// stand for all of them until a way that is enough for these is judged by all.
type search struct {
	p        *Panel
	laps     []Lap
	template show.Feed
	worst    []Way // their Lap and Frame
}

// exhaustive is the most feeds whose positions are all tried together.
const exhaustive = 4

// candidates is how many positions are tried for each number of feeds.
var candidates = [exhaustive + 1]int{0, 400, 60, 24, 16}

func (s *search) keep(w Way) {
	for _, k := range s.worst {
		if k.Lap == w.Lap && k.Frame == w.Frame {
			return
		}
	}
	s.worst = append(s.worst, w)
}

// machine is the panel's machine with other feeds.
func (s *search) machine(feeds []show.Feed, more []Place) *show.Machine {
	m := *s.p.Machine
	m.Feeds = slices.Clone(feeds)
	for _, at := range more {
		f := s.template
		f.Strip, f.Pixel = s.p.Layout.Strips[at.Strip].Name, at.Pixel
		m.Feeds = append(m.Feeds, f)
	}
	return &m
}

// judge looks at all frames.
func (s *search) judge(m *show.Machine, w Way) (Way, error) {
	p, err := NewPanel(m, s.p.Layout)
	if err != nil {
		return w, err
	}
	var loads []float64
	if w.Low, w.Lap, w.Frame, loads, err = p.lowest(s.laps); err != nil {
		return w, err
	}
	if w.Low.Pixel >= 0 {
		w.At = p.Circuit.Place(w.Low.Pixel)
	}
	protect, err := p.Protect(loads)
	w.Fused = true
	for i := range protect {
		w.Fused = w.Fused && protect[i].Advised > 0
	}
	return w, err
}

// glance is the least margin in the worst frames only; minus infinity where a
// strip is not fed, and what a feed carries too much where its wire has no fuse for
// it.
func (s *search) glance(m *show.Machine) float64 {
	plan, err := PlanOf(m, s.p.Layout)
	if err != nil {
		return math.Inf(-1)
	}
	c, err := New(plan)
	if err != nil {
		return math.Inf(-1)
	}
	solver, draw := c.Solver(), make([]int64, c.Pixels())
	least := math.Inf(1)
	loads := make([]float64, len(m.Feeds))
	for _, w := range s.worst {
		solver.others(s.laps[w.Lap].Loads)
		s.p.Draws.Of(draw, s.laps[w.Lap].Frames[w.Frame])
		if solver.Solve(draw) != nil {
			return math.Inf(-1)
		}
		least = min(least, solver.Lowest().Margin())
		for i := range loads {
			loads[i] = max(loads[i], solver.Feed(i))
		}
	}
	for i := range m.Feeds {
		if takes := amperes(Carries(m.Feeds[i].Wire)); FuseFor(loads[i]) == 0 || FuseFor(loads[i]) > takes {
			least = min(least, takes*Continuous-loads[i], -1e-3)
		}
	}
	return least
}

// thicker raises every feed's wire by the next size until that is enough.
func (s *search) thicker(now Way) (Way, error) {
	w, feeds := now, slices.Clone(s.p.Machine.Feeds)
	for !w.Enough() {
		grown := false
		for i := range feeds {
			if next, ok := Next(feeds[i].Wire); ok {
				feeds[i].Wire, grown = next, true
			}
		}
		if !grown {
			return w, nil
		}
		w = Way{}
		for i := range feeds {
			w.Wires = append(w.Wires, feeds[i].Wire)
		}
		var err error
		if w, err = s.judge(s.machine(feeds, nil), w); err != nil {
			return w, err
		}
	}
	return w, nil
}

// fewest looks for the least number of feeds to add to the given ones.
func (s *search) fewest(feeds []show.Feed, most int) (best Way, greedy bool, err error) {
	for n := 1; n <= most; n++ {
		greedy = n > exhaustive
		// A way may do for the worst frames and not for all: then there is another
		// worst frame, and the search begins again.
		for range 20 {
			var places []Place
			if greedy {
				places = append(slices.Clone(best.Feeds), s.best(s.grid(candidates[2]), 1, feeds, best.Feeds)...)
			} else {
				places = s.best(s.grid(candidates[n]), n, feeds, nil)
			}
			if len(places) < n {
				break // some strip is fed by none of them
			}
			w, err := s.judge(s.machine(feeds, places), Way{Feeds: places})
			if err != nil {
				return w, greedy, err
			}
			known := len(s.worst)
			s.keep(w)
			if w.Enough() {
				return w, greedy, nil
			}
			if len(s.worst) == known {
				best = w
				break
			}
		}
	}
	return best, greedy, nil
}

// grid spreads positions over all strips: their ends, and pixels between.
func (s *search) grid(count int) []Place {
	var out []Place
	total := len(s.p.Layout.Pixels)
	for i := range s.p.Layout.Strips {
		n := s.p.Layout.Strips[i].Count
		k := min(n, max(2, (count*n+total-1)/total))
		for j := range k {
			out = append(out, Place{i, (2*j*(n-1) + max(k-1, 1)) / (2 * max(k-1, 1))})
		}
	}
	return out
}

// best tries every choice of n positions and gives the one whose lowest pixel has
// most; nil where none feeds every strip.
func (s *search) best(grid []Place, n int, feeds []show.Feed, more []Place) []Place {
	var best []Place
	most := math.Inf(-1)
	chosen := slices.Clone(more)
	var choose func(from, left int)
	choose = func(from, left int) {
		if left == 0 {
			if v := s.glance(s.machine(feeds, chosen)); v > most {
				most, best = v, slices.Clone(chosen[len(more):])
			}
			return
		}
		for i := from; i <= len(grid)-left; i++ {
			chosen = append(chosen, grid[i])
			choose(i+1, left-1)
			chosen = chosen[:len(chosen)-1]
		}
	}
	choose(0, n)
	return best
}

// Without is the lowest pixel of all laps when one feed's fuse is open; ok is
// false where pixels are then without any supply.
func (p *Panel) Without(feed int, laps []Lap) (low Low, ok bool, err error) {
	plan := *p.Circuit.Plan()
	plan.Feeds = slices.Clone(plan.Feeds)
	plan.Feeds[feed].Wire.Plus = math.Inf(1)
	c, err := New(plan)
	var floating *FloatingError
	if errors.As(err, &floating) {
		return Low{}, false, nil
	}
	if err != nil {
		return Low{}, false, err
	}
	q := *p
	q.Circuit = c
	low, _, _, _, err = q.lowest(laps)
	return low, true, err
}
