package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/controller/attach"
	"paneglow/controller/commission"
	"paneglow/controller/link"
	"paneglow/controller/live"
	"paneglow/controller/upload"
	"paneglow/render/power"
)

type commissionFlags struct {
	target  attach.Target
	strip   string
	pixel   int
	back    bool
	stopped bool
}

const commissionHelp = `Commission asks, step by step and with the real strips lit, what no file can
know, and writes the answers into the machine's file, in place:

  strips   the order of the colors, the number of pixels, the direction
  timing   how long a pause a strip forgives, and how long a latch takes
  reels    where another reel begins
  fault    what is broken, with a repair card
  power    an ammeter's and a voltmeter's readings against what is predicted
  dead     take a pixel out that was cut out and bridged, or put it back

The controller runs the firmware that was built for this machine's file, and a
show was uploaded: its budgets hold throughout. Lights stay dim; a level that the
machine told is set back to full, until it tells one again. Whatever can move is
to be kept from moving while hands are inside. Questions are read from
standard input, so a file of answers does as well; "q" ends, and what was written
by then stays.`

func (a *app) commissionCommand() *cobra.Command {
	var f commissionFlags
	c := &cobra.Command{
		Use:     "commission STEP MACHINE",
		Short:   "find out on the real strips what no file can know",
		Long:    commissionHelp,
		Example: "  paneglow commission strips my-panel/machine.toml --to /dev/ttyACM0",
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usageError{fmt.Errorf("%q is no step: strips, timing, reels, fault, power or dead", args[0])}
			}
			return cmd.Help()
		},
	}
	f.target.Flags(c.PersistentFlags())
	step := func(use, short, example string, work func(ctx context.Context, s *commissioning) error) *cobra.Command {
		return &cobra.Command{
			Use: use + " MACHINE", Short: short, Args: argument("a machine file"),
			Example: "  paneglow commission " + use + " my-panel/machine.toml --to /dev/ttyACM0" + example,
			RunE: func(cmd *cobra.Command, args []string) error {
				ctx, stop := attach.UntilInterrupted()
				defer stop()
				return a.commission(ctx, cmd.InOrStdin(), args[0], &f, work)
			},
		}
	}
	strips := step("strips", "the order of the colors, the number of pixels, the direction", "", func(ctx context.Context, s *commissioning) error { return s.Strips(ctx) })
	timing := step("timing", "how long a pause a strip forgives, and how long a latch takes", " --all-stopped", func(ctx context.Context, s *commissioning) error {
		if f.stopped {
			if err := allStopped(ctx, s.w); err != nil {
				return err
			}
		}
		return s.Timing(ctx)
	})
	timing.Flags().BoolVar(&f.stopped, "all-stopped", false, "you have looked: no motor, lock or heater runs; for a machine whose program does not tell the panel so")
	reels := step("reels", "where another reel begins", "", func(ctx context.Context, s *commissioning) error {
		return s.each(f.strip, func(strip int) error { return s.Reels(ctx, strip) })
	})
	fault := step("fault", "what is broken, with a repair card", " --strip front", func(ctx context.Context, s *commissioning) error {
		return s.each(f.strip, func(strip int) error {
			_, err := s.Fault(ctx, strip)
			return err
		})
	})
	powered := step("power", "readings against what is predicted", "", func(ctx context.Context, s *commissioning) error { return a.commissionPower(ctx, s) })
	dead := step("dead", "take a bridged pixel out of the data, or put it back", " --strip front --pixel 12", func(ctx context.Context, s *commissioning) error { return a.commissionDead(ctx, s, &f) })
	for _, c := range []*cobra.Command{reels, fault, dead} {
		c.Flags().StringVar(&f.strip, "strip", "", "only this strip")
	}
	dead.Flags().IntVar(&f.pixel, "pixel", -1, "of the strip, counted from 0 in data order")
	dead.Flags().BoolVar(&f.back, "back", false, "the pixel was replaced: it has its address again")
	c.AddCommand(strips, timing, reels, fault, powered, dead)
	return c
}

// commissioning is a run with its line.
type commissioning struct {
	*commission.Run
	w     *attach.Line
	panel *lights
}

// each goes over all strips, or the one that is named.
func (s *commissioning) each(name string, do func(strip int) error) error {
	hit := false
	for i, n := range s.StripNames() {
		if name != "" && n != name {
			continue
		}
		hit = true
		if err := do(i); err != nil {
			return err
		}
	}
	if !hit {
		return fmt.Errorf("%s has no strip %q: it has %s", s.File, name, strings.Join(s.StripNames(), ", "))
	}
	return nil
}

func (a *app) commission(ctx context.Context, in io.Reader, file string, f *commissionFlags, work func(context.Context, *commissioning) error) error {
	m, found := show.LoadMachine(file)
	if err := found.Err(); err != nil {
		return err
	}
	source := m.Source
	r := &commission.Run{
		File: file, Source: source, Person: &asker{in: bufio.NewReader(in), out: a.err},
		Say:   func(format string, args ...any) { fmt.Fprintf(a.err, "- "+format+"\n", args...) },
		Cards: func(c *commission.Card) { fmt.Fprint(a.out, c.String()) },
	}
	r.Save = func(b []byte) error {
		now, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		if !bytes.Equal(now, source) {
			return fmt.Errorf("%s was changed meanwhile: nothing was written; run this again", file)
		}
		source = b
		return writeBytes(file, b)
	}
	if err := r.Begin(); err != nil {
		return err
	}
	strips := live.New(f.target.Rate(), nil)
	w, err := f.target.Connect(ctx, link.Options{Event: strips.Event})
	if err != nil {
		return err
	}
	defer w.Close()
	want, err := r.PanelSum()
	if err != nil {
		return err
	}
	fits := w.Is.Layout == want
	if !fits && f.pixel >= 0 { // dead is for a firmware that does not know of the repair
		if fits, err = r.Fits(w.Is.Layout); err != nil {
			return err
		}
	}
	if !fits {
		return fmt.Errorf("%s: its firmware was built for a panel with the fingerprint %08x, %s has %08x: export the C header for this file (paneglow export SHOW --c-header FILE) and build the firmware with it", w.Target, w.Is.Layout, file, want)
	}
	s := &commissioning{Run: r, w: w, panel: &lights{Strips: strips, w: w}}
	r.Panel = s.panel
	if f.pixel < 0 { // dead shows nothing
		err = s.panel.brighten(ctx, time.Now(), r.Say)
	}
	if err == nil {
		err = work(ctx, s)
	}
	if ended := s.panel.end(); err == nil {
		err = ended
	}
	a.tell(r.Found)
	if err != nil {
		return fmt.Errorf("%s: %w", w.Target, err)
	}
	return a.verdict(r.Found)
}

// errNoShow is a controller that plays nothing.
var errNoShow = errors.New("no show was uploaded whose budgets could hold: paneglow upload comes first")

// commissionPower compares readings; the budget is the smallest of the show that the
// controller plays, which always holds.
func (a *app) commissionPower(ctx context.Context, s *commissioning) error {
	h, err := upload.Playing(ctx, s.w.Conn)
	if err != nil {
		return err
	}
	if h == nil {
		return errNoShow
	}
	if err := s.panel.atFull(); err != nil {
		return err
	}
	readings, err := s.Power(ctx, h.Least)
	var missing []string
	for _, r := range readings {
		fmt.Fprintf(a.out, "%-40s %8.3f %s read, %8.3f %s predicted, %+5.1f %%  %s\n", r.What, r.Read, r.Unit, r.Predicted, r.Unit, 100*r.Off(), r.Verdict())
		if r.None {
			missing = append(missing, r.What)
		}
	}
	switch {
	case err != nil:
		return err
	case s.Found.Count(finding.Error) > 0:
		fmt.Fprintln(a.out, "not done: see the findings")
	case len(missing) > 0:
		fmt.Fprintf(a.out, "done, but for what was not measured (%s): the panel is within 5 %% of what is predicted, under a budget of %s\n", strings.Join(missing, "; "), power.Amps(h.Least))
	default:
		fmt.Fprintf(a.out, "done: the panel is within 5 %% of what is predicted, under a budget of %s, and no load takes more than the file allows for\n", power.Amps(h.Least))
	}
	return nil
}

// commissionDead tells the controller of a pixel.
func (a *app) commissionDead(ctx context.Context, s *commissioning, f *commissionFlags) error {
	if f.strip == "" || f.pixel < 0 {
		return usageError{errors.New("which pixel? --strip NAME --pixel N, counted from 0 in data order")}
	}
	return s.each(f.strip, func(strip int) error {
		pixel, err := s.Pixel(strip, f.pixel)
		if err != nil {
			return err
		}
		gone := uint8(1)
		if f.back {
			gone = 0
		}
		err = s.w.Soon(ctx, link.Dead, []byte{uint8(pixel), uint8(pixel >> 8), gone})
		switch {
		case link.IsStatus(err, link.Busy):
			return errNoShow
		case link.IsStatus(err, link.OutOfRange):
			return fmt.Errorf("strip %s, pixel %d: its firmware was built for no more pixels that are out (PG_DEAD): mark it as missing in the file, export the C header anew and build the firmware with it: %w", f.strip, f.pixel, err)
		case err != nil:
			return err
		}
		fmt.Fprintf(a.out, "strip %s, pixel %d: the controller knows; it forgets when its power goes, so write it into the file too (missing)\n", f.strip, f.pixel)
		return nil
	})
}

// asker reads answers from a person or a file.
type asker struct {
	in  *bufio.Reader
	out io.Writer
	n   int
}

// errQuit is a person who has had enough.
var errQuit = errors.New("ended by the person who answers; what was written into the file by then stays")

func (p *asker) Answer(ctx context.Context, q commission.Question) (int, error) {
	p.n++
	fmt.Fprintf(p.out, "\n%d. %s\n", p.n, q.Text)
	for i, s := range q.Answers {
		fmt.Fprintf(p.out, "   %d  %s\n", i+1, s)
	}
	for range 5 {
		if q.Answers == nil {
			fmt.Fprintf(p.out, "   a number of %s, %d to %d, or q: ", q.Unit, q.Least, q.Most)
		} else {
			fmt.Fprintf(p.out, "   1 to %d, or q: ", len(q.Answers))
		}
		line, err := p.in.ReadString('\n')
		if err != nil && line == "" {
			return 0, fmt.Errorf("the answers end at question %d: %q", p.n, q.Text)
		}
		if ctx.Err() != nil {
			return 0, ctx.Err()
		}
		line = strings.TrimSpace(line)
		if line == "q" {
			return 0, errQuit
		}
		n, err := strconv.Atoi(line)
		switch {
		case q.Answers == nil && err == nil && n >= q.Least && n <= q.Most:
			return n, nil
		case q.Answers != nil && err == nil && n >= 1 && n <= len(q.Answers):
			return n - 1, nil
		}
		fmt.Fprintf(p.out, "   %q is no answer\n", line)
	}
	return 0, fmt.Errorf("five answers to question %d were none", p.n)
}
