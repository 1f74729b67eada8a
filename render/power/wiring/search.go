package wiring

import (
	"math"
	"slices"

	"paneglow/anim/show"
)

// search looks for the fewest feeds of each island.
type search struct {
	p        *Panel
	laps     []Lap
	template show.Feed
	islands  []*island
	draw     []int64 // of a frame of the whole panel
}

// island is a set of strips whose plus rails are joined, as a plan of its own.
type island struct {
	strips []int   // of the whole plan
	plan   Plan    // with its strips counted anew and its own feeds
	takes  float64 // A, the weakest of its rails and joints
	wires  []float64
	added  Pair    // ohms of a feed to be added
	most   float64 // A that its wire takes
	supply int
	worst  []moment
	draw   []int64
}

// moment is a frame of a lap.
type moment struct{ lap, frame int }

// exhaustive is the most feeds whose positions are all tried together, greedily the
// most that are added at all.
const (
	exhaustive = 4
	greedily   = 12
)

// candidates is how many positions are tried for each number of feeds.
var candidates = [exhaustive + 1]int{0, 400, 60, 24, 16}

func newSearch(p *Panel, laps []Lap, template show.Feed) *search {
	s := &search{p: p, laps: laps, template: template, draw: make([]int64, p.Circuit.Pixels())}
	for _, strips := range p.Circuit.islands() {
		s.islands = append(s.islands, s.island(strips))
	}
	return s
}

// islands lists the strips whose plus rails hang together.
func (c *Circuit) islands() [][]int {
	of := make([]int, len(c.plan.Strips))
	for i := range of {
		of[i] = i
	}
	for range c.plan.Strips {
		for _, j := range c.plan.Joints {
			if !math.IsInf(j.Wire.Plus, 1) {
				m := min(of[j.From.Strip], of[j.To.Strip])
				of[j.From.Strip], of[j.To.Strip] = m, m
			}
		}
	}
	var out [][]int
	for i := range of {
		if of[i] == i {
			var strips []int
			for k := range of {
				if of[k] == i {
					strips = append(strips, k)
				}
			}
			out = append(out, strips)
		}
	}
	return out
}

func (s *search) island(strips []int) *island {
	p, whole := s.p, s.p.Circuit.Plan()
	v := &island{strips: strips, takes: math.Inf(1), most: amperes(Carries(s.template.Wire))}
	v.plan.Supplies = whole.Supplies
	index := map[int]int{}
	pixels := 0
	for i, k := range strips {
		index[k] = i
		v.plan.Strips = append(v.plan.Strips, whole.Strips[k])
		pixels += whole.Strips[k].Pixels
		part := &p.Machine.Parts[p.Layout.Strips[k].Part]
		v.takes = min(v.takes, carriesOf(part))
	}
	v.draw = make([]int64, pixels)
	here := func(at Place) (Place, bool) {
		i, ok := index[at.Strip]
		return Place{i, at.Pixel}, ok
	}
	for i, f := range whole.Feeds {
		if at, ok := here(f.At); ok {
			v.supply = f.Supply
			v.plan.Feeds = append(v.plan.Feeds, Feed{f.Supply, at, f.Wire})
			v.wires = append(v.wires, amperes(Carries(p.Machine.Feeds[i].Wire)))
		}
	}
	for i, j := range whole.Joints {
		from, ok1 := here(j.From)
		to, ok2 := here(j.To)
		if ok1 && ok2 { // a ground lead to another island helps a little, and is left out
			v.plan.Joints = append(v.plan.Joints, Joint{from, to, j.Wire})
			if !math.IsInf(j.Wire.Plus, 1) {
				v.takes = min(v.takes, amperes(Carries(p.Machine.Joints[i].Wire)))
			}
		}
	}
	r := Ohms(s.template.Wire, s.template.Length, p.Machine.Wiring.Temperature) + 2*float64(s.template.Contact)
	v.added = Pair{r, r}
	return v
}

// all finds the fewest feeds of every island, beside those that are there or anew.
// It gives none where an island has no answer.
func (s *search) all(beside bool) (places []Place, greedy bool, err error) {
	for _, v := range s.islands {
		feeds, wires := v.plan.Feeds, v.wires
		if !beside {
			feeds, wires = nil, nil
		}
		more, byOne, err := s.fewest(v, feeds, wires)
		if err != nil {
			return nil, false, err
		}
		for _, at := range more {
			places = append(places, Place{v.strips[at.Strip], at.Pixel})
		}
		greedy = greedy || byOne
	}
	return places, greedy, nil
}

// fewest finds the least number of feeds that an island needs beside some; what it
// gives may not be enough.
func (s *search) fewest(v *island, feeds []Feed, wires []float64) (best []Place, greedy bool, err error) {
	if len(feeds) > 0 {
		if ok, err := s.enough(v, feeds, wires, nil); ok || err != nil {
			return nil, false, err
		}
	}
	for n := 1; n <= greedily; n++ {
		greedy = n > exhaustive
		var places []Place
		// A choice may do for the worst frames and not for all: then there is another
		// worst frame, and the search begins again.
		for range 20 {
			if greedy {
				places = append(slices.Clone(best), s.best(v, v.grid(candidates[2]), 1, feeds, wires, best)...)
			} else {
				places = s.best(v, v.grid(candidates[n]), n, feeds, wires, nil)
			}
			if len(places) < n {
				return best, greedy, nil
			}
			known := len(v.worst)
			ok, err := s.enough(v, feeds, wires, places)
			if ok || err != nil {
				return places, greedy, err
			}
			if len(v.worst) == known {
				break
			}
		}
		best = places
	}
	return best, greedy, nil
}

// with is the island's plan with feeds, and what their wires take.
func (v *island) with(feeds []Feed, wires []float64, more []Place) (Plan, []float64) {
	p := v.plan
	p.Feeds, wires = slices.Clone(feeds), slices.Clone(wires)
	for _, at := range more {
		p.Feeds = append(p.Feeds, Feed{v.supply, at, v.added})
		wires = append(wires, v.most)
	}
	return p, wires
}

// load gets a frame's draws on the island, and tells the solver of all others.
func (s *search) load(v *island, solver *Solver, m moment) {
	lap := &s.laps[m.lap]
	s.p.Draws.Of(s.draw, lap.Frames[m.frame])
	solver.others(lap.Loads)
	at := 0
	for _, k := range v.strips {
		at += copy(v.draw[at:], s.drawOf(k))
	}
	// What the other islands draw goes through the same lead and output.
	var total, mine int64
	for k := range s.p.Circuit.plan.Strips {
		if supplyOf(s.p.Machine, s.p.Layout.Strips[k].Name) == v.supply {
			for _, d := range s.drawOf(k) {
				total += d
			}
		}
	}
	for _, d := range v.draw {
		mine += d
	}
	solver.fork[v.supply] = float64(total-mine) / Ampere
}

// drawOf is a strip's part of the frame at hand.
func (s *search) drawOf(strip int) []int64 {
	first := s.p.Circuit.offset[strip]
	return s.draw[first : first+s.p.Circuit.plan.Strips[strip].Pixels]
}

// enough looks at all frames, and keeps the worst of them.
func (s *search) enough(v *island, feeds []Feed, wires []float64, more []Place) (bool, error) {
	plan, takes := v.with(feeds, wires, more)
	c, err := New(plan)
	if err != nil {
		return false, err
	}
	solver := c.Solver()
	loads, least, at := make([]float64, len(plan.Feeds)), math.Inf(1), moment{}
	for i := range s.laps {
		for f := range s.laps[i].Frames {
			s.load(v, solver, moment{i, f})
			if err := solver.Solve(v.draw); err != nil {
				return false, err
			}
			if m := solver.Lowest().Margin(); m < least {
				least, at = m, moment{i, f}
			}
			for k := range loads {
				loads[k] = max(loads[k], solver.Feed(k))
			}
		}
	}
	if !slices.Contains(v.worst, at) {
		v.worst = append(v.worst, at)
	}
	return min(least, v.overload(loads, takes)) >= 0, nil
}

// overload is below 0 where a feed carries more than its wire, the rails and the
// joints can be fused for.
func (v *island) overload(loads, wires []float64) float64 {
	worst := math.Inf(1)
	for i, load := range loads {
		takes := min(wires[i], v.takes)
		if f := FuseFor(load); f == 0 || f > takes+1e-9 {
			worst = min(worst, takes*Continuous-load, -1e-3)
		}
	}
	return worst
}

// glance is the least margin in the worst frames only; minus infinity where a strip
// is not fed.
func (s *search) glance(v *island, feeds []Feed, wires []float64, more []Place) float64 {
	plan, takes := v.with(feeds, wires, more)
	c, err := New(plan)
	if err != nil {
		return math.Inf(-1)
	}
	solver := c.Solver()
	loads, least := make([]float64, len(plan.Feeds)), math.Inf(1)
	for _, m := range v.worst {
		s.load(v, solver, m)
		if solver.Solve(v.draw) != nil {
			return math.Inf(-1)
		}
		least = min(least, solver.Lowest().Margin())
		for k := range loads {
			loads[k] = max(loads[k], solver.Feed(k))
		}
	}
	return min(least, v.overload(loads, takes))
}

// grid spreads positions over an island's strips: their ends, and pixels between.
func (v *island) grid(count int) []Place {
	var out []Place
	for i := range v.plan.Strips {
		n := v.plan.Strips[i].Pixels
		k := min(n, max(2, (count*n+len(v.draw)-1)/len(v.draw)))
		for j := range k {
			out = append(out, Place{i, (2*j*(n-1) + max(k-1, 1)) / (2 * max(k-1, 1))})
		}
	}
	return out
}

// best tries every choice of n positions beside some and gives the one whose lowest
// pixel has most; nil where none feeds every strip.
func (s *search) best(v *island, grid []Place, n int, feeds []Feed, wires []float64, more []Place) []Place {
	var best []Place
	most := math.Inf(-1)
	chosen := slices.Clone(more)
	var choose func(from, left int)
	choose = func(from, left int) {
		if left == 0 {
			if x := s.glance(v, feeds, wires, chosen); x > most {
				most, best = x, slices.Clone(chosen[len(more):])
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
