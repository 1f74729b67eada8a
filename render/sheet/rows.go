package sheet

import (
	"fmt"
	"math"
	"strings"

	"paneglow/anim/show"
	"paneglow/render/power/wiring"
)

// The rows at the right: supplies with their feeds and loads hanging on two bus
// lines, then joints and data hops. Each row draws its own length of bus, so that a
// page may end between any two.
const (
	col      = 84.0
	minusBus = col + 4
	plusBus  = col + 8.5
)

func (b *book) rows() {
	b.heading("Supply, feeds and loads")
	for k, supply := range b.m.Supplies() {
		if k > 0 {
			b.y += 3
			b.need(30)
		}
		b.supply(supply, k)
		var hang []func(last bool)
		for i, f := range b.Panel.Circuit.Plan().Feeds {
			if f.Supply == k {
				hang = append(hang, func(last bool) { b.feed(i, last) })
			}
		}
		for i := range b.m.Loads {
			if l := &b.m.Loads[i]; b.m.SupplyIndex(l.Supply) == k {
				hang = append(hang, func(last bool) { b.load(l, last) })
			}
		}
		for i, draw := range hang {
			draw(i == len(hang)-1)
		}
	}
	if len(b.m.Loads) > 0 {
		b.y += 1
		b.notes("Coils, and motors that turn one way: the diode as drawn, rated above the load's amps. Motors that reverse, and relay contacts: 100 nF and 100 ohm in series across them (common practice).")
	}
	b.y += 3
	if len(b.m.Joints) > 0 {
		b.heading("Joints, strip to strip")
		for i := range b.m.Joints {
			b.joint(i)
		}
		b.y += 3
	}
	b.heading("Data, with its ground beside it")
	for i := range b.Panel.Hops {
		b.hop(i)
	}
}

// notes writes small print under rows.
func (b *book) notes(s string) {
	lines := wrap(s, 2.3, right-col)
	b.need(3.1 * float64(len(lines)))
	for _, line := range lines {
		b.p.gray(col, b.y+2.4, 2.3, start, line)
		b.y += 3.1
	}
}

func (b *book) heading(s string) {
	b.need(22)
	b.p.bold(col, b.y+1, 3, start, s)
	b.y += 4
}

// bus draws the two bus lines over a row; the last row ends them at its taps.
func (b *book) bus(h float64, atMinus, atPlus float64) {
	b.p.line(minus, minusBus, b.y, minusBus, b.y+math.Min(h, atMinus))
	b.p.line(plus, plusBus, b.y, plusBus, b.y+math.Min(h, atPlus))
}

func (b *book) supply(s *show.Supply, k int) {
	b.p.rect(ink, col, b.y, right-col, 9, "#f4f4f4")
	title := fmt.Sprintf("supply %s, %s", s.Volts, s.Amps)
	if s.Name != "" {
		title = fmt.Sprintf("supply %s: %s, %s", s.Name, s.Volts, s.Amps)
	}
	b.p.bold(col+2, b.y+4, 2.9, start, short(title, 2.9, right-col-4))
	var below []string
	if s.Length > 0 {
		below = append(below, fmt.Sprintf("feeds fork after %s of %s", s.Length, s.Wire))
	}
	if k > 0 {
		below = append(below, "its minus joins the first one's at one point, its plus joins none")
	}
	below = append(below, "mains side: a licensed person")
	b.p.gray(col+2, b.y+7.5, 2.3, start, short(strings.Join(below, "; "), 2.3, right-col-4))
	b.y += 9
	b.bus(3.5, never, never)
	b.p.text(minusBus-0.8, b.y+2.8, 2.6, end, "−")
	b.p.text(plusBus+0.8, b.y+2.8, 2.6, start, "+")
	b.y += 3.5
}

const never = 1e9

func (b *book) feed(i int, last bool) {
	const h = 16.0
	b.need(h)
	f, q := &b.m.Feeds[i], &b.Protect[i]
	p, y := b.p, b.y
	if last {
		b.bus(h, 11.5, 5)
	} else {
		b.bus(h, never, never)
	}
	const tap, box = 151.0, 160.0
	p.dot(plusBus, y+5, 0.7, plus.color, plus.color)
	p.dot(minusBus, y+11.5, 0.7, minus.color, minus.color)
	p.line(plus, plusBus, y+5, box, y+5)
	p.line(minus, minusBus, y+11.5, box, y+11.5)
	p.rect(plus, col+14, y+3.6, 9, 2.8, "#fff")
	p.line(plus, col+14, y+5, col+23, y+5)
	p.bold(col+18.5, y+2.6, 2.7, middle, fmt.Sprintf("F%d  %s", i+1, f.Fuse))
	p.text(col+28, y+3.9, 2.4, start, short(fmt.Sprintf("%s, %s", f.Wire, f.Length), 2.4, box-1-col-28))
	p.gray(col+14, y+9.2, 2.3, start, short(b.advice(q), 2.3, tap-6-col-14))
	capacitor(p, tap, y+5, y+11.5)
	at := b.Panel.Circuit.Plan().Feeds[i].At
	p.rect(ink, box, y+2, right-box, 12.5, "#fff")
	p.bold(box+1.5, y+5.4, 2.7, start, name(b.Panel.Name(at), 2.7, right-box-3))
	p.text(box+1.5, y+9, 2.4, start, fmt.Sprintf("up to %.2f A", math.Ceil(q.Load*100)/100))
	p.text(box+1.5, y+12.6, 2.4, start, b.span(at))
	b.y += h
}

func (b *book) advice(q *wiring.Protection) string {
	s := fmt.Sprintf("copper takes %.1f A", math.Floor(q.Carries*10)/10)
	switch {
	case q.Advised > 0 && q.Advised != q.Fuse:
		s = fmt.Sprintf("%g A would do; %s", q.Advised, s)
	case q.Advised == 0:
		s = "no fuse protects; " + s
	}
	return s
}

// span is the range of volts that a meter finds at a point.
func (b *book) span(at wiring.Place) string {
	low, dark := b.volts(at)
	return fmt.Sprintf("%.2f to %.2f V", low, dark)
}

// volts are the least at a point in any frame, and with all pixels dark.
func (b *book) volts(at wiring.Place) (low, dark float64) {
	low = math.Inf(1)
	for k, q := range b.Panel.Points {
		if q != at {
			continue
		}
		for i := range b.Seen {
			low = math.Min(low, b.Seen[i].Points[k])
		}
		dark = b.Dark.Points[k]
	}
	return math.Floor(math.Min(low, dark)*100) / 100, math.Round(dark*100) / 100
}

func capacitor(p *page, x, y0, y1 float64) {
	m := (y0 + y1) / 2
	p.line(ink, x, y0, x, m-0.6)
	p.line(pen{"#111", 0.5, ""}, x-2.2, m-0.6, x+2.2, m-0.6)
	p.line(pen{"#111", 0.5, ""}, x-2.2, m+0.6, x+2.2, m+0.6)
	p.line(ink, x, m+0.6, x, y1)
	p.text(x+3, m+0.9, 2.4, start, "C")
	p.text(x-3.2, m-1, 2.2, end, "+")
}

func (b *book) load(l *show.Load, last bool) {
	const h = 15.0
	b.need(h)
	p, y := b.p, b.y
	if last {
		b.bus(h, 11, 4.5)
	} else {
		b.bus(h, never, never)
	}
	const box, diode = col + 26, col + 52.0
	p.dot(plusBus, y+4.5, 0.7, plus.color, plus.color)
	p.dot(minusBus, y+11, 0.7, minus.color, minus.color)
	p.line(plus, plusBus, y+4.5, diode, y+4.5, diode, y+6.2)
	p.line(minus, minusBus, y+11, col+12, y+11)
	p.line(minus, col+12, y+11, col+16.5, y+8.8) // the switch
	p.dot(col+12, y+11, 0.5, "#fff", "#111")
	p.dot(col+17, y+11, 0.5, "#fff", "#111")
	p.line(minus, col+17.5, y+11, diode, y+11, diode, y+9.2)
	p.rect(ink, box, y+2.5, 20, 10.5, "#fff")
	p.bold(box+10, y+6.7, 2.6, middle, name(l.Name, 2.6, 18.5))
	p.text(box+10, y+10.6, 2.4, middle, l.Amps.String())
	// A diode against the current: its bar at plus.
	p.line(pen{"#111", 0.5, ""}, diode-1.6, y+6.2, diode+1.6, y+6.2)
	p.tag(`<polygon points="%s,%s %s,%s %s,%s" fill="#111"/>`, n(diode), n(y+6.3), n(diode-1.6), n(y+9.2), n(diode+1.6), n(y+9.2))
	var notes []string
	if l.Start > l.Amps {
		notes = append(notes, fmt.Sprintf("starts with %s", l.Start))
	}
	if l.Stall > 0 {
		notes = append(notes, fmt.Sprintf("stalls with %s", l.Stall))
	}
	for k, line := range notes {
		p.text(diode+5, y+6.2+3.6*float64(k), 2.4, start, line)
	}
	b.y += h
}

func (b *book) joint(i int) {
	const h = 11.5
	b.need(h)
	j, p, y := &b.m.Joints[i], b.p, b.y
	k := b.Panel.Circuit.Plan().Joints[i]
	x0, x1 := col+30.0, right-30.0
	b.end(col, y, 30, b.Panel.Name(k.From), b.span0(k.From))
	b.end(x1, y, 30, b.Panel.Name(k.To), b.span0(k.To))
	if !j.MinusOnly {
		p.line(plus, x0, y+3.2, x1, y+3.2)
	}
	p.line(minus, x0, y+7.2, x1, y+7.2)
	p.text((x0+x1)/2, y+6, 2.4, middle, short(fmt.Sprintf("J%d  %s, %s", i+1, j.Wire, j.Length), 2.4, x1-x0-2))
	b.y += h
}

// span0 is span where the place is one of the panel's points.
func (b *book) span0(at wiring.Place) string {
	for _, q := range b.Panel.Points {
		if q == at {
			return b.span(at)
		}
	}
	return ""
}

// end is the box at an end of a joint or hop.
func (b *book) end(x, y, w float64, what, below string) {
	b.p.rect(ink, x, y+0.8, w, 8.8, "#fff")
	if below == "" {
		b.p.bold(x+w/2, y+6.1, 2.5, middle, name(what, 2.5, w-2))
		return
	}
	b.p.bold(x+w/2, y+4.6, 2.5, middle, name(what, 2.5, w-2))
	b.p.gray(x+w/2, y+8.2, 2.2, middle, short(below, 2.2, w-2))
}

// hop is one way of the data with its ground.
func (b *book) hop(i int) {
	const h = 14.0
	b.need(h)
	q, p, y := &b.Panel.Hops[i], b.p, b.y
	line := &b.m.Lines[q.Line]
	x0, x1 := col+26.0, right-26.0
	from := b.Panel.Name(q.From)
	if q.From.Strip < 0 {
		from = "controller"
	}
	b.end(col, y, 26, from, fmt.Sprintf("line %s", line.Name))
	b.end(x1, y, 26, b.Panel.Name(q.To), "")
	p.line(data, x0, y+3, x1, y+3)
	p.arrow(data, x1, y+3, 1, 0, 2.2)
	p.line(minus, x0, y+7.4, x1, y+7.4)
	if q.From.Strip < 0 {
		level := "buffer"
		if line.Driver < 4_500_000 {
			level = "level shifter to 5 V"
		}
		w := wide(level, 2.2) + 3
		p.rect(ink, x0+4, y+1, w, 4, "#fff")
		p.text(x0+4+w/2, y+3.8, 2.2, middle, level)
		p.rect(ink, x1-24, y+1.6, 10, 2.8, "#fff")
		p.text(x1-19, y+1, 2.2, middle, "330 ohm")
	}
	shift := 0.0
	for k := range b.Seen {
		shift = math.Max(shift, b.Seen[k].Hops[i].Value)
	}
	note := fmt.Sprintf("grounds differ by up to %.0f mV", math.Ceil(shift*1000))
	if shift > wiring.Shift*q.Level {
		note += ": too much, see below"
	}
	p.gray((x0+x1)/2, y+11, 2.2, middle, short(note, 2.2, right-col-4))
	b.y += h
}
