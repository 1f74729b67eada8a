package render

import (
	"fmt"
	"slices"

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
