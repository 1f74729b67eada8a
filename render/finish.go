package render

import (
	"fmt"
	"image"
	"sync"

	"paneglow/anim"
	"paneglow/anim/show"
	"paneglow/render/drive"
	"paneglow/render/power"
)

// Finish renders a clip under a budget with one gain for all its frames: the
// greatest k/65536 for which no frame's rounded codes draw more.
func Finish(src anim.Source, on *Hardware, b power.Budget) (*Codes, error) {
	j := newJob(src, on, b, driveBytes(src, on) <= keepDrives)
	if err := j.measure(false); err != nil {
		return nil, err
	}
	if err := j.apply(j.codes.Need, nil); err != nil {
		return nil, err
	}
	return j.codes, nil
}

// ClipError says which clip failed.
type ClipError struct {
	Clip string
	Err  error
}

func (e *ClipError) Error() string { return fmt.Sprintf("clip %q: %v", e.Clip, e.Err) }
func (e *ClipError) Unwrap() error { return e.Err }

// FinishShow is FinishPlan without a slew, CapMoment smoothing over 40 frames.
func FinishShow(clips []*anim.Clip, on *Hardware, budgets []power.Budget, cap show.Cap, workers int, progress func(frames int)) ([]*Codes, error) {
	return FinishPlan(clips, on, budgets, Plan{Cap: cap, Window: 40}, workers, progress)
}

// FinishPlan is Finish for every clip of a show, each under its own budget; see
// FinishItems.
func FinishPlan(clips []*anim.Clip, on *Hardware, budgets []power.Budget, plan Plan, workers int, progress func(frames int)) ([]*Codes, error) {
	items := make([]Item, len(clips))
	for i, c := range clips {
		items[i] = Item{Name: c.Name, Source: c, Exact: c.Exact, Seen: c.Seen, Follow: c.Follow, Smooth: c.Smooth}
	}
	return FinishItems(items, on, budgets, plan, workers, progress)
}

// Item is one clip to be finished: light, or exact codes.
type Item struct {
	Name   string
	Source anim.Source
	Exact  *image.NRGBA // instead of Source; see Exact
	Seen   *anim.Seen   // a target on the glass; then Source is only a first guess
	Follow bool         // frame = value: frames come in any order, and no loop
	Smooth bool         // Codes.Fine is wanted
}

func (i *Item) frames() int {
	if i.Exact != nil {
		return i.Exact.Rect.Dy()
	}
	return i.Source.Frames()
}

// FinishItems renders clips under a budget each, with one gain for all, one a
// clip, or one a frame. Exact pictures keep their codes and do not lower the
// others. The codes do not depend on workers (at least 1). progress, when not
// nil, is told of frames as they are done; it may be called from several
// goroutines.
func FinishItems(clips []Item, on *Hardware, budgets []power.Budget, plan Plan, workers int, progress func(frames int)) ([]*Codes, error) {
	out := make([]*Codes, len(clips))
	jobs := make([]*job, len(clips))
	errs := make([]error, len(clips))
	keep := make([]bool, len(clips))
	total := 0
	for i := range clips {
		if clips[i].Exact != nil {
			continue
		}
		// A slew looks back, and what paints on the glass goes forwards only.
		back := clips[i].Seen != nil && plan.slews()
		if n := driveBytes(clips[i].Source, on); total+n <= keepDrives || back {
			keep[i], total = true, total+n
		}
	}
	told := func(n int) {
		if progress != nil {
			progress(n)
		}
	}
	canvas, err := canvasFor(clips, on)
	if err != nil {
		return nil, err
	}
	needs := plan.Compare || plan.Cap == show.CapMoment
	parallel(len(clips), workers, func(i int) {
		if img := clips[i].Exact; img != nil {
			out[i], errs[i] = Exact(img, on, budgets[i])
			if errs[i] == nil && plan.slews() && !clips[i].Follow {
				errs[i] = exactSlope(out[i], on, &plan)
			}
		} else {
			jobs[i] = newJob(clips[i].Source, on, budgets[i], keep[i])
			jobs[i].smooth = clips[i].Smooth
			if clips[i].Seen != nil {
				jobs[i].seen = newPainting(clips[i].Seen, canvas, budgets[i].Total())
			}
			errs[i] = jobs[i].measure(needs)
			out[i] = jobs[i].codes
		}
		told(clips[i].frames())
	})
	gain := uint32(drive.FullGain)
	for i, err := range errs {
		if err != nil {
			return nil, &ClipError{Clip: clips[i].Name, Err: err}
		}
		gain = min(gain, out[i].Need)
	}
	parallel(len(clips), workers, func(i int) {
		if jobs[i] != nil {
			errs[i] = jobs[i].settle(gain, &plan, clips[i].Follow)
			if jobs[i].seen != nil && errs[i] == nil {
				out[i].Miss = jobs[i].seen.misses(out[i])
			}
		}
	})
	for i, err := range errs {
		if err != nil {
			return nil, &ClipError{Clip: clips[i].Name, Err: err}
		}
	}
	return out, nil
}

// parallel calls f for 0..n-1 from a number of goroutines.
func parallel(n, workers int, f func(i int)) {
	next := make(chan int)
	var wg sync.WaitGroup
	for range max(1, min(workers, n)) {
		wg.Go(func() {
			for i := range next {
				f(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}
