// Package commission finds out, on the real strips and with somebody who looks at
// them, what no file can know: the order of the colours, where every strip ends and
// which way it runs, what is dead, where another reel begins, which pause latches.
// What was found is written into the machine's file, in place.
//
// In: a Panel that shows codes (a stream to the controller, or a simulated strip),
// a Person who answers, and the machine's file. Out: the file with its values
// exchanged, findings, repair cards. Every question has a kind and says what it is
// about, so that a program can answer as well as a person: tests do.
//
// Lights stay dim, and the controller counts every refresh as ever.
package commission

import (
	"context"
	"fmt"
	"slices"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/render/table"
)

// Panel shows what is asked for.
type Panel interface {
	// Show makes the strips show codes, in data order with the dies in the order
	// R, G, B[, W], until the next call. When it returns they are on the strips.
	Show(ctx context.Context, codes []uint8) error
	// Probe sends two runs of pixels with a pause between them.
	Probe(ctx context.Context, p Probe) error
}

// Probe is two runs of equal pixels from a strip's data line, and the pause between
// them: where the pause latches, the second run begins at the first pixel again.
type Probe struct {
	Strip         int
	First, Second int      // pixels, at most 8 each
	A, B          [4]uint8 // their bytes on the wire, in its order
	Pause         int      // microseconds
}

// Kind tells questions apart.
type Kind int

const (
	Color      Kind = iota // which color does Strip show?
	WhichStrip             // on which strip is the one light?
	Beyond                 // how many pixels of Strip follow the light and stay dark?
	End                    // at which end of Strip is the light?
	Place                  // is the light on Strip where it is said to be?
	Sight                  // what does Strip look like, all of it lit?
	Lit                    // is there a light on Strip?
	AllLit                 // is the lit stretch of Strip without a gap, and as long as it is said to be?
	Bridged                // has the dark pixel of Strip been cut out and bridged, or that and the one before it?
	Reels                  // does the color change somewhere along Strip?
	Reel                   // does the light belong to the reel at the start of Strip?
	Two                    // how many lights are at the start of Strip, and which?
	Amps                   // the ammeter's reading, in milliamperes
	Volts                  // the lowest voltage, in millivolts
)

// Question is what the person is asked. Either Answers are given, or a whole
// number from Least to Most is wanted.
type Question struct {
	Kind        Kind
	Strip       string // that it is about; "" where it is about more
	Text        string
	Answers     []string
	Least, Most int
	Unit        string // of the number
}

// Person answers: the index of an answer, or the number.
type Person interface {
	Answer(ctx context.Context, q Question) (int, error)
}

// Run is one commissioning. Its file's bytes change with what is found; Save, when
// not nil, is called with them after every change, and the work stops when it fails.
type Run struct {
	Panel  Panel
	Person Person
	File   string
	Source []byte
	Save   func(source []byte) error
	Say    func(format string, args ...any) // what is being done and what was found; nil: nobody listens
	Cards  func(c *Card)                    // gets every repair card before it is asked what was done; or nil
	Found  finding.List

	m    *show.Machine
	lay  *layoutOf
	dies map[string][4]int // by part: the die of the file's order that lights red, green, blue, white
}

// Begin reads the machine's file. The file must have no error.
func (r *Run) Begin() error {
	if r.Say == nil {
		r.Say = func(string, ...any) {}
	}
	if r.Cards == nil {
		r.Cards = func(*Card) {}
	}
	m, found := show.ParseMachine(r.File, r.Source)
	if err := found.Err(); err != nil {
		return err
	}
	lay, err := newLayout(m)
	if err != nil {
		return err
	}
	r.m, r.lay, r.dies = m, lay, map[string][4]int{}
	return nil
}

// Machine is the machine as its file has it now.
func (r *Run) Machine() *show.Machine { return r.m }

// StripNames are the strips in data order.
func (r *Run) StripNames() (names []string) {
	for i := range r.lay.Strips {
		names = append(names, r.lay.Strips[i].Name)
	}
	return names
}

// PanelSum is the fingerprint of the panel as the file has it, which a firmware that
// was built from it tells of itself.
func (r *Run) PanelSum() (uint32, error) { return table.PanelOf(r.m, r.lay.Layout) }

// mostMarks is the number of missing pixels up to which Fits tries all sets of them.
const mostMarks = 10

// Fits tells whether a firmware with a fingerprint was built from the file as it is,
// or before some of its missing pixels were marked: their numbers are the same.
func (r *Run) Fits(sum uint32) (bool, error) {
	type mark struct{ strip, pixel int }
	var marks []mark
	for i := range r.m.Strips {
		for _, p := range r.m.Strips[i].Missing {
			marks = append(marks, mark{i, p})
		}
	}
	if len(marks) > mostMarks {
		marks = nil
	}
	for set := range 1 << len(marks) {
		m := *r.m
		m.Strips = slices.Clone(r.m.Strips)
		for k, x := range marks {
			if set>>k&1 != 0 {
				s := &m.Strips[x.strip]
				s.Missing = slices.DeleteFunc(slices.Clone(s.Missing), func(p int) bool { return p == x.pixel })
			}
		}
		lay, err := newLayout(&m)
		if err != nil {
			return false, err
		}
		if got, err := table.PanelOf(&m, lay.Layout); err != nil || got == sum {
			return err == nil, err
		}
	}
	return false, nil
}

// Pixel is the place among all pixels of one of a strip.
func (r *Run) Pixel(strip, index int) (int, error) {
	s := &r.lay.Strips[strip]
	if index < 0 || index >= s.Count {
		return 0, fmt.Errorf("strip %q has pixels 0 to %d, not %d", s.Name, s.Count-1, index)
	}
	return s.First + index, nil
}

// change takes a new version of the file.
func (r *Run) change(source []byte, err error) error {
	if err != nil {
		return err
	}
	if r.Save != nil {
		if err := r.Save(source); err != nil {
			return err
		}
	}
	r.Source = source
	return nil
}

func (r *Run) found(sev finding.Severity, code, where, fix, message string, args ...any) {
	f := finding.Finding{Code: code, Severity: sev, Where: where, Message: fmt.Sprintf(message, args...), Fix: fix}
	r.Found = append(r.Found, f)
	r.Say("%s: %s", f.Where, f.Message)
}

// choose asks for one of several answers.
func (r *Run) choose(ctx context.Context, kind Kind, strip, text string, answers ...string) (int, error) {
	n, err := r.Person.Answer(ctx, Question{Kind: kind, Strip: strip, Text: text, Answers: answers, Most: len(answers) - 1})
	if err == nil && (n < 0 || n >= len(answers)) {
		err = fmt.Errorf("answer %d to %q, which has %d", n, text, len(answers))
	}
	return n, err
}

// yes asks for yes or no.
func (r *Run) yes(ctx context.Context, kind Kind, strip, text string) (bool, error) {
	n, err := r.choose(ctx, kind, strip, text, "yes", "no")
	return n == 0, err
}

// number asks for a number.
func (r *Run) number(ctx context.Context, kind Kind, strip, text, unit string, least, most int) (int, error) {
	n, err := r.Person.Answer(ctx, Question{Kind: kind, Strip: strip, Text: text, Least: least, Most: most, Unit: unit})
	if err == nil && (n < least || n > most) {
		err = fmt.Errorf("%d to %q, which wants %d to %d", n, text, least, most)
	}
	return n, err
}
