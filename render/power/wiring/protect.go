package wiring

import (
	"fmt"
	"math"

	"paneglow/anim/show"
	"paneglow/anim/unit"
)

// Fuses are the ratings of blade fuses in amperes: ISO 8820-3 (from memory).
var Fuses = []float64{1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 40}

const (
	// Continuous is the share of its rating that a fuse carries for hours: 125 % of
	// a load of three hours or more by the National Electrical Code, 210.20(A),
	// hence 80 % (the three hours from memory).
	Continuous = 0.8
	// Clearing is how many times its rating a short must draw for a fuse to open
	// within seconds: blade fuses take up to 600 s at 1.35 times (ISO 8820-3, from
	// memory), so twice is common practice.
	Clearing = 2
)

// FuseFor is the next standard rating above load / Continuous; 0 above the largest.
func FuseFor(load float64) float64 {
	for _, f := range Fuses {
		if f >= load/Continuous-1e-9 {
			return f
		}
	}
	return 0
}

// Protection is what a feed's fuse has to be.
type Protection struct {
	Load    float64 // A, the most in this feed
	Fuse    float64 // A, as built
	Least   float64 // A, the smallest rating that carries the load for good
	Carries float64 // A, the weakest of wire, rails, joints and connector
	Weakest string  // which of them
	Short   float64 // A through this feed alone when plus and minus meet at the farthest pixel
	Far     Place   // that pixel
	Supply  float64 // A that the supply can give

	// Advised is the next standard rating above Least that Carries holds and a
	// short opens; 0 where there is none, and Why says what is in the way.
	Advised float64
	Why     string
}

// TooSmall tells that the fuse carries the load not for good.
func (p *Protection) TooSmall() bool { return p.Fuse < p.Load/Continuous-1e-9 }

// TooLarge tells that the fuse lets through more than the copper carries.
func (p *Protection) TooLarge() bool { return p.Fuse > p.Carries+1e-9 }

// Blind tells that a short does not draw enough for the fuse to open.
func (p *Protection) Blind() bool { return math.Min(p.Short, p.Supply) < Clearing*p.Fuse-1e-9 }

// Protect works out every feed's fuse from the most that each carries, in amperes.
func (p *Panel) Protect(loads []float64) ([]Protection, error) {
	out := make([]Protection, len(p.Machine.Feeds))
	for i := range p.Machine.Feeds {
		f := &p.Machine.Feeds[i]
		q := &out[i]
		q.Load, q.Fuse, q.Supply = loads[i], amperes(f.Fuse), amperes(p.Machine.Supplies()[supplyOf(p.Machine, f.Strip)].Amps)
		q.Least = FuseFor(q.Load)
		q.Carries, q.Weakest = p.carries(i)
		var err error
		if q.Short, q.Far, err = p.short(i); err != nil {
			return nil, err
		}
		q.advise()
	}
	return out, nil
}

func (q *Protection) advise() {
	switch {
	case q.Least == 0:
		q.Why = fmt.Sprintf("no blade fuse is large enough for %s", amps(q.Load))
	case q.Least > q.Carries+1e-9:
		q.Why = fmt.Sprintf("a fuse for this load is above the %s that %s carries", amps(q.Carries), q.Weakest)
	case math.Min(q.Short, q.Supply) < Clearing*q.Least-1e-9:
		q.Why = fmt.Sprintf("a short draws %s, less than twice the smallest fuse for this load", amps(math.Min(q.Short, q.Supply)))
	default:
		q.Advised = q.Least
	}
}

// carries finds the weakest copper that a feed's fuse has to guard: its own wire
// and connector, and the rails and joints that it reaches.
func (p *Panel) carries(feed int) (least float64, what string) {
	f := &p.Machine.Feeds[feed]
	least, what = amperes(Carries(f.Wire)), "its wire of "+f.Wire.String()
	see := func(a float64, name string) {
		if a < least {
			least, what = a, name
		}
	}
	if f.Connector > 0 {
		see(amperes(f.Connector), "its connector")
	}
	plan := p.Circuit.Plan()
	reached := map[int]bool{plan.Feeds[feed].At.Strip: true}
	for more := true; more; {
		more = false
		for _, j := range plan.Joints {
			if !math.IsInf(j.Wire.Plus, 1) && reached[j.From.Strip] != reached[j.To.Strip] {
				reached[j.From.Strip], reached[j.To.Strip], more = true, true, true
			}
		}
	}
	for s := range plan.Strips {
		if !reached[s] {
			continue
		}
		see(carriesOf(&p.Machine.Parts[p.Layout.Strips[s].Part]), "the rail of strip "+p.Layout.Strips[s].Name)
	}
	for i, j := range plan.Joints {
		if reached[j.From.Strip] && !math.IsInf(j.Wire.Plus, 1) {
			m := &p.Machine.Joints[i]
			see(amperes(Carries(m.Wire)), fmt.Sprintf("the joint of %s at %s %d", m.Wire, m.From.Strip, m.From.Pixel))
		}
	}
	return least, what
}

// carriesOf is what a rail of a part carries for good, as stated or worked out.
func carriesOf(p *show.Part) float64 {
	if p.RailsCarry > 0 {
		return amperes(p.RailsCarry)
	}
	r := railsOf(p)
	return railCarries(math.Max(r.Plus, r.Minus))
}

// places is how many pixels of a strip are tried as the place of a short.
const places = 64

// short is what a feed alone, its neighbours' fuses open, drives through plus and
// minus where they touch at the pixel that is farthest in ohms.
func (p *Panel) short(feed int) (current float64, far Place, err error) {
	alone := *p.Circuit.Plan()
	alone.Feeds = append([]Feed(nil), alone.Feeds...)
	alone.Strips = append([]Strip(nil), alone.Strips...)
	for i := range alone.Feeds {
		if i != feed {
			alone.Feeds[i].Wire.Plus = opened
		}
	}
	for i := range alone.Strips {
		alone.Strips[i].Least = 0
	}
	c, err := New(alone)
	if err != nil {
		return 0, far, err
	}
	s, draw := c.Solver(), make([]int64, c.Pixels())
	volts := alone.Supplies[alone.Feeds[feed].Supply].Volts
	v, most := make([]float64, c.Pixels()), -1.0
	for strip := range alone.Strips {
		n := alone.Strips[strip].Pixels
		for k := range min(n, places) {
			at := Place{strip, k * (n - 1) / max(min(n, places)-1, 1)}
			// A microampere drawn there shows the ohms to it.
			draw[c.pixel(at)] = Ampere / 1e6
			if err := s.Solve(draw); err != nil {
				return 0, far, err
			}
			draw[c.pixel(at)] = 0
			s.Volts(v)
			ohms := (volts - v[c.pixel(at)]) * 1e6
			if ohms < opened/2 && ohms > most { // else this feed does not reach it
				most, far = ohms, at
			}
		}
	}
	return volts / most, far, nil
}

// opened stands for a conductor whose fuse is open: far more ohms than copper has,
// and few enough that the rest is still solved.
const opened = 1e5

func amps(a float64) string { return fmt.Sprintf("%.2f A", a) }

// amperes is a unit's current as a plain number.
func amperes(c unit.Current) float64 { return float64(c) / 1e6 }
