package main

import (
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/power"
	"paneglow/render/prove"
	"paneglow/render/table"
)

// The JSON of `inspect --json`.
type inspectReport struct {
	Table    string         `json:"table"`
	Title    string         `json:"title"`
	Version  int            `json:"version"`
	Bytes    int            `json:"bytes"`
	Flash    int            `json:"controller_bytes"` // without the notes, which no controller reads
	Work     int            `json:"work_bytes"`
	Panel    string         `json:"panel"` // the fingerprint of its currents and wiring, as firmware holds it
	Pixels   int            `json:"pixels"`
	Channels int            `json:"channels"`
	FPS      int            `json:"fps"`
	Clips    []inspectClip  `json:"clips"`
	States   []inspectState `json:"states"`
}

type inspectClip struct {
	Name   string `json:"name"`
	Kind   string `json:"kind"`
	Frames int    `json:"frames"`
	Bytes  int    `json:"bytes"`
	Peak   int64  `json:"peak_mA"`
	Value  bool   `json:"value"`
	Random bool   `json:"random_start"`
	Work   int    `json:"work_bytes"`
	Cycles uint32 `json:"cycles_most"` // of its costliest frame, a bound; 0: the table does not say
}

type inspectState struct {
	Name     string `json:"name"`
	Clip     string `json:"clip"`
	HandOver string `json:"hand_over"`
	Still    bool   `json:"still"`
	Stay     int64  `json:"at_most_ms"`
	Then     string `json:"then"`
	Budget   int64  `json:"budget_mA"`
}

// mostTable is the largest file that inspect reads.
const mostTable = 64 << 20

func (a *app) inspectCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:     "inspect TABLE",
		Short:   "tell what a frame table holds, and verify every byte of it",
		Long:    "Inspect reads a frame table, verifies its checksums, unpacks every frame and recounts its current.",
		Example: "  paneglow new my-panel && paneglow export my-panel -o my-panel/panel.table && paneglow inspect my-panel/panel.table",
		Args:    argument("a table"),
		RunE: func(cmd *cobra.Command, args []string) error {
			t, err := readTable(args[0])
			if err != nil {
				return err
			}
			r := inspectTable(args[0], t, len(t.Bytes()))
			if asJSON {
				return writeJSON(a.out, r)
			}
			a.printTable(r, t)
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the result as JSON")
	return c
}

func inspectTable(path string, t *table.Table, bytes int) inspectReport {
	r := inspectReport{Table: path, Title: t.Title, Version: t.Version, Bytes: bytes, Flash: t.NotesOffset, Work: t.Work(), Panel: fmt.Sprintf("%08x", t.Panel), Pixels: t.Pixels(), Channels: t.Channels(), FPS: t.FPS, Clips: []inspectClip{}, States: []inspectState{}}
	for _, c := range t.Clips {
		r.Clips = append(r.Clips, inspectClip{c.Name, c.Kind.String(), c.Frames, c.Length, prove.Milli(c.Peak), c.Value, c.Random, c.Work, c.Cycles})
	}
	for _, s := range t.States {
		x := inspectState{Name: s.Name, Clip: t.Clips[s.Clip].Name, HandOver: handOver(s), Still: s.Still, Stay: s.AtMost, Budget: prove.Milli(s.Budget)}
		if s.Then != table.None {
			x.Then = t.States[s.Then].Name
		}
		r.States = append(r.States, x)
	}
	return r
}

func handOver(s table.State) string {
	switch s.HandOver {
	case show.Crossfade:
		return fmt.Sprintf("crossfade %d ms", s.Fade)
	case show.Finish:
		return "finish"
	}
	return "cut"
}

func (a *app) printTable(r inspectReport, t *table.Table) {
	fmt.Fprintf(a.out, "%s: %q, version %d, %d bytes, %d pixels in %d strips, %d fps\n", r.Table, r.Title, r.Version, r.Bytes, r.Pixels, len(t.Strips), r.FPS)
	fmt.Fprintf(a.out, "a controller reads %d bytes of it, for panel %s\n", r.Flash, r.Panel)
	if t.Bare {
		fmt.Fprintln(a.out, "its notes were left off: there are no names, and numbers stand for them")
	}
	fmt.Fprintln(a.out)
	w := tabwriter.NewWriter(a.out, 0, 8, 2, ' ', 0)
	fmt.Fprintln(w, "clip\tkind\tframes\tbytes\tpeak")
	for _, c := range r.Clips {
		fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%d mA\n", c.Name, c.Kind, c.Frames, c.Bytes, c.Peak)
	}
	w.Flush()
	fmt.Fprintln(a.out)
	w = tabwriter.NewWriter(a.out, 0, 8, 2, ' ', 0)
	fmt.Fprintln(w, "state\tshows\tentered by\tbudget\tlongest stay\tloads")
	for i, s := range r.States {
		stay := "-"
		if s.Then != "" {
			stay = fmt.Sprintf("%.3g s, then %s", float64(s.Stay)/1000, s.Then)
		}
		var loads []string
		for k := range t.Loads {
			if t.States[i].Loads&(1<<k) != 0 {
				loads = append(loads, t.Loads[k].Name)
			}
		}
		shows := s.Clip
		if s.Still {
			shows += " (still)"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%d mA\t%s\t%s\n", s.Name, shows, s.HandOver, s.Budget, stay, strings.Join(loads, ", "))
	}
	w.Flush()
	fmt.Fprintln(a.out)
	for i, x := range t.Supplies() {
		name, slew := "the supply", ""
		if len(t.Further) > 0 {
			name = "supply " + x.Name
			if i == 0 {
				name = "the first supply"
			}
		}
		if x.Slew > 0 {
			slew = fmt.Sprintf(", and their current rises by at most %v", unit.SlewRate(x.Slew*1000))
		}
		fmt.Fprintf(a.out, "%s gives the lights at most %s for good%s\n", name, power.Amps(x.Steady), slew)
	}
	fmt.Fprintln(a.out, "every checksum and every frame's current was verified")
}
