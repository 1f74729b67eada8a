package main

import (
	"context"
	"fmt"

	"paneglow/controller/attach"
	"paneglow/controller/link"
	"paneglow/controller/upload"
)

// The JSON of `upload --verify --json`.
type compareReport struct {
	Target string `json:"target"`
	Board  string `json:"board"`
	Same   bool   `json:"same"`
	Plays  bool   `json:"plays"`       // false: the slot was read, as nothing plays or the firmware cannot be asked
	Bytes  int    `json:"bytes"`       // of the table, as far as a controller reads it
	Equal  int    `json:"equal_bytes"` // from its first byte on
}

// compare reads back what plays on a controller. That it is another table is an
// error, so that a script sees it.
func (a *app) compare(ctx context.Context, path string, f *uploadFlags) error {
	t, _, err := a.uploadable(path, f)
	if err != nil {
		return err
	}
	w, err := f.target.Connect(ctx, link.Options{})
	if err != nil {
		return err
	}
	defer w.Close()
	bar := a.progress("reading back", len(t.ForController()))
	last := 0
	r, err := upload.Compare(ctx, w.Conn, t, func(done, _ int) {
		bar.add(done - last)
		last = done
	})
	bar.done()
	if err != nil {
		return fmt.Errorf("%s: %w", w.Target, err)
	}
	out := compareReport{Target: w.Target, Board: attach.BoardName(w.Is), Same: r.Differs < 0, Plays: !r.Slot, Bytes: r.All, Equal: r.Bytes}
	if f.json {
		if err := writeJSON(a.out, out); err != nil {
			return err
		}
	}
	switch {
	case !out.Same && r.Is == r.Should:
		return fmt.Errorf("%s: %s plays another table: it ends after %d bytes, %s has %d; bring that in again", w.Target, out.Board, r.Bytes, path, r.All)
	case !out.Same:
		return fmt.Errorf("%s: %s plays another table: byte %d is %#02x there, %#02x in %s; bring that in again", w.Target, out.Board, r.Differs, r.Is, r.Should, path)
	case r.Slot:
		return fmt.Errorf("%s: %s holds %q in its slot, each of %d bytes the same, but does not say that it plays: its firmware cannot play it, or is of before this was asked; build it for this show (export --c-header)", w.Target, out.Board, t.Title, r.Bytes)
	case !f.json:
		fmt.Fprintf(a.out, "%s plays %q: %d bytes read back, each the same\n", out.Board, t.Title, r.Bytes)
	}
	return nil
}
