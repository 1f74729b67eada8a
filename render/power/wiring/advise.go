package wiring

import (
	"errors"
	"math"
	"slices"

	"paneglow/anim/show"
	"paneglow/anim/unit"
)

// Way is one change of the copper and what it does to the lowest pixel of all
// frames.
type Way struct {
	Feeds []Place     // to be added, or all of them where placed anew
	Wires []unit.Wire // of every feed, where wires are changed
	Low   Low
	At    Place
	Lap   int
	Frame int
	Fused bool // every feed can have a fuse that protects it
}

// Enough tells that no pixel lacks volts then, and every feed can be fused.
func (w *Way) Enough() bool { return w.Low.Margin() >= 0 && w.Fused }

// Advice is what keeps every pixel above its least volts.
type Advice struct {
	Now Way
	// Thicker is the first step of wire sizes, all feeds at once, that is enough;
	// the thickest that there is, where none is.
	Thicker Way
	// More is the fewest feeds beside those that are there. Greedy says that more
	// than exhaustive search allows were added one at a time: fewer may do.
	More   Way
	Greedy bool
	// Anew is the fewest feeds where all are placed anew; empty where that takes no
	// fewer, or was not found.
	Anew Way
	// The wire and length that new feeds are taken to have: of the feeds that are
	// there the thickest and the longest.
	Wire   unit.Wire
	Length unit.Length
}

// Advise looks for what keeps every pixel of all laps above its least volts. Strips
// that are joined are looked at together, and apart from others: feeds of one do
// nothing for another. Positions are searched exhaustively up to four feeds each, on
// a grid of pixels that is coarser the more there are; wires step by step.
func (p *Panel) Advise(laps []Lap) (*Advice, error) {
	f := p.template()
	a := &Advice{Wire: f.Wire, Length: f.Length}
	var err error
	if a.Now, err = p.judge(p.Machine, laps, Way{}); err != nil {
		return nil, err
	}
	if a.Thicker, err = p.thicker(a.Now, laps); err != nil {
		return nil, err
	}
	s := newSearch(p, laps, f)
	a.More = a.Now
	if !a.Now.Enough() {
		var places []Place
		if places, a.Greedy, err = s.all(true); err != nil {
			return nil, err
		}
		if a.More, err = p.judge(p.with(p.Machine.Feeds, places, f), laps, Way{Feeds: places}); err != nil {
			return nil, err
		}
	}
	places, greedy, err := s.all(false)
	if err != nil {
		return nil, err
	}
	if len(places) > 0 && !greedy && len(places) < len(p.Machine.Feeds)+len(a.More.Feeds) {
		w, err := p.judge(p.with(nil, places, f), laps, Way{Feeds: places})
		if err != nil {
			return nil, err
		}
		if w.Enough() {
			a.Anew = w
		}
	}
	return a, nil
}

// template is the feed that stands for those to be added.
func (p *Panel) template() show.Feed {
	f := p.Machine.Feeds[0]
	for _, g := range p.Machine.Feeds {
		if PerMetre(g.Wire) < PerMetre(f.Wire) {
			f.Wire = g.Wire
		}
		f.Length = max(f.Length, g.Length)
	}
	return f
}

// with is the panel's machine with other feeds.
func (p *Panel) with(feeds []show.Feed, more []Place, f show.Feed) *show.Machine {
	m := *p.Machine
	m.Feeds = slices.Clone(feeds)
	for _, at := range more {
		f.Strip, f.Pixel = p.Layout.Strips[at.Strip].Name, at.Pixel
		m.Feeds = append(m.Feeds, f)
	}
	return &m
}

// judge looks at all frames of a changed machine.
func (p *Panel) judge(m *show.Machine, laps []Lap, w Way) (Way, error) {
	q, err := NewPanel(m, p.Layout)
	if err != nil {
		return w, err
	}
	var loads []float64
	if w.Low, w.Lap, w.Frame, loads, err = q.lowest(laps); err != nil {
		return w, err
	}
	if w.Low.Pixel >= 0 {
		w.At = q.Circuit.Place(w.Low.Pixel)
	}
	protect, err := q.Protect(loads)
	w.Fused = true
	for i := range protect {
		w.Fused = w.Fused && protect[i].Advised > 0
	}
	return w, err
}

// thicker raises every feed's wire by the next size until that is enough.
func (p *Panel) thicker(now Way, laps []Lap) (Way, error) {
	w, feeds := now, slices.Clone(p.Machine.Feeds)
	for !w.Enough() {
		grown := false
		for i := range feeds {
			if next, ok := Next(feeds[i].Wire); ok {
				feeds[i].Wire, grown = next, true
			}
		}
		if !grown {
			return w, nil
		}
		w = Way{}
		for i := range feeds {
			w.Wires = append(w.Wires, feeds[i].Wire)
		}
		var err error
		if w, err = p.judge(p.with(feeds, nil, show.Feed{}), laps, w); err != nil {
			return w, err
		}
	}
	return w, nil
}

// Without is the lowest pixel of all laps when one feed's fuse is open; ok is
// false where pixels are then without any supply.
func (p *Panel) Without(feed int, laps []Lap) (low Low, ok bool, err error) {
	plan := *p.Circuit.Plan()
	plan.Feeds = slices.Clone(plan.Feeds)
	plan.Feeds[feed].Wire.Plus = math.Inf(1)
	c, err := New(plan)
	var floating *FloatingError
	if errors.As(err, &floating) {
		return Low{}, false, nil
	}
	if err != nil {
		return Low{}, false, err
	}
	q := *p
	q.Circuit = c
	low, _, _, _, err = q.lowest(laps)
	return low, true, err
}
