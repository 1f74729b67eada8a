package wiring

import (
	"fmt"
	"math"
)

// Pair is a resistance in the plus conductor and one in the minus conductor, in
// ohms.
type Pair struct{ Plus, Minus float64 }

// Plan is a panel's copper: what is connected to what, and by how many ohms. It
// knows neither files nor colours.
//
// The minus terminals of all supplies are one point. Plus terminals meet only
// where feeds and joints lead from one to another: that is solved too, although no
// panel should be built so, since the higher supply then feeds the lower.
type Plan struct {
	Supplies []Supply
	Strips   []Strip
	Feeds    []Feed
	Joints   []Joint
}

// Supply is a source of constant voltage behind a resistance.
type Supply struct {
	Name   string
	Volts  float64
	Output float64 // ohm; 0: it holds its volts at the terminals
	Lead   Pair    // from the terminals to where its feeds fork; 0: they fork at the terminals
}

// Strip is a row of pixels between two rails.
type Strip struct {
	Name   string
	Pixels int
	Rails  Pair    // from one pixel to the next
	Least  float64 // V; below it a pixel's current falls, see Circuit
}

// Place is a pixel of a strip, by index.
type Place struct{ Strip, Pixel int }

// Feed is a pair of wires from a supply to a place, connections included. A
// conductor of infinite resistance is broken.
type Feed struct {
	Supply int
	At     Place
	Wire   Pair
}

// Joint is a pair of wires between two places. A conductor of infinite
// resistance is not there: a ground lead has no plus.
type Joint struct {
	From, To Place
	Wire     Pair
}

// most is the largest resistance, and the inverse of the smallest: far outside
// what copper has, and inside what the arithmetic holds.
const most = 1e9

func ohms(r float64, zero, open bool) bool {
	return r >= 1/most && r <= most || zero && r == 0 || open && math.IsInf(r, 1)
}

// check refuses what cannot be solved.
func (p *Plan) check() error {
	for i, s := range p.Supplies {
		if !(s.Volts > 0) || s.Volts > most || !ohms(s.Output, true, false) || !ohms(s.Lead.Plus, true, false) || !ohms(s.Lead.Minus, true, false) {
			return fmt.Errorf("wiring: supply %d: volts or resistances out of range", i)
		}
	}
	total := 0
	for i, s := range p.Strips {
		if s.Pixels < 1 || !ohms(s.Rails.Plus, false, false) || !ohms(s.Rails.Minus, false, false) || !(s.Least >= 0) || s.Least > most {
			return fmt.Errorf("wiring: strip %d: pixels, rails or least volts out of range", i)
		}
		if total += s.Pixels; total > MaxPixels {
			return fmt.Errorf("wiring: %d pixels, the most is %d", total, MaxPixels)
		}
	}
	there := func(at Place) bool {
		return at.Strip >= 0 && at.Strip < len(p.Strips) && at.Pixel >= 0 && at.Pixel < p.Strips[at.Strip].Pixels
	}
	for i, f := range p.Feeds {
		if f.Supply < 0 || f.Supply >= len(p.Supplies) || !there(f.At) || !ohms(f.Wire.Plus, false, true) || !ohms(f.Wire.Minus, false, true) {
			return fmt.Errorf("wiring: feed %d: no such supply or pixel, or a resistance out of range", i)
		}
	}
	for i, j := range p.Joints {
		if !there(j.From) || !there(j.To) || j.From == j.To || !ohms(j.Wire.Plus, false, true) || !ohms(j.Wire.Minus, false, true) {
			return fmt.Errorf("wiring: joint %d: no such pixel, or a resistance out of range", i)
		}
	}
	return nil
}

// FloatingError says that a rail of a strip is connected to no supply.
type FloatingError struct {
	Strip int
	Minus bool // the minus rail; else the plus rail
}

func (e *FloatingError) Error() string {
	rail := "plus"
	if e.Minus {
		rail = "minus"
	}
	return fmt.Sprintf("the %s rail of strip %d is connected to no supply", rail, e.Strip)
}
