package sheet

import (
	"fmt"
	"math"

	"paneglow/render/power/wiring"
)

// table draws rows of cells, broken over lines, with a heading that is repeated on
// each page. Widths are millimetres.
func (b *book) table(title string, head []string, widths []float64, rows [][]string, size float64) {
	lineH := size * 1.28
	draw := func(cells []string, strong bool) {
		lines, most := make([][]string, len(cells)), 1
		for i, c := range cells {
			lines[i] = wrap(c, size, widths[i]-2.4)
			most = max(most, len(lines[i]))
		}
		h := float64(most)*lineH + 1.2
		x := margin
		for i := range cells {
			for k, s := range lines[i] {
				y := b.y + lineH*float64(k+1) - 0.4
				if strong {
					b.p.bold(x+1, y, size, start, s)
				} else {
					b.p.text(x+1, y, size, start, s)
				}
			}
			x += widths[i]
		}
		b.y += h
		b.p.line(faint, margin, b.y-0.2, right, b.y-0.2)
	}
	tall := func(cells []string) float64 {
		most := 1
		for i, c := range cells {
			most = max(most, len(wrap(c, size, widths[i]-2.4)))
		}
		return float64(most)*lineH + 1.2
	}
	top := func() {
		b.p.bold(margin, b.y+2.2, 3, start, title)
		b.y += 4
		draw(head, true)
	}
	b.need(14 + tall(head))
	top()
	for _, r := range rows {
		if b.y+tall(r) > bottom {
			b.turn("continued")
			top()
		}
		draw(r, false)
	}
	b.y += 4
}

// measured lists what a meter finds at each point.
func (b *book) measured() {
	var rows [][]string
	for _, at := range b.Panel.Points {
		what := ""
		for i, f := range b.Panel.Circuit.Plan().Feeds {
			if f.At == at {
				what += fmt.Sprintf("feed F%d, up to %.2f A; ", i+1, math.Ceil(b.Protect[i].Load*100)/100)
			}
		}
		switch last := b.Panel.Layout.Strips[at.Strip].Count - 1; at.Pixel {
		case 0:
			what += "first pixel"
		case last:
			what += "last pixel"
		}
		low, dark := b.volts(at)
		least := b.Panel.Machine.Parts[b.Panel.Layout.Strips[at.Strip].Part].Least
		rows = append(rows, []string{b.Panel.Name(at), trim(what), fmt.Sprintf("%.2f V", dark), fmt.Sprintf("%.2f V", low), least.String()})
	}
	if w := wiring.Worst(b.Seen); w >= 0 {
		s := &b.Seen[w]
		low := math.Floor(s.Low.Volts*100) / 100
		rows = append(rows, []string{b.Panel.Name(s.At), "lowest pixel of all: " + s.Lowest(), "", fmt.Sprintf("%.2f V", low), fmt.Sprintf("%.4g V", s.Low.Least)})
	}
	b.table("What a meter finds between plus and minus", []string{"at", "what is there", "all dark", "least in any frame", "needed"}, []float64{36, 82, 22, 30, 20}, rows, 2.4)
}

func trim(s string) string {
	if len(s) > 2 && s[len(s)-2:] == "; " {
		return s[:len(s)-2]
	}
	return s
}

// work is the order in which things are connected and switched on.
func (b *book) work() {
	steps := []string{
		"Mains off and locked off. A licensed person removes old ballasts (they keep their charge) and refits and tests the earth strap.",
		fmt.Sprintf("With nothing connected, set the supply to its volts (%s) and read its polarity. Strips of 5, 12 and 24 V look alike: read what is printed on them.", b.supplies()),
		"Supply off. All fuses out. Connect every minus first: strips, controller, loads. Then the plus wires. Then data, at the end where the arrow begins.",
		"Between plus and minus of each strip a meter must not read a short, with the fuses out.",
		"Supply on, one fuse in at a time: compare each point with the table above (all dark). Feel for warm wires.",
		"Controller on: it sends a black frame first; pixels may light white for a moment before. No motor starts before that frame.",
		"Play each state; then the brightest one for half an hour, and feel wires, connectors and the supply again.",
		"To work on it: data low or floating before the strips lose power, or the first pixel is fed through its data pin; then the supply off; minus comes off last.",
	}
	var rows [][]string
	for i, s := range steps {
		rows = append(rows, []string{fmt.Sprint(i + 1), s})
	}
	b.table("Order of work and power-up (common practice)", []string{"", "step"}, []float64{8, 182}, rows, 2.4)
}

func (b *book) symptoms() {
	rows := [][]string{
		{"far end yellow or red, or dim", "too few volts there: green and blue go first", "measure while it is white; a feed at the far end, or thicker wire"},
		{"flicker or wrong colours from one strip on", "its ground is higher than that of the strip before, or missing", "ground wire beside the data; millivolts between both minus pads"},
		{"first pixel wrong, or all of a line", "signal too low or too long: 1 m and more from a bare pin", "buffer at 5 V, resistor at its output, ground in the same cable"},
		{"dark from one pixel on", "that pixel or the one before is dead", "change both; until then bridge it: missing = [n] in the machine file"},
		{"red and green exchanged", "another order of colours", "order of the part in the machine file"},
		{"white trips the supply, again and again", "more than it gives: it protects itself", "paneglow check; the budget, not a larger fuse"},
		{"controller restarts when a motor starts", "the supply dips, or a coil kicks", "budget with that load's start; diode or snubber at the coil"},
		{"a fuse opens at once", "a short or reversed plus and minus", "never a larger fuse; fuses out, look for the short"},
		{"a fuse opens after hours", "its load is above 80 % of it", "the next size, if the copper takes it; else another feed"},
		{"LEDs glow with the supply off", "fed through the data pin", "data low or floating when the strips have no power"},
		{"a white flash at switching on", "pixels before their first frame", "the black frame comes first; a switch in the strips' plus"},
		{"sensor counts by itself", "its cable picks up motor or lights", "screened or twisted cable, resistor to plus, snubbers at coils"},
		{"hum in loudspeakers", "the lights' modulation on a shared ground", "a supply of its own for the amplifier, or isolation"},
	}
	b.table("Symptoms and causes (common practice)", []string{"what is seen", "likely cause", "what to do"}, []float64{50, 66, 74}, rows, 2.4)
}

func (b *book) cautions() {
	lines := wrap("Caution. Local codes and licensed practice decide, not this sheet. Every feed has a fuse of its own at the supply's end; a supply does not trip on a short through thin wire. "+
		"Mains parts belong to a licensed person; an old ballast keeps its charge after switching off; the earth strap is refitted and tested; fluorescent lamps go to recycling. "+
		"What copper carries is taken as 6 A per mm2 of short wire in air, and rails by the chart of IPC-2221: common practice.", 2.4, right-margin-4)
	h := 3.1*float64(len(lines)) + 3
	b.need(h)
	b.p.rect(ink, margin, b.y, right-margin, h, "#fff")
	for i, s := range lines {
		b.p.text(margin+2, b.y+3.6+3.1*float64(i), 2.4, start, s)
	}
	b.y += h + 3
}
