package main

import (
	"context"
	"fmt"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"paneglow/controller/attach"
	"paneglow/controller/link"
	"paneglow/controller/upload"
)

func (a *app) statusCommand() *cobra.Command {
	f := attach.Target{Reads: true}
	var asJSON bool
	c := &cobra.Command{
		Use:     "status",
		Short:   "tell who the controller is, which show plays since when, and what it has counted",
		Long:    `Status asks a controller, and changes nothing.`,
		Example: "  paneglow status --to /dev/ttyACM0\n  paneglow status --to keeper:/run/paneglow/socket",
		Args:    noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx, stop := attach.UntilInterrupted()
			defer stop()
			w, err := f.Connect(ctx, link.Options{})
			if err != nil {
				return err
			}
			defer w.Close()
			r, err := statusOf(ctx, w)
			if err != nil {
				return fmt.Errorf("%s: %w", w.Target, err)
			}
			if asJSON {
				return writeJSON(a.out, r)
			}
			a.printStatus(r)
			return nil
		},
	}
	f.Flags(c.Flags())
	c.Flags().BoolVar(&asJSON, "json", false, "print the result as JSON")
	return c
}

// noArguments is for commands that take flags only.
func noArguments(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usageError{fmt.Errorf("%s takes no argument, and got %q", cmd.CommandPath(), args[0])}
	}
	return nil
}

// The JSON of `status --json`.
type statusReport struct {
	Target    string            `json:"target"`
	Board     string            `json:"board"`
	Firmware  uint16            `json:"firmware"`
	Panel     string            `json:"panel"`
	Channels  uint16            `json:"channels"`
	SlotBytes uint32            `json:"slot_bytes"`  // of each of the places for a table; 0: none
	BrownOut  *float64          `json:"brown_out_V"` // null: unknown; 0: the chip does not stop at a low supply
	Reset     []string          `json:"reset"`
	Uptime    float64           `json:"uptime_s"` // since the start; comes round after 49.7 days
	Plays     string            `json:"plays"`    // "uploaded", "built in"; "": nothing, or the firmware cannot be asked
	Table     *statusTable      `json:"table"`    // that was uploaded; null: none
	Counters  map[string]uint32 `json:"counters"`
	order     []string
}

type statusTable struct {
	Sum       string `json:"sum"`
	Installed uint32 `json:"installed"`
	Since     string `json:"since"`
	Title     string `json:"title"`
	Bytes     int    `json:"bytes"`
	Clips     int    `json:"clips"`
	States    int    `json:"states"`
}

func statusOf(ctx context.Context, w *attach.Line) (*statusReport, error) {
	id := &w.Is
	r := &statusReport{Target: w.Target, Board: attach.BoardName(*id), Firmware: id.Firmware, Panel: fmt.Sprintf("%08x", id.Layout), Channels: id.Channels,
		Uptime: float64(id.Uptime) / 1000, Counters: map[string]uint32{}, Reset: []string{}}
	if id.Slots > 0 {
		r.SlotBytes = id.SlotSize
	}
	if id.BrownOut != 255 {
		v := float64(id.BrownOut) / 10
		r.BrownOut = &v
	}
	r.Reset = append(r.Reset, link.ResetReasons(id.Reset)...)
	if id.Installed > 0 {
		t := &statusTable{Sum: fmt.Sprintf("%08x", id.Table), Installed: id.Installed}
		if s := id.Since(); !s.IsZero() {
			t.Since = s.Format(time.RFC3339)
		}
		h, err := upload.PlayingNames(ctx, w.Conn)
		if err != nil {
			return nil, err
		}
		if h != nil {
			t.Title, t.Bytes, t.Clips, t.States = h.Title, h.TableLength, len(h.Clips), len(h.States)
		}
		r.Table = t
	}
	source, err := upload.PlaysFrom(ctx, w.Conn)
	if err != nil {
		return nil, err
	}
	r.Plays = map[upload.Source]string{upload.Uploaded: "uploaded", upload.BuiltIn: "built in"}[source]
	body, err := w.Ask(ctx, link.Counters, nil)
	if err != nil {
		return nil, err
	}
	counts, err := link.ParseCounters(body)
	if err != nil {
		return nil, err
	}
	for i, n := range counts {
		word := link.Count(i).String()
		r.order = append(r.order, word)
		r.Counters[word] = n
	}
	return r, nil
}

func (a *app) printStatus(r *statusReport) {
	w := tabwriter.NewWriter(a.out, 0, 8, 2, ' ', 0)
	row := func(what, format string, args ...any) { fmt.Fprintf(w, "%s\t%s\n", what, fmt.Sprintf(format, args...)) }
	row("board", "%s, firmware %d, for panel %s, %d channels", r.Board, r.Firmware, r.Panel, r.Channels)
	row("up for", "%v, started because %s", time.Duration(r.Uptime*float64(time.Second)).Round(time.Second), reasons(r.Reset))
	switch {
	case r.BrownOut == nil:
		row("brown-out", "at which supply voltage the chip stops is not known")
	case *r.BrownOut == 0:
		row("brown-out", "off: a supply that falls can make the chip run wild; set its fuse")
	default:
		row("brown-out", "the chip stops below %.1f V", *r.BrownOut)
	}
	switch t := r.Table; {
	case t == nil && r.Plays == "":
		row("show", "none was uploaded, and none that is built into the firmware plays")
	case t == nil && r.SlotBytes == 0:
		row("show", "the one built into the firmware, which takes no other")
	case t == nil:
		row("show", "the one built into the firmware; none was uploaded")
	default:
		title := fmt.Sprintf("%q, %d bytes, %d clips, %d states, table %s", t.Title, t.Bytes, t.Clips, t.States, t.Sum)
		if t.Bytes == 0 {
			title = fmt.Sprintf("table %s, which cannot be read: damaged, or of another version of the format", t.Sum)
		}
		switch r.Plays {
		case "uploaded":
			row("show", "%s", title)
		case "built in":
			row("show", "the one built into the firmware, as what was uploaded cannot be played: upload it again")
			row("uploaded", "%s", title)
		default:
			row("show", "none: the firmware cannot play what was uploaded, or is too old to be asked; upload it again")
			row("uploaded", "%s", title)
		}
		since := "at a time nobody told"
		if s, err := time.Parse(time.RFC3339, t.Since); err == nil {
			since = "since " + s.Local().Format("2006-01-02 15:04")
		}
		row("", "%s, the %s it was given", since, ordinal(t.Installed))
	}
	for _, word := range r.order {
		row(word, "%d", r.Counters[word])
	}
	w.Flush()
}

func reasons(words []string) string {
	if len(words) == 0 {
		return "nobody knows why"
	}
	out := words[0]
	for _, w := range words[1:] {
		out += ", " + w
	}
	return out
}
