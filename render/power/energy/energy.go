// Package energy adds up what a panel's lights take over days and years, how warm
// their strips get, and how far they wear.
//
// Place in the pipeline: behind the player. In: what each state latches in one lap,
// at every level of the timetable, with the panel's copper (package wiring), and how
// long a day each state is on. Out: mean watts, kilowatt hours, watts per metre of
// strip, kelvins above the air, and the share of full duty of the most used die.
//
// Counted are the lights with their idle current and what rails, wires and the
// supply's output lose on them; not the machine's loads, and not what the supply
// itself takes beyond its efficiency. Currents stand at the upper end of their
// spread, as for the budget, so bills and heat are rather too high. A state's hours
// are taken to fall on all levels of the timetable alike.
package energy

import (
	"fmt"

	"paneglow/render/play"
	"paneglow/render/power"
	"paneglow/render/power/wiring"
	"paneglow/render/table"
)

// Year is the hours of a mean year, leap years included.
const Year = 24 * 365.25

// Kelvins that a strip's face is above the air around it for each watt per metre:
// half a metre of 22 W/m was 57.0 degC bare, 48.4 degC in an open channel and 59.6
// degC in a covered one at 20 degC (one published measurement; common practice: 1.3
// open, 1.8 covered).
const (
	RiseOpen    = 1.3
	RiseCovered = 1.8
)

// Use is one state and how long it is on.
type Use struct {
	wiring.Lap
	Hours float64 // a day
}

// State is what one state takes.
type State struct {
	Name   string
	Hours  float64 // a day
	Full   float64 // mean W at the full level
	Peak   float64 // W of its greatest frame at the full level
	Mean   float64 // mean W over the timetable's levels
	Strips []float64
}

// Report is the whole of it.
type Report struct {
	Levels []Level
	States []State
	Mean   float64 // W over the week
	// Strips are mean W per metre of strip over the week, Hottest those of an hour of
	// the state that heats a strip most, at the timetable's highest level.
	Strips, Hottest []float64
	Worst           int     // that state
	WorstWatts      float64 // its mean W then
	// Duty is the mean duty of the die that is lit most, as a share of full, over the
	// week; At is its pixel and channel.
	Duty float64
	At   struct{ Pixel, Channel int }
}

// KWh is the energy of a year in kilowatt hours, for a supply of an efficiency.
func (r *Report) KWh(efficiency float64) float64 { return r.Mean * Year / 1000 / efficiency }

// Add works it all out. The hours of all uses must be 24.
func Add(p *wiring.Panel, uses []Use, levels []table.Level) (*Report, error) {
	total := 0.0
	for _, u := range uses {
		total += u.Hours
	}
	if total < 24-1e-6 || total > 24+1e-6 {
		return nil, fmt.Errorf("energy: the states are on for %g hours a day", total)
	}
	n := len(p.Layout.Strips)
	r := &Report{Levels: Week(levels), Strips: make([]float64, n), Hottest: make([]float64, n), Worst: -1}
	duty := make([]float64, p.Layout.Channels())
	for i := range uses {
		u := &uses[i]
		s := State{Name: u.State, Hours: u.Hours, Strips: make([]float64, n)}
		for _, lv := range r.Levels {
			share := lv.Hours / Week168
			h, err := measure(p, u, lv.Lightness)
			if err != nil {
				return nil, err
			}
			s.Mean += share * h.mean
			for k := range s.Strips {
				s.Strips[k] += share * h.strips[k]
			}
			for c := range duty {
				duty[c] += share * u.Hours / 24 * h.duty[c]
			}
			if lv.Lightness == r.Levels[0].Lightness {
				r.hottest(p, i, h)
			}
		}
		h, err := measure(p, u, 1000)
		if err != nil {
			return nil, err
		}
		s.Full, s.Peak = h.mean, h.peak
		r.Mean += s.Mean * u.Hours / 24
		for k := range r.Strips {
			r.Strips[k] += s.Strips[k] * u.Hours / 24 / metres(p, k)
		}
		r.States = append(r.States, s)
	}
	for c, d := range duty {
		if d > r.Duty {
			r.Duty = d
			r.At.Pixel, r.At.Channel = channel(p, c)
		}
	}
	return r, nil
}

// hottest keeps the state whose hour heats one of its strips most.
func (r *Report) hottest(p *wiring.Panel, state int, h heat) {
	most := func(v []float64) float64 {
		m := 0.0
		for _, x := range v {
			m = max(m, x)
		}
		return m
	}
	per := make([]float64, len(h.strips))
	for k := range per {
		per[k] = h.strips[k] / metres(p, k)
	}
	if r.Worst < 0 || most(per) > most(r.Hottest) {
		r.Worst, r.Hottest, r.WorstWatts = state, per, h.mean
	}
}

// metres is the length of a strip: a pixel pitch for each pixel.
func metres(p *wiring.Panel, strip int) float64 {
	s := &p.Layout.Strips[strip]
	return float64(s.Count) * s.PixelPitch / 1000
}

// channel says which pixel and die a byte of a frame belongs to.
func channel(p *wiring.Panel, c int) (pixel, die int) {
	for i := range p.Layout.Strips {
		s := &p.Layout.Strips[i]
		if c < s.Count*s.Dies {
			return s.First + c/s.Dies, c % s.Dies
		}
		c -= s.Count * s.Dies
	}
	return -1, -1
}

// heat is a lap at one level.
type heat struct {
	mean, peak float64   // W from the supplies
	strips     []float64 // mean W in each strip's pixels
	duty       []float64 // mean duty of each die, 0..1
}

func measure(p *wiring.Panel, u *Use, lightness int) (heat, error) {
	lap := u.Lap
	if gain := play.Linear(lightness); lightness < 1000 {
		lap.Frames = make([][]uint8, len(u.Frames))
		for i, f := range u.Frames {
			lap.Frames[i] = make([]uint8, len(f))
			power.Scale(lap.Frames[i], f, gain) // as the player does
		}
	}
	h := heat{duty: make([]float64, p.Layout.Channels())}
	var err error
	if h.mean, h.peak, h.strips, err = p.Heat(&lap); err != nil {
		return h, err
	}
	for _, f := range lap.Frames {
		for c, v := range f {
			h.duty[c] += float64(v)
		}
	}
	for c := range h.duty {
		h.duty[c] /= 255 * float64(len(lap.Frames))
	}
	return h, nil
}
