// Package render turns light into codes. Finish and Exact are the only doors:
// whatever reaches a frame table, a picture or a strip went through one of
// them, so that white, cap and rounding are folded into one scaling and one
// rounding, and every frame's current was counted.
//
// In: an anim.Source (light), an exact picture, or a picture of the light on the
// glass (package seen finds the duties), the hardware, a budget in
// microamperes at the supply. Out: Codes, one byte a die, R, G, B[, W] of every
// pixel in data order, with the current of every frame before and after the
// cap. Refused: a budget that the dark panel alone breaks, and an exact picture
// over its budget, since nothing may be scaled in it.
//
//	light --drive.Map--> duty --gain k/65536, one rounding--> codes --count--> microamperes
package render

import (
	"fmt"
	"sync"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/render/drive"
	"paneglow/render/power"
	"paneglow/render/seen"
)

// Hardware is one machine made ready: its layout, its dies and its currents.
// It may be shared, not copied.
type Hardware struct {
	Machine *show.Machine
	Layout  *layout.Layout
	Drive   *drive.Map
	Meter   *power.Meter

	canvas struct {
		once sync.Once
		c    *seen.Canvas
		err  error
	}
}

// NewHardware prepares a machine that its file's checks have passed.
func NewHardware(m *show.Machine) (*Hardware, error) {
	l, err := layout.New(m)
	if err != nil {
		return nil, err
	}
	d, err := drive.NewMap(m, l)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", m.File, err)
	}
	meter, err := power.NewMeter(m, l)
	if err != nil {
		return nil, err
	}
	return &Hardware{Machine: m, Layout: l, Drive: d, Meter: meter}, nil
}

// Codes is a clip's final codes.
type Codes struct {
	Frames   int
	Channels int      // bytes of a frame
	Bytes    []uint8  // Frames x Channels, frame after frame
	Fine     []uint16 // duties before rounding, in 256ths of a code; nil where nobody asked
	Current  []int64  // of every frame in microamperes at the supply, idle included
	Wanted   []int64  // the same before the cap
	Gain     uint32   // applied, k/65536; the least where frames have gains of their own
	Gains    []uint32 // of every frame, or nil where all have Gain
	Need     uint32   // the gain that this clip's own budget asks for
	Needs    []uint32 // of every frame, or nil where nobody asked
	Budget   power.Budget
	Clipped  int    // pixel-frames whose light the dies cannot make
	Exact    bool   // codes taken as they are
	Miss     []Miss // of a clip that is a target on the glass, by target
	bites    int
	swing    uint32
	held     int      // frames that a slew lowered
	Costs    [3]Light // by show.Cap, slew aside: what each policy leaves; CapMoment's where Needs are known
}

// Miss is how far the light on the glass is from a target, and the first frame
// that shows it.
type Miss struct {
	seen.Miss
	Frame int
}

// Bites counts the frames that wanted more than the budget.
func (c *Codes) Bites() int { return c.bites }

// Held counts the frames that are darker than their budget asks for, because a
// slew holds them back.
func (c *Codes) Held() int { return c.held }

// GainOf is the gain of one frame.
func (c *Codes) GainOf(f int) uint32 {
	if c.Gains == nil {
		return c.Gain
	}
	return c.Gains[f]
}

// Light is what was left of the clip's light.
func (c *Codes) Light() Light {
	if c.Gains == nil {
		return lightOf(c.Gain)
	}
	return lightOf(c.Gains...)
}

// Swing is the largest change of a momentary gain from one frame to the next,
// over a loop's seam too, k/65536: times the frames a second it is how fast light
// is taken back and given again. What a slew holds back for a moment is not in it.
func (c *Codes) Swing() uint32 { return c.swing }

// Frame is one frame's codes.
func (c *Codes) Frame(f int) []uint8 {
	return c.Bytes[f*c.Channels : (f+1)*c.Channels : (f+1)*c.Channels]
}

// Peak is the frame of the greatest current, and that current.
func (c *Codes) Peak() (frame int, microamps int64) { return peak(c.Current) }

// WantedPeak is the frame that wanted most before the cap.
func (c *Codes) WantedPeak() (frame int, microamps int64) { return peak(c.Wanted) }

func peak(v []int64) (at int, most int64) {
	for i, x := range v {
		if i == 0 || x > most {
			at, most = i, x
		}
	}
	return at, most
}

// IdleError says that a dark panel alone breaks the budget: no gain helps.
type IdleError struct {
	Idle   int64 // microamperes of the dark panel
	Budget power.Budget
}

func (e *IdleError) Error() string {
	return fmt.Sprintf("the dark panel alone draws %s, over the budget of %s (%s)", power.Amps(e.Idle), power.Amps(e.Budget.Limit), e.Budget.Why)
}

// OverError says that codes which may not be scaled are over budget.
type OverError struct {
	Frame  int
	Draws  int64
	Budget power.Budget
}

func (e *OverError) Error() string {
	return fmt.Sprintf("frame %d of the exact picture draws %s, over the budget of %s (%s)", e.Frame, power.Amps(e.Draws), power.Amps(e.Budget.Limit), e.Budget.Why)
}
