package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/render/power"
	"paneglow/render/power/ammeter"
)

const fitCurrentExample = `  paneglow new my-panel && paneglow fit current my-panel/machine.toml --part strip12 --pixels 28 --reading "dark 28 mA" --reading "red 346 mA" --reading "green 338 mA" --reading "blue 351 mA" --reading "white 975 mA" --reading "half white 502 mA" --write`

type fitCurrentFlags struct {
	part, law string
	pixels    int
	readings  []string
	write     bool
	asJSON    bool
}

// The JSON of `fit current --json`. Currents of the strip in microamperes,
// currents per pixel in microamperes with fractions, shares of 1.
type fitReport struct {
	Machine  string            `json:"machine"`
	Part     string            `json:"part"`
	Pixels   int               `json:"pixels"`
	Readings []fitReading      `json:"readings"`
	Laws     []fitLaw          `json:"laws"`
	Best     string            `json:"best"` // "" when undecided
	Lines    []string          `json:"lines,omitempty"`
	Raised   float64           `json:"raised"` // share by which the light was raised to cover every reading
	Written  bool              `json:"written"`
	Findings []finding.Finding `json:"findings"`
}

type fitReading struct {
	Name  string `json:"name"`
	Code  int    `json:"code"`
	Reads int64  `json:"reads_uA"`
	Volts int64  `json:"volts_uV,omitempty"`
}

type fitLaw struct {
	Law     string             `json:"law"`
	Fits    bool               `json:"fits"`
	Checks  int                `json:"checks"` // readings beyond those that its currents take
	Worst   float64            `json:"worst"`  // largest miss in units of what a meter may be off
	Off     float64            `json:"off"`    // largest miss as a share of the reading's light
	Says    []int64            `json:"says_uA,omitempty"`
	Current map[string]float64 `json:"current_uA,omitempty"` // per pixel
	Open    map[string]float64 `json:"open_uA,omitempty"`    // how far each may be off
}

func (a *app) fitCurrentCommand() *cobra.Command {
	var f fitCurrentFlags
	c := &cobra.Command{
		Use:   "current MACHINE",
		Short: "find a part's current law and currents from ammeter readings",
		Long: `Fit current finds from 3 to 6 ammeter readings (12 at most) how a kind of strip
draws its current. Put the ammeter into the plus lead of a strip whose pixels you
counted (a short piece, fed well), let every pixel show the same, and read:

  dark         black on every pixel
  red          code 255 on red alone; green and blue alike
  white        code 255 on red, green and blue
  half white   code 128 of 255 on red, green and blue: on the wire, not in the design

With a white die: "white" is that die alone, "rgb" the other three, "all" all
four. Any other code is "blue at 64 310 mA". Volts at the strip may stand behind
the amperes: "red 1.21 A 11.9 V".

Each law (sum, largest, ceiling) is tried, idle taken off first. The part in the
machine file is only changed with --write, and only when one law holds, or is
named with --law and fits.`,
		Example: fitCurrentExample,
		Args:    argument("a machine file"),
		RunE:    func(cmd *cobra.Command, args []string) error { return a.fitCurrent(args[0], &f) },
	}
	fl := c.Flags()
	fl.StringVar(&f.part, "part", "", "the part that was measured")
	fl.IntVar(&f.pixels, "pixels", 0, "how many pixels (addresses) were lit")
	fl.StringArrayVar(&f.readings, "reading", nil, `one reading, such as "half white 1.83 A 11.9 V"; give one for each`)
	fl.StringVar(&f.law, "law", "", "take this law: sum, largest or ceiling (default: the one that the readings show)")
	fl.BoolVar(&f.write, "write", false, "write the currents into the machine file, in place")
	fl.BoolVar(&f.asJSON, "json", false, "print the result as JSON")
	return c
}

func (a *app) fitCurrent(file string, f *fitCurrentFlags) error {
	switch {
	case f.part == "":
		return usageError{fmt.Errorf("which part was measured? --part NAME")}
	case f.pixels < 1:
		return usageError{fmt.Errorf("how many pixels were lit? --pixels N, counting addresses, not LEDs")}
	case f.law != "" && f.law != "sum" && f.law != "largest" && f.law != "ceiling":
		return usageError{fmt.Errorf("--law: %q is none of sum, largest, ceiling", f.law)}
	}
	m, found := show.LoadMachine(file)
	if found.Err() != nil {
		a.tell(found)
		return a.verdict(found)
	}
	part := m.Part(f.part)
	if part == nil {
		return fmt.Errorf("%s has no part %q: it has %s", file, f.part, list(m.Parts, func(i int) string { return m.Parts[i].Name }))
	}
	var readings []ammeter.Reading
	for _, text := range f.readings {
		r, err := ammeter.Parse(text, part.Dies())
		if err != nil {
			return usageError{fmt.Errorf("--reading %w", err)}
		}
		readings = append(readings, r)
	}
	strip := ammeter.Strip{Dies: part.Dies(), Pixels: f.pixels, LEDsPerPixel: part.LEDsPerPixel}
	if bad := ammeter.Check(strip, readings); bad.Err() != nil {
		a.tell(bad)
		return a.verdict(bad)
	}
	laws := ammeter.Fit(strip, readings)
	best, told := ammeter.Decide(strip, readings, laws, part.Least)
	if f.law != "" {
		best = int(map[string]show.Law{"sum": show.Sum, "largest": show.Largest, "ceiling": show.Ceiling}[f.law])
	}
	r := fitReport{Machine: file, Part: part.Name, Pixels: f.pixels, Findings: told}
	r.gather(strip, readings, laws)
	var c show.Currents
	if best != ammeter.None && laws[best].Valid {
		got := ammeter.Round(strip, readings, &laws[best])
		c = show.Currents{Law: got.Law, Idle: got.Idle, Channel: got.Channel, Ceiling: got.Ceiling}
		r.Best, r.Raised, r.Lines = got.Law.String(), got.Raised, fitLines(part, c)
	}
	var refused error
	if f.write {
		if refused = mayFit(f, best, laws); refused == nil {
			if refused = writeCurrents(file, m.Source, part.Name, c); refused == nil {
				r.Written = true
			}
		}
	}
	if f.asJSON {
		if err := writeJSON(a.out, &r); err != nil {
			return err
		}
	} else {
		r.print(a.out, strip, laws)
	}
	a.tell(told)
	if refused != nil {
		return refused
	}
	return a.verdict(told)
}

// mayFit refuses to write what the readings do not carry.
func mayFit(f *fitCurrentFlags, best int, laws [3]ammeter.Law) error {
	switch {
	case best == ammeter.None:
		return fmt.Errorf("nothing was written: the readings show no law for certain; take the reading that is asked for, or name one with --law")
	case !laws[best].Valid:
		return fmt.Errorf("nothing was written: the readings do not determine the currents of law %s", f.law)
	case !laws[best].Fits():
		return fmt.Errorf("nothing was written: law %s is off by %.0f times what a meter may be", show.Law(best), laws[best].Worst)
	}
	return nil
}

// writeCurrents changes the file only if it still holds the bytes that were
// read: an edit meanwhile is not lost.
func writeCurrents(file string, src []byte, part string, c show.Currents) error {
	now, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	if !slices.Equal(now, src) {
		return fmt.Errorf("%s was changed meanwhile: nothing was written, run the command again", file)
	}
	out, err := show.SetCurrents(file, src, part, c)
	if err != nil {
		return err
	}
	return writeBytes(file, out)
}

// fitLines are the part's lines as they stand in the file afterwards.
func fitLines(p *show.Part, c show.Currents) []string {
	spread := ""
	if p.Spread > 0 {
		spread = show.Quote(p.Spread.String())
	}
	law, current, fitted := c.TOML(p.Dies(), spread)
	return []string{"law = " + law, "current = " + current, "fitted = " + fitted}
}

var currentNames = [6]string{"idle", "red", "green", "blue", "white", "ceiling"}

// perPixel is a law's currents by name: white with a white die only, the
// ceiling (of the whole pixel) under its law only.
func perPixel(s ammeter.Strip, l *ammeter.Law) (names []string, ua, open map[string]float64) {
	ua, open = map[string]float64{}, map[string]float64{}
	for i, v := range [6]float64{l.Idle, l.Channel[0], l.Channel[1], l.Channel[2], l.Channel[3], l.Ceiling} {
		if i == 4 && s.Dies == 3 || i == 5 && l.Law != show.Ceiling {
			continue
		}
		names = append(names, currentNames[i])
		ua[currentNames[i]], open[currentNames[i]] = v, l.Open[i]
	}
	return names, ua, open
}

func (r *fitReport) gather(s ammeter.Strip, readings []ammeter.Reading, laws [3]ammeter.Law) {
	if r.Findings == nil {
		r.Findings = []finding.Finding{}
	}
	for _, x := range readings {
		r.Readings = append(r.Readings, fitReading{x.Name(s.Dies), x.Code, int64(x.Amps), int64(x.Volts)})
	}
	for i := range laws {
		l := &laws[i]
		out := fitLaw{Law: l.Law.String(), Fits: l.Fits(), Checks: l.Checks}
		if l.Valid {
			out.Worst, out.Off = l.Worst, l.Off
			_, out.Current, out.Open = perPixel(s, l)
			for _, ua := range l.Says {
				out.Says = append(out.Says, int64(math.Round(ua)))
			}
		}
		r.Laws = append(r.Laws, out)
	}
}

func (r *fitReport) print(w io.Writer, s ammeter.Strip, laws [3]ammeter.Law) {
	fmt.Fprintf(w, "part %s: %d pixels, %d readings; what each law says over what was read\n\n", r.Part, r.Pixels, len(r.Readings))
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "reading\tread\tsum\tlargest\tceiling\t")
	for i, x := range r.Readings {
		fmt.Fprintf(t, "%s\t%s\t", x.Name, power.Amps(x.Reads))
		for _, l := range r.Laws {
			switch {
			case l.Says == nil:
				fmt.Fprint(t, "-\t")
			case x.Reads == 0:
				fmt.Fprintf(t, "%+.0f mA\t", float64(l.Says[i])/1000)
			default:
				fmt.Fprintf(t, "%+.1f %%\t", 100*(float64(l.Says[i])/float64(x.Reads)-1))
			}
		}
		fmt.Fprintln(t)
	}
	t.Flush()
	fmt.Fprintln(w)
	t = tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	for i := range laws {
		l := &laws[i]
		if !l.Valid {
			fmt.Fprintf(t, "%s\t-\tthese readings do not determine it\n", l.Law)
			continue
		}
		verdict := "fits"
		if !l.Fits() {
			verdict = "does not fit"
		} else if l.Checks == 0 {
			verdict = "fits, but no reading checks it"
		}
		names, ua, open := perPixel(s, l)
		var words []string
		for _, n := range names {
			words = append(words, fmt.Sprintf("%s %.2f ± %.2f", n, ua[n]/1000, open[n]/1000))
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", l.Law, verdict, strings.Join(words, ", ")+" mA a pixel")
	}
	t.Flush()
	fmt.Fprintf(w, "\na law fits when no reading is off by more than %.0f %% and one unit of the last digit (common practice for hand-held meters)\n", 100*ammeter.MeterShare*ammeter.Tolerance)
	if r.Best == "" {
		fmt.Fprintln(w, "no law is certain")
		return
	}
	fmt.Fprintf(w, "\nlaw %s, rounded up", r.Best)
	if r.Raised >= 0.0005 {
		fmt.Fprintf(w, " and its light raised by %.1f %%, so that no reading counts for less than was read", 100*r.Raised)
	}
	fmt.Fprintln(w, ":")
	for _, line := range r.Lines {
		fmt.Fprintf(w, "  %s\n", line)
	}
	if r.Written {
		fmt.Fprintf(w, "written to %s, part %s\n", r.Machine, r.Part)
	}
}
