package commission

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"paneglow/anim/finding"
	"paneglow/anim/show"
)

var colorNames = []string{"red", "green", "blue", "white"}

// ErrWiring is returned when nothing more can be found out before wires are
// changed. What is wrong stands in the findings.
var ErrWiring = errors.New("the wiring has to be looked at first")

// Strips walks over all strips: the order of their colors, how many pixels they
// have, which way they run, and whether the light is where it should be.
func (r *Run) Strips(ctx context.Context) error {
	for strip := range r.lay.Strips {
		if err := r.order(ctx, strip); err != nil {
			return err
		}
	}
	if err := r.writeOrders(); err != nil {
		return err
	}
	for line := range r.lay.lines {
		if err := r.count(ctx, line); err != nil {
			return err
		}
	}
	// Lengths have changed the layout: what is asked below goes by the new file.
	if err := r.again(); err != nil {
		return err
	}
	for strip := range r.lay.Strips {
		if err := r.direction(ctx, strip); err != nil {
			return err
		}
	}
	if err := r.again(); err != nil {
		return err
	}
	for strip := range r.lay.Strips {
		if err := r.walk(ctx, strip); err != nil {
			return err
		}
	}
	return nil
}

// again reads the file as it is now. The panel still sends what its firmware was
// built for, so that the codes of a strip that has become longer or shorter would
// go astray: then the work ends here, until the firmware was built anew.
func (r *Run) again() error {
	m, found := show.ParseMachine(r.File, r.Source)
	if err := found.Err(); err != nil {
		return err
	}
	for i := range m.Strips {
		if m.Strips[i].Pixels != r.m.Strips[i].Pixels {
			return fmt.Errorf("%w: strip %q has another number of pixels now; export the C header anew, build the firmware, and run this again", ErrWiring, m.Strips[i].Name)
		}
	}
	lay, err := newLayout(m)
	if err != nil {
		return err
	}
	r.m, r.lay = m, lay
	return nil
}

// order finds which die lights which color. The first strip of a part is asked
// color by color; the others only whether all colors but the last agree. All of the line
// is lit: where a strip begins and ends is not known yet.
func (r *Run) order(ctx context.Context, strip int) error {
	s := &r.lay.Strips[strip]
	part := r.m.Strips[r.stripOf(strip)].Part
	known, asked := r.dies[part]
	if !asked {
		order, err := r.colors(ctx, strip)
		if err == nil {
			r.dies[part] = order
		}
		return err
	}
	same := true
	for color := range s.Dies - 1 { // the last one follows
		got, err := r.color(ctx, strip, known[color])
		if err != nil {
			return err
		}
		same = same && got == color
	}
	if same {
		return nil
	}
	order, err := r.colors(ctx, strip)
	if err != nil {
		return err
	}
	if order != known {
		r.found(finding.Error, "commission.two_orders", "strip "+s.Name, fmt.Sprintf("give it a part of its own: copy [[part]] %q under another name with order = %q", part, orderOf(s.Order, order)),
			"its colors come in another order than those of the other strips of part %q", part)
	}
	return nil
}

// color lights one die of all pixels of a strip's line and asks which color that
// strip shows.
func (r *Run) color(ctx context.Context, strip, die int) (int, error) {
	s := &r.lay.Strips[strip]
	p := r.dark()
	for _, other := range r.lay.lines[s.Line] {
		o := &r.lay.Strips[other]
		for i := range o.Count {
			if die < o.Dies {
				p.raw(o.First+i, die, wash)
			}
		}
	}
	if err := p.show(ctx); err != nil {
		return 0, err
	}
	answers := append(slices.Clone(colorNames[:s.Dies]), "several colors, from pixel to pixel", "nothing: it stays dark")
	n, err := r.choose(ctx, Color, s.Name, fmt.Sprintf("strip %q: which color does it show?", s.Name), answers...)
	switch {
	case err != nil:
		return 0, err
	case n == s.Dies:
		r.found(finding.Error, "commission.dies", "strip "+s.Name, fmt.Sprintf("a part with a white die has four letters in its order, one without three: this one has %d", s.Dies),
			"one die of every pixel was lit, and it shows several colors: its pixels do not have %d dies each", s.Dies)
		return 0, ErrWiring
	case n > s.Dies:
		r.found(finding.Error, "commission.dark", "strip "+s.Name, "look at plus, minus and the data wire, at the arrow printed on the strip (data runs with it), and at the fuse; if another strip lights instead, their data wires are exchanged",
			"it stays dark where its %s die was lit", colorNames[die])
		return 0, ErrWiring
	}
	return n, nil
}

// colors asks for every die of a strip which color it lights, and gives for red,
// green, blue and white the die that does.
func (r *Run) colors(ctx context.Context, strip int) (order [4]int, err error) {
	s := &r.lay.Strips[strip]
	seen := map[int]int{}
	for die := range s.Dies {
		n, err := r.color(ctx, strip, die)
		if err != nil {
			return order, err
		}
		if was, twice := seen[n]; twice {
			r.found(finding.Error, "commission.contradiction", "strip "+s.Name, "run this again and look at one strip at a time, in dim light",
				"%s was seen both for the die called %s and for the one called %s", colorNames[n], colorNames[was], colorNames[die])
			return order, ErrWiring
		}
		seen[n] = die
		order[n] = die
	}
	return order, nil
}

// orderOf is the order on the wire, when each color comes from these dies of the
// order in the file.
func orderOf(file string, dies [4]int) string {
	letters := "RGBW"
	out := []byte(file)
	for color := range len(file) {
		// The byte that the firmware sends for die d stands where its letter does.
		out[strings.IndexByte(file, letters[dies[color]])] = letters[color]
	}
	return string(out)
}

func (r *Run) writeOrders() error {
	for i := range r.m.Parts {
		p := &r.m.Parts[i]
		dies, asked := r.dies[p.Name]
		if !asked {
			continue
		}
		order := orderOf(p.Order, dies)
		if order == p.Order {
			r.Say("part %q: the order %s is right", p.Name, order)
			continue
		}
		if err := r.change(show.SetPart(r.File, r.Source, p.Name, "order", show.Quote(order))); err != nil {
			return err
		}
		r.found(finding.Note, "commission.order", "part "+p.Name, "", "its colors come in the order %s, the file said %s", order, p.Order)
	}
	return nil
}

// count finds where each strip of a line ends, from the first to the last: a line
// is one row of addresses, and a strip that has one less than the file says begins
// the next one too early.
func (r *Run) count(ctx context.Context, line int) error {
	strips := r.lay.lines[line]
	var pixels []int // of the line that have an address, in data order
	var names []string
	for _, s := range strips {
		st := &r.lay.Strips[s]
		names = append(names, "strip "+st.Name)
		for _, i := range r.present(s) {
			pixels = append(pixels, st.First+i)
		}
	}
	answers := append(names, "nowhere")
	// on tells whether address n of the line lights on strip k or before it.
	on := func(n, k int) (bool, error) {
		if err := r.dark().at(pixels[n], 3, spot).show(ctx); err != nil {
			return false, err
		}
		got, err := r.choose(ctx, WhichStrip, r.lay.Strips[strips[k]].Name, "one pixel is lit: on which strip?", answers...)
		return got <= k, err
	}
	base := 0
	for k, strip := range strips {
		s := &r.lay.Strips[strip]
		gone := s.Count - len(r.present(strip)) // they count, and have no address
		end := base + s.Count - gone            // as the file has it
		if gone == s.Count {
			continue
		}
		count, err := 0, error(nil)
		switch {
		case base >= len(pixels):
			r.found(finding.Error, "commission.count", "strip "+s.Name, "correct the strips before it first, build the firmware anew, and run this again", "it gets no data: the strips before it take all addresses")
			return nil
		case k == len(strips)-1:
			count, err = bisectFrom(base, min(end, len(pixels)), len(pixels), func(n int) (bool, error) { return on(n, k) })
			if err == nil && base+count == len(pixels) {
				if err = r.dark().at(pixels[base+count-1], 3, spot).show(ctx); err != nil {
					return err
				}
				more := 0
				more, err = r.number(ctx, Beyond, s.Name, fmt.Sprintf("strip %q: how many of its pixels come after the one that is lit, and are dark?", s.Name), "pixels", 0, show.MaxPixels-count)
				count += more
			}
		default:
			count, err = bisectFrom(base, min(end, len(pixels)), len(pixels), func(n int) (bool, error) { return on(n, k) })
		}
		if err != nil {
			return err
		}
		if count == 0 {
			r.found(finding.Error, "commission.count", "strip "+s.Name, "look at the data wire that leads to it, and at the order of the strips on the line", "not one of its pixels lights")
			return ErrWiring
		}
		base += count
		if count += gone; count != s.Count {
			if err := r.change(show.SetPixels(r.File, r.Source, s.Name, count)); err != nil {
				return err
			}
			r.found(finding.Warning, "commission.count", "strip "+s.Name, "see whether its path in the file still fits, export the C header anew and build the firmware with it", "it has %d pixels, the file said %d", count, s.Count)
		} else {
			r.Say("strip %q: its %d pixels are right", s.Name, count)
		}
	}
	return nil
}

// bisectFrom counts the addresses from base on for which on holds. It looks at the
// end that the file gives first: where that is right two questions are enough.
func bisectFrom(base, end, all int, on func(n int) (bool, error)) (int, error) {
	last, err := on(end - 1)
	if err != nil {
		return 0, err
	}
	least, most := -1, end-base-2 // the last index that is lit
	if last {
		least, most = end-base-1, all-base-1
		if end < all {
			next, err := on(end)
			if err != nil {
				return 0, err
			}
			if !next {
				most = least
			} else {
				least++
			}
		}
	}
	n, err := bisect(least, most, func(n int) (bool, error) { return on(base + n) })
	if err != nil {
		return 0, err
	}
	return n + 1, nil
}

// direction finds at which end of a strip its data comes in.
func (r *Run) direction(ctx context.Context, strip int) error {
	s := &r.lay.Strips[strip]
	ms := &r.m.Strips[r.stripOf(strip)]
	if closed(ms) {
		r.Say("strip %q is a ring: which way it runs, walking will tell", s.Name)
		return nil
	}
	start, end := ends(ms)
	on := r.present(strip)
	if len(on) == 0 {
		return nil
	}
	if err := r.dark().at(s.First+on[0], 3, spot).show(ctx); err != nil {
		return err
	}
	n, err := r.choose(ctx, End, s.Name, fmt.Sprintf("strip %q: its first pixel is lit. Where?", s.Name), start, end, "somewhere else")
	if err != nil {
		return err
	}
	switch n {
	case 0:
		r.Say("strip %q: its data comes in %s, which is right", s.Name, start)
	case 1:
		path := slices.Clone(ms.Path)
		slices.Reverse(path)
		if err := r.change(show.SetPath(r.File, r.Source, s.Name, path)); err != nil {
			return err
		}
		r.found(finding.Note, "commission.direction", "strip "+s.Name, "", "its data comes in %s, the file said %s", end, start)
	default:
		r.found(finding.Error, "commission.place", "strip "+s.Name, "look at which strip hangs on which data line, and correct the lines or the path in the file", "its first pixel lights at neither of its ends")
	}
	return nil
}

// walk asks at three places of a strip whether the light stands there. A strip
// whose pixels are further apart than the file thinks is found so: one chip for
// three LEDs, for one.
func (r *Run) walk(ctx context.Context, strip int) error {
	s := &r.lay.Strips[strip]
	ms := &r.m.Strips[r.stripOf(strip)]
	start, _ := ends(ms)
	for i := 1; i <= 3; i++ {
		index := (s.Count - 1) * i / 4
		if p := &r.lay.Pixels[s.First+index]; p.Missing || p.Hidden {
			continue
		}
		if err := r.dark().at(s.First+index, 3, spot).show(ctx); err != nil {
			return err
		}
		from := shorter(start)
		if closed(ms) {
			from = "end where its data comes in"
		}
		ok, err := r.yes(ctx, Place, s.Name, fmt.Sprintf("strip %q: is the light now %.0f mm from its %s, measured along the strip?", s.Name, r.along(strip, index), from))
		if err != nil {
			return err
		}
		if !ok {
			r.found(finding.Error, "commission.place", "strip "+s.Name,
				"count the LEDs between two lights: where one chip drives three LEDs, leds_per_pixel is 3; else measure the path and the pitch again",
				"%s is not where the file has it", r.spotText(strip, index))
			return nil
		}
	}
	r.Say("strip %q: the light stands where it should", s.Name)
	return nil
}
