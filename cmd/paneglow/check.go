package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"paneglow/anim/unit"
	"paneglow/render/prove"
	"paneglow/render/table"
)

func (a *app) checkCommand() *cobra.Command {
	var machine string
	var asJSON bool
	pack := packFlag{}
	c := &cobra.Command{
		Use:   "check SHOW",
		Short: "tell what is wrong, what the show draws and what it weighs",
		Long: `Check reads a show (a file, or a folder that holds show.toml), renders every
clip, packs the table, plays every state and every change of state as the
controller will, and tells everything that was found.`,
		Example: "  paneglow new my-panel && paneglow check my-panel",
		Args:    argument("a show"),
		RunE: func(cmd *cobra.Command, args []string) error {
			p := open(args[0], machine)
			p.Compare = true
			a.work(p, pack.pack)
			r := p.Examine()
			if asJSON {
				if err := writeJSON(a.out, r); err != nil {
					return err
				}
			} else {
				p.print(a.out, r)
			}
			a.tell(p.Found)
			return a.verdict(p.Found)
		},
	}
	c.Flags().StringVar(&machine, "machine", "", "check against another machine file")
	c.Flags().BoolVar(&asJSON, "json", false, "print the result as JSON")
	c.Flags().Var(&pack, "pack", "how hard to look for a small table: quick or best")
	return c
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// packFlag is --pack.
type packFlag struct{ pack table.Pack }

func (f *packFlag) String() string {
	if f.pack == table.Best {
		return "best"
	}
	return "quick"
}

func (f *packFlag) Set(s string) error {
	switch s {
	case "quick":
		f.pack = table.Quick
	case "best":
		f.pack = table.Best
	default:
		return fmt.Errorf("%q is neither quick nor best", s)
	}
	return nil
}

func (f *packFlag) Type() string { return "quick|best" }

// work renders and packs, with a progress bar where it takes long.
func (a *app) work(p *project, how table.Pack) {
	total := 0
	for _, c := range p.Clips {
		total += c.Frames()
	}
	bar := a.progress("rendering", total)
	p.Finish(prove.Workers(), bar.add)
	bar.done()
	bar = a.progress("packing", total)
	p.Packing = bar.add
	p.Pack(how, prove.Workers())
	bar.done()
}

// print is the report for people.
func (p *project) print(w io.Writer, r *prove.Report) {
	if len(r.Clips) == 0 {
		return
	}
	p.printClips(w, r)
	p.printStates(w, r)
	if p.Compare {
		p.printCaps(w, r)
	}
	p.printTotals(w, r)
}

func (p *project) printClips(w io.Writer, r *prove.Report) {
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "clip\tlength\twants\tdraws\tlight\ttable\tflashes/s\t")
	for _, c := range r.Clips {
		length := unit.Time(int64(c.Frames) * 1_000_000_000 / int64(c.FPS)).String()
		if c.Frames == 256 && p.Show.Clip(c.Name) != nil && p.Show.Clip(c.Name).Follow != "" {
			length = "256 values"
		}
		fmt.Fprintf(t, "%s\t%s\t%d mA\t%d mA\t%.1f %%\t%d B\t%d\t\n", c.Name, length, c.Wanted, c.Peak, 100*c.Mean, c.Bytes, c.Flashes)
	}
	t.Flush()
}

func (p *project) printStates(w io.Writer, r *prove.Report) {
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', tabwriter.AlignRight)
	several := len(r.States) > 0 && len(r.States[0].Supplies) > 0
	if several {
		fmt.Fprintln(t, "state\tshows\tsupply\tbudget\tdraws\tof it\tlowest pixel\t")
	} else {
		fmt.Fprintln(t, "state\tshows\tbudget\tdraws\tof it\tlowest pixel\t")
	}
	for _, s := range r.States {
		if !several {
			fmt.Fprintf(t, "%s\t%s\t%d mA\t%d mA\t%d %%\t%s\t\n", s.Name, s.Clip, s.Budget, s.Peak, 100*s.Peak/max(s.Budget, 1), lowVolts(s.Lowest))
			continue
		}
		name, clip, low := s.Name, s.Clip, lowVolts(s.Lowest)
		for k, x := range s.Supplies {
			if p.On.Meter.Of(k).Pixels() == 0 {
				continue // it feeds no light
			}
			fmt.Fprintf(t, "%s\t%s\t%s\t%d mA\t%d mA\t%d %%\t%s\t\n", name, clip, x.Name, x.Budget, x.Peak, 100*x.Peak/max(x.Budget, 1), low)
			name, clip, low = "", "", ""
		}
	}
	t.Flush()
}

// printCaps shows what each cap policy would leave of the light, where one of
// them takes some.
func (p *project) printCaps(w io.Writer, r *prove.Report) {
	bites := false
	for _, c := range r.Clips {
		bites = bites || c.Caps["show"].Least < 1
	}
	if !bites {
		return
	}
	fmt.Fprintf(w, "\nlight that each cap would leave, mean / least; this show says cap = %q\n", prove.CapWords[p.Show.Cap])
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "clip\tshow\tclip\tmoment\t")
	for _, c := range r.Clips {
		fmt.Fprintf(t, "%s\t", c.Name)
		for _, word := range prove.CapWords {
			fmt.Fprintf(t, "%.1f / %.1f %%\t", 100*c.Caps[word].Mean, 100*c.Caps[word].Least)
		}
		fmt.Fprintln(t)
	}
	t.Flush()
}

// lowVolts prints a lowest voltage, rounded down; "-" where there is none.
func lowVolts(v float64) string {
	if v == 0 {
		return "-"
	}
	return fmt.Sprintf("%.2f V", math.Floor(v*100+1e-6)/100)
}

func (p *project) printTotals(w io.Writer, r *prove.Report) {
	if c := r.Controller; c != nil {
		fmt.Fprintf(w, "\n%d pixels; table of %d bytes; a refresh takes %.2f ms on the wire; a load waits at most %.1f ms for its grant\n", r.Pixels, c.Flash, float64(c.Frame)/1000, c.Grant)
	}
	fmt.Fprintf(w, "%d refreshes played and counted, all within their budget; the fullest draws %.1f %% of it (%s)\n", r.Refreshes, 100*r.Fullest, r.FullestAt)
}
