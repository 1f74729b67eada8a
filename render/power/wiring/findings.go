package wiring

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"paneglow/anim/finding"
	"paneglow/anim/unit"
)

// Shift is the share of the data signal's level by which two grounds may differ
// before the next pixel misreads: about a tenth, common practice.
const Shift = 0.1

// Seen is a survey with where it was made.
type Seen struct {
	Survey
	// Where says which state a survey is of, and where a frame of it is.
	Where string
	Clip  string // "" for a change of state
}

// Lowest says where the lowest pixel was, in words.
func (s *Seen) Lowest() string { return s.Moment(s.Frame) }

// Moment says where a frame of the survey is, in words.
func (s *Seen) Moment(n int) string {
	if s.Clip == "" {
		return fmt.Sprintf("%s, refresh %d", s.Where, n)
	}
	return fmt.Sprintf("%s, clip %q, frame %d", s.Where, s.Clip, n)
}

// Worst is the index of the survey whose lowest pixel lacks most; -1 of none.
func Worst(all []Seen) int {
	worst := -1
	for i := range all {
		if all[i].Low.Pixel >= 0 && (worst < 0 || all[i].Low.Margin() < all[worst].Low.Margin()) {
			worst = i
		}
	}
	return worst
}

// Loads is the most that each feed carries in any survey, in amperes.
func (p *Panel) Loads(all []Seen) []float64 {
	out := make([]float64, len(p.Machine.Feeds))
	for i := range all {
		for f := range out {
			out[f] = max(out[f], all[i].Feeds[f].Value)
		}
	}
	return out
}

// Findings tells what of a panel's copper a person should know, all as warnings:
//
//	power.volts_low     a pixel has less than its part's least volts
//	power.ground_shift  two grounds of a data hop differ by more than Shift
//	power.fuse_small    a fuse that its load opens in time
//	power.fuse_large    a fuse above what the copper behind it carries
//	power.fuse_blind    a fuse that a short at the far end does not open
//
// advice may be nil where no pixel lacks volts.
func (p *Panel) Findings(all []Seen, protect []Protection, advice *Advice) finding.List {
	var list finding.List
	if w := Worst(all); w >= 0 && all[w].Low.Margin() < 0 {
		list = append(list, p.low(all, w, advice))
	}
	for i := range p.Hops {
		if f, ok := p.shift(all, i); ok {
			list = append(list, f)
		}
	}
	for i := range protect {
		list = append(list, p.fuse(i, &protect[i])...)
	}
	return list
}

func (p *Panel) low(all []Seen, w int, advice *Advice) finding.Finding {
	s := &all[w]
	part := &p.Machine.Parts[p.Layout.Strips[s.At.Strip].Part]
	others := 0
	for i := range all {
		if i != w && all[i].Low.Margin() < 0 {
			others++
		}
	}
	message := fmt.Sprintf("pixel %d of strip %s gets %s, under the least %s of part %s", s.At.Pixel, p.Layout.Strips[s.At.Strip].Name, lowVolts(s.Low.Volts), part.Least, part.Name)
	if s.Starved > 1 {
		message += fmt.Sprintf("; %d pixels at once", s.Starved)
	}
	if others > 0 {
		message += fmt.Sprintf(", and it happens in %d more states and changes", others)
	}
	return finding.Finding{Code: "power.volts_low", Severity: finding.Warning, Where: s.Lowest(), Message: message, Fix: p.fix(advice)}
}

// fix names what is enough, the feeds first.
func (p *Panel) fix(a *Advice) string {
	var ways []string
	if a != nil && len(a.More.Feeds) > 0 && a.More.Enough() {
		which := "feed " + p.Names(a.More.Feeds) + " too"
		if n := len(a.More.Feeds); n > 4 {
			which = fmt.Sprintf("%d more feeds, which paneglow advise power lists", n)
		}
		ways = append(ways, fmt.Sprintf("%s (then %s at least)", which, lowVolts(a.More.Low.Volts)))
	}
	if a != nil && len(a.Thicker.Wires) > 0 && a.Thicker.Enough() {
		ways = append(ways, fmt.Sprintf("%s instead of %s (then %s at least)", wires(a.Thicker.Wires), p.builtWires(), lowVolts(a.Thicker.Low.Volts)))
	}
	if len(ways) == 0 {
		return "neither feeds nor wires alone are enough: less light, or another supply voltage within what the part takes"
	}
	return strings.Join(ways, ", or ")
}

// Names lists places: "left 40 and top 25".
func (p *Panel) Names(at []Place) string {
	var names []string
	for _, a := range at {
		names = append(names, p.Name(a))
	}
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

func (p *Panel) shift(all []Seen, hop int) (finding.Finding, bool) {
	h := &p.Hops[hop]
	at, most := -1, Shift*h.Level
	for i := range all {
		if v := all[i].Hops[hop].Value; v > most {
			at, most = i, v
		}
	}
	if at < 0 {
		return finding.Finding{}, false
	}
	fix := fmt.Sprintf("a [[joint]] from = [%q, %d], to = [%q, 0] with conductors = \"minus\" beside the data, or feeds nearer to both",
		p.stripName(h.From), h.From.Pixel, p.stripName(h.To))
	if h.From.Strip < 0 {
		fix = fmt.Sprintf("a feed nearer to the first pixel of strip %s, or a thicker wire", p.stripName(h.To))
	}
	return finding.Finding{
		Code: "power.ground_shift", Severity: finding.Warning, Where: all[at].Moment(all[at].Hops[hop].Frame), Fix: fix,
		Message: fmt.Sprintf("data goes from %s to %s between grounds that differ by %s, more than a tenth of its %s: pixels may misread it",
			p.Name(h.From), p.Name(h.To), volts(most), p.Machine.Lines[h.Line].Driver),
	}, true
}

func (p *Panel) stripName(at Place) string {
	if at.Strip < 0 {
		return ""
	}
	return p.Layout.Strips[at.Strip].Name
}

func (p *Panel) fuse(feed int, q *Protection) finding.List {
	var list finding.List
	f := &p.Machine.Feeds[feed]
	name := fmt.Sprintf("%s %d", f.Strip, f.Pixel)
	add := func(code, message string) {
		fix := q.Why
		if q.Advised > 0 {
			fix = fmt.Sprintf("fuse = %q", fmt.Sprintf("%g A", q.Advised))
		} else {
			fix += ": thicker copper, more feeds, or less light"
		}
		list = append(list, finding.At(f.Keys.At("fuse", f.Pos), finding.Warning, code, message, fix))
	}
	if q.TooSmall() {
		add("power.fuse_small", fmt.Sprintf("the feed at %s carries up to %s, and a fuse of %s carries %s for good", name, amps(q.Load), f.Fuse, amps(Continuous*q.Fuse)))
	}
	if q.TooLarge() {
		add("power.fuse_large", fmt.Sprintf("the fuse of %s at %s is above the %s that %s carries: the copper would be the fuse", f.Fuse, name, amps(q.Carries), q.Weakest))
	}
	if q.Blind() {
		why := fmt.Sprintf("a short at %s draws %s through it", p.Name(q.Far), amps(q.Short))
		if q.Supply < q.Short {
			why = fmt.Sprintf("the supply gives %s", amps(q.Supply))
		}
		add("power.fuse_blind", fmt.Sprintf("the fuse of %s at %s does not protect: %s, and it takes %s to open within seconds", f.Fuse, name, why, amps(Clearing*q.Fuse)))
	}
	return list
}

// volts prints a voltage, rounded up where it is a difference; a lowest one rounds
// down, so that what lacks a little does not look like enough.
func volts(v float64) string    { return fmt.Sprintf("%.2f V", math.Ceil(v*100-1e-6)/100) }
func lowVolts(v float64) string { return fmt.Sprintf("%.2f V", math.Floor(v*100+1e-6)/100) }

// builtWires names the wires of the feeds as they are, each kind once.
func (p *Panel) builtWires() string {
	var have []unit.Wire
	for _, f := range p.Machine.Feeds {
		have = append(have, f.Wire)
	}
	return wires(have)
}

func wires(list []unit.Wire) string {
	var names []string
	for _, w := range list {
		if !slices.Contains(names, w.String()) {
			names = append(names, w.String())
		}
	}
	return strings.Join(names, " and ")
}
