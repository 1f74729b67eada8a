package render

import (
	"fmt"
	"image"
	"slices"
	"sync"

	"paneglow/anim"
	"paneglow/anim/show"
	"paneglow/render/drive"
	"paneglow/render/power"
)

// keepDrives is how many bytes of duties all clips together may keep between
// the two passes; what is beyond is rendered twice instead, so that ten minutes
// at 60 fps stay within 100 MB.
const keepDrives = 24 << 20

func driveBytes(src anim.Source, on *Hardware) int {
	return src.Frames() * on.Drive.Channels() * 4
}

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

// job is one clip on its way through the two passes.
type job struct {
	src     anim.Source
	on      *Hardware
	codes   *Codes
	drives  []float32 // of all frames, or nil when they would take too much
	light   []anim.Light
	one     []float32
	scratch []uint8
	seen    *painting   // of a clip that is a target on the glass
	smooth  bool        // duties are kept before rounding too
	again   anim.Cursor // of frames that were not kept; stands before frame at
	at      int
}

func newJob(src anim.Source, on *Hardware, b power.Budget, keep bool) *job {
	n, ch := src.Frames(), on.Drive.Channels()
	j := &job{src: src, on: on, codes: &Codes{Frames: n, Channels: ch, Gain: drive.FullGain, Need: drive.FullGain, Budget: b}}
	j.codes.Bytes = make([]uint8, n*ch)
	j.codes.Wanted = make([]int64, n)
	j.codes.Current = j.codes.Wanted
	j.light = make([]anim.Light, len(on.Layout.Pixels))
	j.one = make([]float32, ch)
	j.scratch = make([]uint8, ch)
	if keep {
		j.drives = make([]float32, n*ch)
	}
	return j
}

// frame gives the duties of the cursor's next frame.
func (j *job) frame(cur anim.Cursor, f int) ([]float32, error) {
	d := j.one
	if j.drives != nil {
		d = j.drives[f*j.codes.Channels : (f+1)*j.codes.Channels]
	}
	if j.seen != nil {
		j.seen.frame(d, f)
		return d, nil
	}
	if err := cur.Next(j.light); err != nil {
		return nil, fmt.Errorf("frame %d: %w", f, err)
	}
	j.codes.Clipped += j.on.Drive.Apply(d, j.light)
	return d, nil
}

// measure renders the clip uncapped, counts every frame, and finds the gain
// that its budget needs: one for the clip, and with needs one for each frame.
func (j *job) measure(needs bool) error {
	c, m := j.codes, j.on.Meter
	for s := range c.Budget.Supplies() {
		if b := c.Budget.At(s); m.Of(s).Idle() > b.Limit {
			return &IdleError{Idle: m.Of(s).Idle(), Budget: b}
		}
	}
	limits := c.Budget.Limits()
	if needs {
		c.Needs = make([]uint32, c.Frames)
	}
	cur := j.src.Start()
	for f := range c.Frames {
		d, err := j.frame(cur, f)
		if err != nil {
			return err
		}
		drive.Round(c.Frame(f), d, drive.FullGain)
		c.Wanted[f] = m.Current(c.Frame(f))
		if needs {
			c.Needs[f] = drive.FullGain
		}
		if over(j.on, c.Frame(f), c.Wanted[f], c.Budget) < 0 {
			continue
		}
		c.bites++
		most := c.Need
		if needs {
			most = drive.FullGain
		} else if c.Need < drive.FullGain { // the gain so far often does
			drive.Round(j.scratch, d, c.Need)
			if over(j.on, j.scratch, m.Current(j.scratch), c.Budget) < 0 {
				continue
			}
		}
		g, ok := m.Gains(d, limits, j.scratch, most)
		if !ok { // unreachable: idle was looked at above
			return &IdleError{Idle: m.Idle(), Budget: c.Budget}
		}
		c.Need = min(c.Need, g)
		if needs {
			c.Needs[f] = g
		}
	}
	return nil
}

// drivesAt gives the duties of any frame: those that were kept, or rendered
// again with a cursor that is kept between calls.
func (j *job) drivesAt(f int) ([]float32, error) {
	c := j.codes
	if j.drives != nil {
		return j.drives[f*c.Channels : (f+1)*c.Channels], nil
	}
	if j.again == nil {
		j.again, j.at = j.src.Start(), 0
		if j.seen != nil {
			j.seen.again()
		}
	}
	if f != j.at {
		if err := j.again.Seek(f); err != nil {
			return nil, fmt.Errorf("frame %d: %w", f, err)
		}
	}
	clipped := c.Clipped
	d, err := j.frame(j.again, f)
	c.Clipped = clipped // counted by measure
	j.at = f + 1
	if j.at == c.Frames {
		j.again = nil
	}
	return d, err
}

// apply rounds every frame again under a gain of at most Need, or each under
// its own, and recounts.
func (j *job) apply(gain uint32, gains []uint32) error {
	c, m := j.codes, j.on.Meter
	for _, g := range gains {
		gain = min(gain, g)
	}
	c.Gain = gain
	if j.smooth {
		c.Fine = make([]uint16, len(c.Bytes))
	}
	if gain == drive.FullGain && !j.smooth {
		j.drives = nil
		return nil
	}
	if gain < drive.FullGain {
		c.Gains = gains
	}
	c.Current = make([]int64, c.Frames)
	j.again = nil
	for f := range c.Frames {
		d, err := j.drivesAt(f)
		if err != nil {
			return err
		}
		drive.Round(c.Frame(f), d, c.GainOf(f))
		if j.smooth {
			fineOf(c.Fine[f*c.Channels:(f+1)*c.Channels], d, c.GainOf(f))
		}
		c.Current[f] = m.Current(c.Frame(f))
		if s := over(j.on, c.Frame(f), c.Current[f], c.Budget); s >= 0 {
			// Unreachable while codes grow with the gain and currents with the
			// codes; the proof does not rest on that, it rests on this count.
			return fmt.Errorf("frame %d draws %s after the cap, over %s: refusing to go on", f, power.Amps(m.Of(s).Current(c.Frame(f))), power.Amps(c.Budget.At(s).Limit))
		}
	}
	j.drives = nil
	return nil
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

// settle chooses the gains of a measured clip and applies them. whole is the
// gain of the whole show.
func (j *job) settle(whole uint32, plan *Plan, follows bool) error {
	c := j.codes
	c.Costs[show.CapShow], c.Costs[show.CapClip] = lightOf(whole), lightOf(c.Need)
	var gains []uint32
	if c.Needs != nil {
		gains = Momentary(c.Needs, plan.Window, !follows)
		c.Costs[show.CapMoment] = lightOf(gains...)
		if plan.Cap == show.CapMoment {
			c.swing = swingOf(gains, !follows)
		}
	}
	gain := uint32(drive.FullGain)
	switch plan.Cap {
	case show.CapShow:
		gain, gains = whole, nil
	case show.CapClip:
		gain, gains = c.Need, nil
	}
	if plan.slews() && !follows {
		if gains == nil {
			gains = make([]uint32, c.Frames)
			for f := range gains {
				gains[f] = gain
			}
		}
		before := slices.Clone(gains)
		if err := j.slew(gains, plan); err != nil {
			return err
		}
		for f, g := range gains {
			if g < before[f] {
				c.held++
			}
		}
		if c.held == 0 && plan.Cap != show.CapMoment {
			gains = nil
		}
	}
	return j.apply(gain, gains)
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
