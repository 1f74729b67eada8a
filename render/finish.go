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
	if err := j.measure(); err != nil {
		return nil, err
	}
	if err := j.apply(j.codes.Need); err != nil {
		return nil, err
	}
	return j.codes, nil
}

// Exact takes a picture's bytes as codes: row = frame, column = pixel in data
// order. It takes no gain, white or calibration. Four-die parts cannot be
// painted this way and are refused, as is a frame over budget; hidden and
// missing pixels stay dark whatever the picture holds.
func Exact(img *image.NRGBA, on *Hardware, b power.Budget) (*Codes, error) {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	if w != len(on.Layout.Pixels) {
		return nil, fmt.Errorf("an exact picture is one column a pixel: it is %d wide, the panel has %d pixels", w, len(on.Layout.Pixels))
	}
	for i := range on.Layout.Strips {
		if s := &on.Layout.Strips[i]; s.Dies != 3 {
			return nil, fmt.Errorf("an exact picture has three channels, and strip %q has %d dies: use as = \"srgb\"", s.Name, s.Dies)
		}
	}
	c := &Codes{Frames: h, Channels: on.Drive.Channels(), Gain: drive.FullGain, Need: drive.FullGain, Budget: b, Exact: true}
	c.Bytes = make([]uint8, c.Frames*c.Channels)
	c.Current = make([]int64, h)
	for y := range h {
		f := c.Frame(y)
		for x := range w {
			p := &on.Layout.Pixels[x]
			if !p.Hidden && !p.Missing {
				copy(f[p.Offset:p.Offset+3], img.Pix[y*img.Stride+4*x:])
			}
		}
		c.Current[y] = on.Meter.Current(f)
		if c.Current[y] > b.Limit {
			return nil, &OverError{Frame: y, Draws: c.Current[y], Budget: b}
		}
	}
	c.Wanted = c.Current
	return c, nil
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
	seen    *painting // of a clip that is a target on the glass
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
// that its budget needs.
func (j *job) measure() error {
	c, m := j.codes, j.on.Meter
	if m.Idle() > c.Budget.Limit {
		return &IdleError{Idle: m.Idle(), Budget: c.Budget}
	}
	cur := j.src.Start()
	for f := range c.Frames {
		d, err := j.frame(cur, f)
		if err != nil {
			return err
		}
		drive.Round(c.Frame(f), d, drive.FullGain)
		c.Wanted[f] = m.Current(c.Frame(f))
		if c.Wanted[f] <= c.Budget.Limit {
			continue
		}
		if c.Need < drive.FullGain { // the gain so far often does
			drive.Round(j.scratch, d, c.Need)
			if m.Current(j.scratch) <= c.Budget.Limit {
				continue
			}
		}
		g, ok := m.Gain(d, c.Budget.Limit, j.scratch, c.Need)
		if !ok {
			return &IdleError{Idle: m.Idle(), Budget: c.Budget}
		}
		c.Need = g
	}
	return nil
}

// apply rounds every frame again under a gain of at most Need and recounts.
func (j *job) apply(gain uint32) error {
	c, m := j.codes, j.on.Meter
	c.Gain = gain
	if gain == drive.FullGain {
		j.drives = nil
		return nil
	}
	c.Current = make([]int64, c.Frames)
	var cur anim.Cursor
	if j.drives == nil {
		cur = j.src.Start()
		c.Clipped = 0
		if j.seen != nil {
			j.seen.again()
		}
	}
	for f := range c.Frames {
		var d []float32
		if cur != nil {
			var err error
			if d, err = j.frame(cur, f); err != nil {
				return err
			}
		} else {
			d = j.drives[f*c.Channels : (f+1)*c.Channels]
		}
		drive.Round(c.Frame(f), d, gain)
		c.Current[f] = m.Current(c.Frame(f))
		if c.Current[f] > c.Budget.Limit {
			// Unreachable while codes grow with the gain and currents with the
			// codes; the proof does not rest on that, it rests on this count.
			return fmt.Errorf("frame %d draws %s after the cap, over %s: refusing to go on", f, power.Amps(c.Current[f]), power.Amps(c.Budget.Limit))
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

// FinishShow renders every clip of a show under its own budget, with one gain
// for the whole show or one a clip. Exact pictures keep their codes and do not
// lower the others. The codes do not depend on workers (at least 1). progress,
// when not nil, is told of frames as they are done; it may be called from
// several goroutines.
func FinishShow(clips []*anim.Clip, on *Hardware, budgets []power.Budget, cap show.Cap, workers int, progress func(frames int)) ([]*Codes, error) {
	out := make([]*Codes, len(clips))
	jobs := make([]*job, len(clips))
	errs := make([]error, len(clips))
	keep := make([]bool, len(clips))
	total := 0
	for i, c := range clips {
		if n := driveBytes(c, on); c.Exact == nil && total+n <= keepDrives {
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
	parallel(len(clips), workers, func(i int) {
		if img := clips[i].Exact; img != nil {
			out[i], errs[i] = Exact(img, on, budgets[i])
		} else {
			jobs[i] = newJob(clips[i], on, budgets[i], keep[i])
			if clips[i].Seen != nil {
				jobs[i].seen = newPainting(clips[i].Seen, canvas, budgets[i].Limit)
			}
			errs[i] = jobs[i].measure()
			out[i] = jobs[i].codes
		}
		told(clips[i].Frames())
	})
	gain := uint32(drive.FullGain)
	for i, err := range errs {
		if err != nil {
			return nil, &ClipError{Clip: clips[i].Name, Err: err}
		}
		gain = min(gain, out[i].Need)
	}
	parallel(len(clips), workers, func(i int) {
		if jobs[i] == nil {
			return
		}
		g := gain
		if cap == show.CapClip {
			g = out[i].Need
		}
		errs[i] = jobs[i].apply(g)
		if jobs[i].seen != nil && errs[i] == nil {
			out[i].Miss = jobs[i].seen.misses(out[i])
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
