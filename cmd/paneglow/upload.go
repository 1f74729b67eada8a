package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"paneglow/anim/finding"
	"paneglow/controller/attach"
	"paneglow/controller/link"
	"paneglow/controller/upload"
	"paneglow/render/table"
)

type uploadFlags struct {
	target  attach.Target
	machine string
	flashes string
	whole   bool
	stopped bool
	verify  bool
	pack    packFlag
	json    bool
}

func (a *app) uploadCommand() *cobra.Command {
	var f uploadFlags
	c := &cobra.Command{
		Use:   "upload SHOW|TABLE",
		Short: "bring a show into the controller over the line that is already there",
		Long: `Upload takes a show, which it checks and packs as export does, or a table. The
controller must have been built for this very panel, and all loads must stand
still. The table goes into the slot that does not play, is verified there, and
only then plays: whatever happens on the way, the show that played before plays
on, and uploading again goes on where it stopped. What the controller already
holds is not sent again.

A show that flashes more than three times a second is refused: it can cause
seizures in people who pass by. Where nobody can be hurt, say why with
--flashes-because.`,
		Example: "  paneglow upload my-panel --to /dev/ttyACM0",
		Args:    argument("a show or a table"),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx, stop := attach.UntilInterrupted()
			defer stop()
			f.target.Reads = f.verify
			return a.upload(ctx, args[0], &f)
		},
	}
	fl := c.Flags()
	f.target.Flags(fl)
	fl.StringVar(&f.machine, "machine", "", "the machine's file: of another machine than the show's, or of the table, whose flashes are then counted with the light of its LEDs")
	fl.StringVar(&f.flashes, "flashes-because", "", "why more than three flashes a second hurt nobody here")
	fl.BoolVar(&f.verify, "verify", false, "upload nothing: read back the table that plays, however it came there, and compare it byte for byte")
	fl.BoolVar(&f.whole, "whole", false, "send all of it, whatever the controller already holds")
	fl.BoolVar(&f.stopped, "all-stopped", false, "you have looked: no motor, lock or heater runs; for a machine whose program does not tell the panel so")
	fl.Var(&f.pack, "pack", "how hard to look for a small table: quick or best")
	fl.BoolVar(&f.json, "json", false, "print the result as JSON")
	return c
}

// The JSON of `upload --json`.
type uploadReport struct {
	Target    string  `json:"target"`
	Board     string  `json:"board"`
	Table     string  `json:"table"` // its sum
	Bytes     int     `json:"bytes"`
	Same      bool    `json:"same"`
	Installed uint32  `json:"installed"`
	Sent      int     `json:"sent_bytes"`
	Copied    int     `json:"copied_bytes"`
	Found     int     `json:"found_bytes"`
	Seconds   float64 `json:"seconds"`
	Rate      float64 `json:"bytes_per_s"` // of the line, everything included
}

func (a *app) upload(ctx context.Context, path string, f *uploadFlags) error {
	if err := f.target.Said(); err != nil {
		return err // before a minute's work
	}
	if f.verify {
		return a.compare(ctx, path, f)
	}
	t, found, err := a.uploadable(path, f)
	if err != nil {
		return err
	}
	if err := a.flashesAllowed(found, f.flashes); err != nil {
		return err
	}
	w, err := f.target.Connect(ctx, link.Options{})
	if err != nil {
		return err
	}
	defer w.Close()
	if f.stopped {
		err := allStopped(ctx, w)
		if err != nil {
			return fmt.Errorf("%s: telling that all loads stand still: %w", w.Target, err)
		}
	}
	if t, err = t.Slim(); err != nil {
		return err
	}
	begun := time.Now()
	before := w.Written()
	bar := a.progress("uploading", len(t.Bytes()))
	last := 0
	r, err := upload.Upload(ctx, w.Conn, t, upload.Options{Whole: f.whole, Progress: func(done, _ int) {
		took := time.Since(begun).Seconds()
		bar.say(fmt.Sprintf("uploading, %.1f kB/s on the line", float64(w.Written()-before)/1000/max(took, 0.001)))
		bar.add(done - last)
		last = done
	}})
	bar.done()
	if err != nil {
		return fmt.Errorf("%s: %w", w.Target, err)
	}
	took := time.Since(begun).Seconds()
	out := uploadReport{Target: w.Target, Board: attach.BoardName(w.Is), Table: fmt.Sprintf("%08x", upload.Sum(t.Bytes())), Bytes: len(t.Bytes()), Same: r.Same,
		Installed: r.Installed, Sent: r.Sent, Copied: r.Copied, Found: r.Found, Seconds: took, Rate: float64(w.Written()-before) / max(took, 1e-3)}
	if f.json {
		return writeJSON(a.out, out)
	}
	if r.Same {
		fmt.Fprintf(a.out, "%s plays %q already: nothing was sent\n", out.Board, t.Title)
		return nil
	}
	fmt.Fprintf(a.out, "%s plays %q, table %s, the %s it was given\n", out.Board, t.Title, out.Table, ordinal(r.Installed))
	fmt.Fprintf(a.out, "%d bytes: %d sent in %.1f s (%.1f kB/s on the line), %d copied on the board, %d were there\n", out.Bytes, r.Sent, took, out.Rate/1000, r.Copied, r.Found)
	return nil
}

func ordinal(n uint32) string {
	switch {
	case n%100 >= 11 && n%100 <= 13:
	case n%10 == 1:
		return fmt.Sprintf("%dst", n)
	case n%10 == 2:
		return fmt.Sprintf("%dnd", n)
	case n%10 == 3:
		return fmt.Sprintf("%drd", n)
	}
	return fmt.Sprintf("%dth", n)
}

// allStopped tells that all loads stand still.
func allStopped(ctx context.Context, w *attach.Line) error {
	err := w.Soon(ctx, link.Loads, link.LoadsBody(0))
	if link.IsStatus(err, link.Busy) {
		return nil // it has no table, and knows of no loads
	}
	return err
}

// uploadable gives the table that is to be uploaded, and the flashes found in it.
func (a *app) uploadable(path string, f *uploadFlags) (*table.Table, finding.List, error) {
	if isTable(path) {
		return checkedTable(path, f.machine)
	}
	p := open(path, f.machine)
	a.work(p, f.pack.pack)
	p.Examine()
	var flashes, rest finding.List
	for _, x := range p.Found {
		if x.Code == "safety.flashes" {
			flashes = append(flashes, x)
		} else {
			rest = append(rest, x)
		}
	}
	a.tell(rest)
	return p.Table, flashes, a.verdict(rest)
}
