package render

import (
	"fmt"

	"paneglow/render/drive"
	"paneglow/render/power"
)

// slew lowers gains until no supply's current changes from frame to frame by
// more than the plan allows, over the loop's seam too: a frame after a rise
// waits for the one before it, a frame before a fall for the one after. It only
// ever lowers, so that budgets keep.
func (j *job) slew(gains []uint32, p *Plan) error {
	c, m := j.codes, j.on.Meter
	n := c.Frames
	if n < 2 {
		return nil
	}
	each := make([][]int64, c.Budget.Supplies())
	for s := range each {
		each[s] = make([]int64, n)
	}
	count := func(f int) {
		for s := range each {
			each[s][f] = m.Of(s).Current(j.scratch)
		}
	}
	for f := range n {
		d, err := j.drivesAt(f)
		if err != nil {
			return err
		}
		drive.Round(j.scratch, d, gains[f])
		count(f)
	}
	limits := make([]int64, len(each))
	// follow holds frame f to its neighbour g.
	follow := func(f, g int, most []int64) (changed bool, err error) {
		bound := false
		for s := range each {
			limits[s] = each[s][f]
			if most[s] > 0 && each[s][f] > each[s][g]+most[s] {
				limits[s], bound = each[s][g]+most[s], true
			}
		}
		if !bound {
			return false, nil
		}
		d, err := j.drivesAt(f)
		if err != nil {
			return false, err
		}
		k, ok := m.Gains(d, limits, j.scratch, gains[f])
		if !ok {
			return false, fmt.Errorf("frame %d: a limit below idle", f) // neighbours draw idle at least
		}
		drive.Round(j.scratch, d, k)
		gains[f] = k
		count(f)
		return true, nil
	}
	// One lap brings rises down, one falls; more follow where a lap moved the
	// frame that it began with.
	for range mostLaps {
		changed := false
		for f := range n {
			now, err := follow(f, (f+n-1)%n, p.Rise)
			if err != nil {
				return err
			}
			changed = changed || now
		}
		for f := n - 1; f >= 0; f-- {
			now, err := follow(f, (f+1)%n, p.Fall)
			if err != nil {
				return err
			}
			changed = changed || now
		}
		if !changed {
			return nil
		}
	}
	if e := p.slope(each, true); e != nil {
		return e
	}
	return nil
}

// mostLaps is far beyond what a slew of power.LeastSlew asks for, which is two
// or three: then the frame of least current never moves, and ends each lap.
const mostLaps = 100

// SlewError says that codes which may not be scaled change faster than their
// supply allows, or that no gain brings a clip within its slew.
type SlewError struct {
	Frame   int   // that follows the change
	Changes int64 // microamperes from one frame to the next
	Most    int64
	Exact   bool
}

func (e *SlewError) Error() string {
	if e.Exact {
		return fmt.Sprintf("the exact picture's current changes by %s at frame %d, over the %s a frame that the supply's slew allows", power.Amps(e.Changes), e.Frame, power.Amps(e.Most))
	}
	return fmt.Sprintf("the slew of %s a frame is too small for whole codes at frame %d", power.Amps(e.Most), e.Frame)
}

// slope finds the first frame that rises from the one before it, or falls to
// the one after it, by more than the plan allows. each[s][f] is supply s's
// current of frame f.
func (p *Plan) slope(each [][]int64, loop bool) *SlewError {
	for s, ua := range each {
		for f := range ua {
			if f == 0 && !loop {
				continue
			}
			before := ua[(f+len(ua)-1)%len(ua)]
			if p.Rise[s] > 0 && ua[f]-before > p.Rise[s] {
				return &SlewError{Frame: f, Changes: ua[f] - before, Most: p.Rise[s]}
			}
			if p.Fall[s] > 0 && before-ua[f] > p.Fall[s] {
				return &SlewError{Frame: f, Changes: before - ua[f], Most: p.Fall[s]}
			}
		}
	}
	return nil
}
