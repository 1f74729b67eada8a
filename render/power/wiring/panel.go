package wiring

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"paneglow/anim/finding"
	"paneglow/anim/layout"
	"paneglow/anim/show"
)

// Panel is a machine's copper made ready for its frames.
type Panel struct {
	Machine *show.Machine
	Layout  *layout.Layout
	Circuit *Circuit
	Draws   *Draws
	Hops    []Hop
	Points  []Place // where a meter is put: feeds, and both ends of each strip
}

// Hop is a place where data goes from one ground to another: from the controller
// to a line's first pixel, and from the last pixel of a strip to the first of the
// next. The controller's ground is taken to be the supply's minus terminal.
type Hop struct {
	Line     int
	From, To Place   // From.Strip is -1 for the controller
	Level    float64 // V of the data signal: the line's driver
}

// NewPanel prepares a machine that its file's checks have passed, laid out. What
// a person must mend, such as a strip that no supply reaches, is a finding.List.
func NewPanel(m *show.Machine, l *layout.Layout) (*Panel, error) {
	p, err := PlanOf(m, l)
	if err != nil {
		return nil, err
	}
	c, err := New(p)
	var floating *FloatingError
	if errors.As(err, &floating) {
		return nil, finding.List{unfed(m, l, floating)}
	}
	if err != nil {
		return nil, err
	}
	d, err := NewDraws(m, l)
	if err != nil {
		return nil, err
	}
	return &Panel{Machine: m, Layout: l, Circuit: c, Draws: d, Hops: hops(m, l), Points: points(&c.plan)}, nil
}

// unfed says which strip hangs in the air, and how to write that it does not.
func unfed(m *show.Machine, l *layout.Layout, e *FloatingError) finding.Finding {
	name := l.Strips[e.Strip].Name
	var at show.Pos
	if s := m.Strip(name); s != nil {
		at = s.Keys.At("name", s.Pos)
	}
	if e.Minus {
		return finding.At(at, finding.Error, "power.no_feed", fmt.Sprintf("the minus rail of strip %q is connected to no supply", name), "give it a [[feed]], or a [[joint]] to a strip that has one")
	}
	fix := fmt.Sprintf("give it a [[feed]] at = [%q, 0]", name)
	if e.Strip > 0 {
		b := &l.Strips[e.Strip-1]
		fix += fmt.Sprintf(", or a [[joint]] from = [%q, %d], to = [%q, 0]", b.Name, b.Count-1, name)
	}
	return finding.At(at, finding.Error, "power.no_feed", fmt.Sprintf("no feed reaches strip %q: it stays dark", name), fix)
}

// PlanOf is a laid out machine's copper at its temperature. Pixels stand in the
// layout's order. Every pixel of a strip is a pixel pitch of rail apart from the
// next, hidden and missing ones too; its two rails share the part's resistance
// evenly unless the part says how.
func PlanOf(m *show.Machine, l *layout.Layout) (Plan, error) {
	t := m.Wiring.Temperature
	var p Plan
	for _, s := range m.Supplies() {
		one := Supply{Name: s.Name, Volts: float64(s.Volts) / 1e6, Output: float64(s.Resistance)}
		if one.Name == "" {
			one.Name = "supply"
		}
		if s.Length > 0 {
			r := Ohms(s.Wire, s.Length, t)
			one.Lead = Pair{r, r}
		}
		p.Supplies = append(p.Supplies, one)
	}
	index := map[string]int{}
	for i := range l.Strips {
		s := &l.Strips[i]
		part := &m.Parts[s.Part]
		rails := railsOf(part)
		step := s.PixelPitch / 1000 * Warmth(t)
		p.Strips = append(p.Strips, Strip{Name: s.Name, Pixels: s.Count, Rails: Pair{rails.Plus * step, rails.Minus * step}, Least: float64(part.Least) / 1e6})
		index[s.Name] = i
	}
	place := func(strip string, pixel int) (Place, error) {
		i, ok := index[strip]
		if !ok {
			return Place{}, fmt.Errorf("wiring: no strip %q in the layout", strip)
		}
		return Place{i, pixel}, nil
	}
	for i := range m.Feeds {
		f := &m.Feeds[i]
		at, err := place(f.Strip, f.Pixel)
		if err != nil {
			return Plan{}, err
		}
		r := Ohms(f.Wire, f.Length, t) + 2*float64(f.Contact)
		p.Feeds = append(p.Feeds, Feed{supplyOf(m, f.Strip), at, Pair{r, r}})
	}
	for i := range m.Joints {
		j := &m.Joints[i]
		from, err1 := place(j.From.Strip, j.From.Pixel)
		to, err2 := place(j.To.Strip, j.To.Pixel)
		if err := errors.Join(err1, err2); err != nil {
			return Plan{}, err
		}
		r := Ohms(j.Wire, j.Length, t) + 2*float64(j.Contact)
		w := Pair{r, r}
		if j.MinusOnly {
			w.Plus = math.Inf(1)
		}
		p.Joints = append(p.Joints, Joint{from, to, w})
	}
	return p, nil
}

// railsOf is a part's rails in ohm per metre at 20 degC.
func railsOf(p *show.Part) Pair {
	plus := float64(p.PlusRail)
	if plus == 0 {
		plus = float64(p.Rails) / 2
	}
	return Pair{plus, float64(p.Rails) - plus}
}

// supplyOf is the supply that a strip hangs on.
func supplyOf(m *show.Machine, strip string) int {
	if s := m.Strip(strip); s != nil {
		return max(m.SupplyIndex(s.Supply), 0)
	}
	return 0
}

func hops(m *show.Machine, l *layout.Layout) []Hop {
	var out []Hop
	for i := range l.Lines {
		level := float64(m.Lines[i].Driver) / 1e6
		from := Place{-1, 0}
		for _, s := range l.Lines[i].Strips {
			out = append(out, Hop{i, from, Place{s, 0}, level})
			from = Place{s, l.Strips[s].Count - 1}
		}
	}
	return out
}

func points(p *Plan) []Place {
	var out []Place
	add := func(at Place) {
		if !slices.Contains(out, at) {
			out = append(out, at)
		}
	}
	for _, f := range p.Feeds {
		add(f.At)
	}
	for i := range p.Strips {
		add(Place{i, 0})
		add(Place{i, p.Strips[i].Pixels - 1})
	}
	return out
}

// Name is a place in words: "left 76".
func (p *Panel) Name(at Place) string {
	if at.Strip < 0 {
		return "the controller"
	}
	return fmt.Sprintf("%s %d", p.Layout.Strips[at.Strip].Name, at.Pixel)
}
