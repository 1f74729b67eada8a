package commission

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"paneglow/anim/finding"
	"paneglow/anim/show"
)

// Card says how a strip is mended.
type Card struct {
	Strip   string
	Trouble string   // what is wrong, in a few words
	Pixels  []int    // that are to be replaced, ascending, next to each other
	Part    string   // kind of strip
	Reel    string   // whose light the spare piece should have
	Places  []string // of the pixels, on the strip and on the panel
	Steps   []string // what to do
	Until   string   // what helps until then; "": nothing
}

// String is the card as it is printed.
func (c *Card) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "repair card: strip %q\n", c.Strip)
	fmt.Fprintf(&b, "  trouble   %s\n", c.Trouble)
	for i, p := range c.Places {
		word := "where"
		if i > 0 {
			word = ""
		}
		fmt.Fprintf(&b, "  %-8s  %s\n", word, p)
	}
	fmt.Fprintf(&b, "  spare     part %q, %s, %s\n", c.Part, pixelCount(len(c.Pixels)), c.Reel)
	for i, s := range c.Steps {
		fmt.Fprintf(&b, "  %d         %s\n", i+1, s)
	}
	if c.Until != "" {
		fmt.Fprintf(&b, "  until then  %s\n", c.Until)
	}
	return b.String()
}

func pixelCount(n int) string {
	if n == 1 {
		return "1 pixel"
	}
	return fmt.Sprintf("%d pixels", n)
}

// What a strip can look like when all of it is lit.
const (
	sightWhole = iota
	sightBreak
	sightHoles
	sightDark
)

// Fault finds what is wrong with a strip, and gives a card for each repair. A pixel
// that was bridged is marked as missing in the file; one that is merely dark stays
// as it is.
func (r *Run) Fault(ctx context.Context, strip int) ([]Card, error) {
	s := &r.lay.Strips[strip]
	if err := r.dark().whole(strip, 0, s.Count, wash).show(ctx); err != nil {
		return nil, err
	}
	n, err := r.choose(ctx, Sight, s.Name, fmt.Sprintf("strip %q: all of it should be lit, white and dim. What do you see?%s", s.Name, r.but(strip, 0, s.Count)),
		"all of it is lit", "it is lit up to one place, and dark or wild from there on", "it is lit, but for single dark pixels", "nothing: it is dark")
	if err != nil {
		return nil, err
	}
	switch n {
	case sightWhole:
		r.Say("strip %q is whole", s.Name)
		return nil, nil
	case sightBreak:
		return r.broken(ctx, strip)
	case sightHoles:
		return r.holes(ctx, strip)
	}
	r.found(finding.Error, "commission.dark", "strip "+s.Name, "look at plus, minus and the data wire, at the arrow printed on the strip (data runs with it), and at the fuse; if the strip before it on the line is broken, mend that one first", "it is dark")
	return nil, nil
}

// broken finds up to where data comes. Behind the break nothing can be lit, so
// that single lights tell.
func (r *Run) broken(ctx context.Context, strip int) ([]Card, error) {
	s, on := &r.lay.Strips[strip], r.present(strip)
	if len(on) == 0 {
		return nil, fmt.Errorf("strip %q: the file has all its pixels as missing", s.Name)
	}
	k, err := bisect(-1, len(on)-2, func(n int) (bool, error) {
		if err := r.dark().at(s.First+on[n], 3, spot).show(ctx); err != nil {
			return false, err
		}
		return r.yes(ctx, Lit, s.Name, fmt.Sprintf("strip %q: is a single light on it now?", s.Name))
	})
	if err != nil {
		return nil, err
	}
	dark := on[k+1]
	bridge := fmt.Sprintf("bridge pixel %d: cut it out and join plus, minus and data (data out of the pixel before it to data in of the one behind it)", dark)
	var c Card
	suspects := []int{dark}
	if k < 0 {
		c = r.card(strip, suspects)
		c.Trouble = "no pixel is lit: the data does not reach the first one, or it is dead"
		c.Steps = append([]string{"first try the wire: a bad joint at the start of the strip looks the same"}, c.Steps...)
	} else {
		suspects = []int{on[k], dark}
		c = r.card(strip, suspects)
		c.Trouble = fmt.Sprintf("lit up to pixel %d, nothing from pixel %d on: the one lets no data out, or the other lets none in", on[k], dark)
		bridge += fmt.Sprintf("; if it stays dark behind it, bridge pixel %d as well", on[k])
	}
	c.Until = bridge + "; answer below to have the file say so"
	r.found(finding.Error, "commission.break", "strip "+s.Name, "see the repair card", "%s", c.Trouble)
	r.Cards(&c)
	return []Card{c}, r.offerBridge(ctx, strip, suspects)
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// offerBridge marks what has been bridged as missing: the last of the suspects, or
// both.
func (r *Run) offerBridge(ctx context.Context, strip int, suspects []int) error {
	s := &r.lay.Strips[strip]
	dark := suspects[len(suspects)-1]
	answers := []string{"nothing: what is bad will be replaced", fmt.Sprintf("pixel %d, and the strip lights behind it", dark)}
	if len(suspects) > 1 {
		answers = append(answers, fmt.Sprintf("pixels %d and %d, and the strip lights behind them", suspects[0], dark))
	}
	done, err := r.choose(ctx, Bridged, s.Name, fmt.Sprintf("strip %q: what has been cut out and bridged, so that the file should say so?", s.Name), answers...)
	if err != nil || done == 0 {
		return err
	}
	gone := suspects[len(suspects)-done:]
	missing := append(slices.Clone(r.m.Strips[r.stripOf(strip)].Missing), gone...)
	if err := r.change(show.SetMarks(r.File, r.Source, s.Name, "missing", missing)); err != nil {
		return err
	}
	for _, n := range gone {
		r.found(finding.Note, "commission.missing", "strip "+s.Name, fmt.Sprintf("export the C header anew and build the firmware with it; until then: paneglow commission dead, with --strip %s --pixel %d", s.Name, n),
			"pixel %d is marked as missing: the picture stays in its place", n)
	}
	return nil
}

// mostHoles is how many dead pixels of a strip are looked for.
const mostHoles = 8

// holes finds pixels that are dark though data passes them: among the first n of
// the strip is a dark one, or there is none.
func (r *Run) holes(ctx context.Context, strip int) (cards []Card, err error) {
	s, on := &r.lay.Strips[strip], r.present(strip)
	for from := 0; from < len(on) && len(cards) < mostHoles; {
		whole := func(n int) (bool, error) { // the pixels from..n of those that are there
			end := on[n] + 1
			if err := r.dark().whole(strip, on[from], end, wash).show(ctx); err != nil {
				return false, err
			}
			return r.yes(ctx, AllLit, s.Name, fmt.Sprintf("strip %q: is the stretch of light without a gap, and %d pixels long or so?%s", s.Name, n+1-from, r.but(strip, on[from], end)))
		}
		all, err := whole(len(on) - 1)
		if err != nil || all {
			return cards, err
		}
		last, err := bisect(from-1, len(on)-2, whole)
		if err != nil {
			return cards, err
		}
		dead := on[last+1]
		c := r.card(strip, []int{dead})
		c.Trouble = fmt.Sprintf("pixel %d is dark, and lets data pass", dead)
		c.Until = "nothing has to be done: the rest of the strip shows what it should"
		cards = append(cards, c)
		r.Cards(&c)
		r.found(finding.Warning, "commission.hole", "strip "+s.Name, "see the repair card", "%s", c.Trouble)
		from = last + 2
	}
	return cards, nil
}

// card prepares a card for pixels that stand next to each other.
func (r *Run) card(strip int, pixels []int) Card {
	s := &r.lay.Strips[strip]
	ms := &r.m.Strips[r.stripOf(strip)]
	part := r.m.Part(ms.Part)
	first, last := pixels[0], pixels[len(pixels)-1]
	c := Card{Strip: s.Name, Pixels: pixels, Part: ms.Part, Reel: "the reel of the whole strip"}
	for _, x := range ms.Stretches {
		if first >= x.From && first <= x.To {
			c.Reel = fmt.Sprintf("the reel of pixels %d to %d: white %.3g %.3g %.3g, gain %.3g", x.From, x.To, x.White[0], x.White[1], x.White[2], x.Gain)
		}
	}
	for _, n := range pixels {
		c.Places = append(c.Places, r.spotText(strip, n))
	}
	leds := "at the pad before and the pad behind"
	if part.LEDsPerPixel > 1 {
		leds = fmt.Sprintf("only at the marks between groups of %d LEDs, before and behind", part.LEDsPerPixel)
	}
	cut := fmt.Sprintf("cut %s pixel %d", leds, first)
	if first != last {
		cut = fmt.Sprintf("cut %s pixels %d and %d: either of them may be the bad one", leds, first, last)
	}
	c.Steps = []string{
		"switch the supply off and wait until all is dark; what runs on mains is for those who may",
		cut,
		fmt.Sprintf("solder in %s of the same part and reel, the arrow with the others", pixelCount(len(pixels))),
		"ground first, then plus, then data; check for shorts before the supply comes back",
		"run this again: all of the strip has to be lit",
	}
	return c
}

// Reels finds where another reel begins, and writes it.
func (r *Run) Reels(ctx context.Context, strip int) error {
	s, on := &r.lay.Strips[strip], r.present(strip)
	if len(on) < 2 {
		return nil
	}
	if err := r.dark().whole(strip, 0, s.Count, wash).show(ctx); err != nil {
		return err
	}
	two, err := r.yes(ctx, Reels, s.Name, fmt.Sprintf("strip %q: all of it is white and dim. Does the color change at one place along it, as between two reels?", s.Name))
	if err != nil || !two {
		return err
	}
	k, err := bisect(0, len(on)-2, func(n int) (bool, error) {
		// The first pixel beside it is what it is held against.
		if err := r.dark().at(s.First+on[0], 3, wash).at(s.First+on[n], 3, wash).show(ctx); err != nil {
			return false, err
		}
		return r.yes(ctx, Reel, s.Name, fmt.Sprintf("strip %q: two pixels are lit, the first and another. Are they of one color?", s.Name))
	})
	if err != nil {
		return err
	}
	begins := on[k+1]
	if err := r.change(show.SetReel(r.File, r.Source, s.Name, begins)); err != nil {
		return err
	}
	r.found(finding.Note, "commission.reel", "strip "+s.Name, "match its white by eye: set white of that stretch so that both sides look alike, at half and at a tenth of the light", "another reel begins at pixel %d", begins)
	return r.again()
}
