package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"paneglow/anim/finding"
	"paneglow/render/power/wiring"
	"paneglow/render/prove"
	"paneglow/render/table"
)

// The JSON of `advise power --json`.
type powerReport struct {
	Show     string            `json:"show"`
	Machine  string            `json:"machine"`
	Lowest   powerLow          `json:"lowest"`
	Feeds    []powerFeed       `json:"feeds"`
	Hops     []powerHop        `json:"hops"`
	Loss     float64           `json:"loss_W"` // the most in copper and the supply's output
	More     *powerWay         `json:"more_feeds,omitempty"`
	Thicker  *powerWay         `json:"thicker_wire,omitempty"`
	Anew     *powerWay         `json:"feeds_anew,omitempty"`
	Findings []finding.Finding `json:"findings"`
}

type powerLow struct {
	Pixel string  `json:"pixel"`
	Volts float64 `json:"volts_V"`
	Least float64 `json:"least_V"`
	Where string  `json:"where"`
}

type powerFeed struct {
	At      string  `json:"at"`
	Wire    string  `json:"wire"`
	Amps    float64 `json:"amps_A"` // the most of any refresh
	Where   string  `json:"where"`
	Drop    float64 `json:"drop_V"` // in both its wires and their connections then
	Fuse    float64 `json:"fuse_A"`
	Advised float64 `json:"advised_fuse_A"` // 0: none protects
	Carries float64 `json:"copper_carries_A"`
	Short   float64 `json:"short_A"`
	ShortAt string  `json:"short_at"`
	Without float64 `json:"lowest_without_V"` // when its fuse is open; 0: pixels go dark
}

type powerHop struct {
	From  string  `json:"from"`
	To    string  `json:"to"`
	Shift float64 `json:"shift_V"`
	Where string  `json:"where"`
}

type powerWay struct {
	Feeds  []string `json:"feeds,omitempty"`
	Wires  []string `json:"wires,omitempty"`
	Volts  float64  `json:"lowest_V"`
	Enough bool     `json:"enough"`
}

func (a *app) advisePowerCommand() *cobra.Command {
	var machine string
	var asJSON bool
	c := &cobra.Command{
		Use:   "power SHOW",
		Short: "voltages, feeds, wires and fuses",
		Long: `Advise power solves the voltages of every refresh that check plays, for feeds,
wires, connections and rails as the machine file has them. It tells the lowest
pixel, what each feed carries and loses, which fuse suits it, and the fewest feeds
or the next wire size that keep every pixel above its part's least volts.`,
		Example: "  paneglow new my-panel && paneglow advise power my-panel",
		Args:    argument("a show"),
		RunE: func(cmd *cobra.Command, args []string) error {
			p := open(args[0], machine)
			a.work(p, table.Quick)
			p.Examine()
			if err := a.verdict(p.Found); err != nil || p.Copper == nil {
				a.tell(p.Found)
				return err
			}
			return a.advisePower(p, asJSON)
		},
	}
	c.Flags().StringVar(&machine, "machine", "", "advise for another machine file")
	c.Flags().BoolVar(&asJSON, "json", false, "print the result as JSON")
	return c
}

func (a *app) advisePower(p *project, asJSON bool) error {
	c := p.Copper
	advice := c.Advice
	if advice == nil {
		var err error
		if advice, err = c.Panel.Advise(c.Laps); err != nil {
			return err
		}
	}
	r, err := powerReportOf(c, p, advice)
	if err != nil {
		return err
	}
	r.Findings = append(r.Findings, c.Panel.Findings(c.Seen, c.Protect, advice)...)
	if asJSON {
		return writeJSON(a.out, r)
	}
	printPower(a.out, p, r, advice)
	a.tell(r.Findings)
	return nil
}

func powerReportOf(c *prove.Copper, p *project, advice *wiring.Advice) (*powerReport, error) {
	r := &powerReport{Show: p.Show.File, Machine: p.Machine.File, Findings: []finding.Finding{}}
	worst := &c.Seen[wiring.Worst(c.Seen)]
	r.Lowest = powerLow{c.Panel.Name(worst.At), volts(worst.Low.Volts), worst.Low.Least, worst.Lowest()}
	for i := range p.Machine.Feeds {
		f, q := &p.Machine.Feeds[i], &c.Protect[i]
		at, amps := peakOf(c, func(s *wiring.Seen) wiring.Peak { return s.Feeds[i] })
		pair := c.Panel.Circuit.Plan().Feeds[i].Wire
		low, ok, err := c.Panel.Without(i, c.Laps)
		if err != nil {
			return nil, err
		}
		x := powerFeed{
			At: fmt.Sprintf("%s %d", f.Strip, f.Pixel), Wire: fmt.Sprintf("%s, %s", f.Wire, f.Length), Amps: up(amps, 1000), Where: at,
			Drop: up(amps*(pair.Plus+pair.Minus), 1000), Fuse: q.Fuse, Advised: q.Advised, Carries: q.Carries, Short: up(q.Short, 10), ShortAt: c.Panel.Name(q.Far),
		}
		if ok {
			x.Without = volts(low.Volts)
		}
		r.Feeds = append(r.Feeds, x)
	}
	for i, h := range c.Panel.Hops {
		at, v := peakOf(c, func(s *wiring.Seen) wiring.Peak { return s.Hops[i] })
		r.Hops = append(r.Hops, powerHop{c.Panel.Name(h.From), c.Panel.Name(h.To), up(v, 1000), at})
	}
	_, r.Loss = peakOf(c, func(s *wiring.Seen) wiring.Peak { return s.Loss })
	r.Loss = up(r.Loss, 100)
	if len(advice.More.Feeds) > 0 {
		r.More = wayOf(c, &advice.More)
	}
	if len(advice.Thicker.Wires) > 0 {
		r.Thicker = wayOf(c, &advice.Thicker)
	}
	if len(advice.Anew.Feeds) > 0 {
		r.Anew = wayOf(c, &advice.Anew)
	}
	return r, nil
}

func wayOf(c *prove.Copper, w *wiring.Way) *powerWay {
	out := &powerWay{Volts: volts(w.Low.Volts), Enough: w.Enough()}
	for _, at := range w.Feeds {
		out.Feeds = append(out.Feeds, c.Panel.Name(at))
	}
	for _, x := range w.Wires {
		out.Wires = append(out.Wires, x.String())
	}
	return out
}

// peak is the largest of a value over all surveys, and where it is.
func peakOf(c *prove.Copper, of func(*wiring.Seen) wiring.Peak) (where string, most float64) {
	at := -1
	for i := range c.Seen {
		if v := of(&c.Seen[i]).Value; at < 0 || v > most {
			at, most = i, v
		}
	}
	return c.Seen[at].Moment(of(&c.Seen[at]).Frame), most
}

// volts is a lowest voltage, rounded down to millivolts.
func volts(v float64) float64 { return math.Floor(v*1000) / 1000 }

// up rounds up to a part of one.
func up(v, parts float64) float64 { return math.Ceil(v*parts-1e-6) / parts }

func printPower(w io.Writer, p *project, r *powerReport, advice *wiring.Advice) {
	m := p.Machine
	for _, s := range m.Supplies() {
		fmt.Fprintf(w, "supply %s, %s; ", strings.TrimSpace(s.Name+" "+s.Volts.String()), s.Amps)
	}
	fmt.Fprintf(w, "copper at %s\n\n", m.Wiring.Temperature)
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(t, "feed\twire\tcarries up to\tloses\tfuse\tadvised\tcopper takes\tfar short\twith its fuse open")
	for _, f := range r.Feeds {
		advised, without := fmt.Sprintf("%g A", f.Advised), lowVolts(f.Without)
		if f.Advised == 0 {
			advised = "none"
		}
		if f.Without == 0 {
			without = "dark"
		}
		fmt.Fprintf(t, "%s\t%s\t%.2f A\t%.2f V\t%g A\t%s\t%.1f A\t%.0f A at %s\t%s\n", f.At, f.Wire, f.Amps, f.Drop, f.Fuse, advised, f.Carries, math.Floor(f.Short), f.ShortAt, without)
	}
	t.Flush()
	fmt.Fprintln(w)
	t = tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(t, "data from\tto\tgrounds differ by")
	for _, h := range r.Hops {
		fmt.Fprintf(t, "%s\t%s\t%.0f mV\n", h.From, h.To, 1000*h.Shift)
	}
	t.Flush()
	fmt.Fprintf(w, "\nlowest pixel: %s has %s and needs %g V (%s)\n", r.Lowest.Pixel, lowVolts(r.Lowest.Volts), r.Lowest.Least, r.Lowest.Where)
	fmt.Fprintf(w, "heat in rails, wires, connections and the supply's output: at most %.2f W\n\n", r.Loss)
	printWays(w, r, advice)
	fmt.Fprint(w, powerAssumed)
	fmt.Fprint(w, cautions)
}

func printWays(w io.Writer, r *powerReport, advice *wiring.Advice) {
	low := func(v float64) string { return lowVolts(v) + " at the lowest pixel" }
	switch {
	case advice.Now.Enough():
		fmt.Fprintln(w, "the feeds that are there are enough")
	case r.More != nil && r.More.Enough:
		fmt.Fprintf(w, "enough: feed %s too: %s\n", and(r.More.Feeds), low(r.More.Volts))
		if advice.Greedy {
			fmt.Fprintln(w, "        (found by adding one feed at a time: fewer may do)")
		}
	default:
		fmt.Fprintln(w, "not enough: no number of feeds that was tried")
	}
	if x := r.Thicker; x != nil && x.Enough {
		fmt.Fprintf(w, "enough: %s at the feeds: %s\n", and(x.Wires), low(x.Volts))
	} else if x != nil {
		fmt.Fprintf(w, "not enough: %s at the feeds: %s\n", and(x.Wires), low(x.Volts))
	}
	if r.Anew != nil {
		fmt.Fprintf(w, "placed anew %s would do: %s: %s\n", count(len(r.Anew.Feeds), "feed"), and(r.Anew.Feeds), low(r.Anew.Volts))
	}
	if r.More != nil || r.Anew != nil {
		fmt.Fprintf(w, "new feeds were taken to be %s of %s\n", advice.Length, advice.Wire)
	}
}

func count(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// and joins words, each once.
func and(words []string) string {
	var once []string
	for _, s := range words {
		if len(once) == 0 || once[len(once)-1] != s {
			once = append(once, s)
		}
	}
	if len(once) < 2 {
		return strings.Join(once, "")
	}
	return strings.Join(once[:len(once)-1], ", ") + " and " + once[len(once)-1]
}

const powerAssumed = `
assumed: currents at the upper end of their spread, as for the budget; all loads of a
state running and the largest of them starting; rails shared evenly by plus and minus;
the controller's ground at the supply's minus; fuses and their holders add no more
than the connections. "Copper takes" is common practice (6 A per mm2 of short wire in
air; rails by the chart of IPC-2221), and so is a short of twice the fuse.
`

// cautions stand wherever fuses, wires or currents are advised.
const cautions = `
caution: local codes and licensed practice decide, not this program. Every feed has a
fuse of its own at the supply's end. A licensed person takes out mains parts: an old
ballast keeps its charge after switching off, and the earth strap is refitted and
tested. Fluorescent lamps go to recycling.
`
