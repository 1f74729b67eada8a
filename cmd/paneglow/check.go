package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/panel"
	"paneglow/render/play"
	"paneglow/render/safety"
	"paneglow/render/table"
)

// The JSON of `check --json`. Currents are milliamperes at the supply, idle
// included, rounded up.
type checkReport struct {
	Show       string            `json:"show"`
	Machine    string            `json:"machine"`
	Pixels     int               `json:"pixels"`
	Clips      []checkClip       `json:"clips"`
	States     []checkState      `json:"states"`
	Controller *checkController  `json:"controller,omitempty"`
	Panel      *checkPanel       `json:"panel,omitempty"`
	Refreshes  int               `json:"refreshes_checked"`
	Fullest    float64           `json:"fullest_share"` // of its budget that the fullest refresh draws
	FullestAt  string            `json:"fullest_at"`
	Findings   []finding.Finding `json:"findings"`
}

type checkClip struct {
	Name    string  `json:"name"`
	Frames  int     `json:"frames"`
	FPS     int     `json:"fps"`
	Wanted  int64   `json:"wanted_mA"`
	Peak    int64   `json:"peak_mA"`
	Gain    float64 `json:"gain_min"`
	Mean    float64 `json:"gain_mean"`
	Bytes   int     `json:"bytes"`
	Kind    string  `json:"kind"`
	Flashes int     `json:"flashes_per_s"`
	// Caps is what each cap policy would leave of the light, slew aside.
	Caps map[string]checkLight `json:"caps,omitempty"`
}

// checkLight is a share of a clip's light: on average over its frames, and of
// the frame that loses most.
type checkLight struct {
	Mean  float64 `json:"mean"`
	Least float64 `json:"least"`
}

type checkState struct {
	Name   string `json:"name"`
	Clip   string `json:"clip"`
	Budget int64  `json:"budget_mA"`
	Peak   int64  `json:"peak_mA"`
	// Lowest is the voltage of the pixel that lacks most, in the state and on the
	// way into it.
	Lowest float64 `json:"lowest_V,omitempty"`
	// Supplies are all of them where there are several; budget_mA and peak_mA are
	// of the first then.
	Supplies []checkSupply `json:"supplies,omitempty"`
}

type checkSupply struct {
	Name   string `json:"name"`
	Budget int64  `json:"budget_mA"`
	Peak   int64  `json:"peak_mA"`
}

type checkController struct {
	Flash int     `json:"flash_bytes"` // of the table
	Frame int64   `json:"frame_us"`    // one refresh on the wire, latch included
	Grant float64 `json:"grant_ms"`    // worst wait from a load's question to its grant
}

type checkPanel struct {
	Ripple []checkRipple `json:"ripple"`
}

// checkRipple is how strongly a strip's LEDs show through the glass:
// (max-min)/(max+min) along it with all lit alike.
type checkRipple struct {
	Strip     string  `json:"strip"`
	Michelson float64 `json:"michelson"`
}

// milli is microamperes as milliamperes, rounded up.
func milli(ua int64) int64 {
	if ua >= 0 {
		return (ua + 999) / 1000
	}
	return ua / 1000
}

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
			p.compare = true
			a.work(p, pack.pack)
			r := p.examine()
			if asJSON {
				if err := writeJSON(a.out, r); err != nil {
					return err
				}
			} else {
				p.print(a.out, r)
			}
			a.tell(p.found)
			return a.verdict(p.found)
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
	for _, c := range p.clips {
		total += c.Frames()
	}
	bar := a.progress("rendering", total)
	p.finish(workers(), bar.add)
	bar.done()
	p.pack(how, workers())
}

// examine plays the table, counts flashes, and fills the report as far as the
// project came.
func (p *project) examine() *checkReport {
	r := &checkReport{Clips: []checkClip{}, States: []checkState{}}
	if p.show != nil {
		r.Show = p.show.File
	}
	if p.machine != nil {
		r.Machine = p.machine.File
	}
	if p.hw != nil {
		r.Pixels = len(p.hw.Layout.Pixels)
	}
	if p.table != nil && p.found.Err() == nil {
		p.wire()
		pr, laps := p.prove()
		lowest := p.measureWires(laps)
		r.Refreshes, r.Fullest, r.FullestAt = pr.refreshes, pr.closest, pr.where
		flashes := p.flashes(laps)
		for i, c := range p.codes {
			_, wanted := c.WantedPeak()
			_, peak := c.Peak()
			left := c.Light()
			x := checkClip{
				Name: p.clips[i].Name, Frames: c.Frames, FPS: p.show.FPS, Wanted: milli(wanted), Peak: milli(peak),
				Gain: left.Least, Mean: left.Mean, Bytes: p.report.Clips[i].Bytes, Kind: p.report.Clips[i].Kind.String(), Flashes: flashes[i],
			}
			if p.compare {
				x.Caps = map[string]checkLight{}
				for k, word := range capWords {
					x.Caps[word] = checkLight(c.Costs[k])
				}
			}
			r.Clips = append(r.Clips, x)
		}
		for i := range p.table.States {
			r.States = append(r.States, p.checkState(i, laps[i], lowest[i]))
		}
		r.Controller = p.controller()
		r.Panel = p.glass()
	}
	r.Findings = p.found
	if r.Findings == nil {
		r.Findings = []finding.Finding{}
	}
	return r
}

// capWords are the cap policies, as in the file, by show.Cap.
var capWords = [...]string{"show", "clip", "moment"}

// checkState is one state's budget and what its lap draws, supply by supply.
func (p *project) checkState(i int, lap *latched, lowest float64) checkState {
	s := &p.table.States[i]
	out := checkState{Name: s.Name, Clip: p.table.Clips[s.Clip].Name, Lowest: lowest}
	for k, supply := range p.table.Supplies() {
		var peak int64
		if lap != nil {
			for _, codes := range lap.frames {
				peak = max(peak, p.table.Meter().Of(k).Current(codes))
			}
		}
		if k == 0 {
			out.Budget, out.Peak = milli(s.Limit(0)), milli(peak)
			supply.Name = p.machine.Supply.Name
		}
		if len(p.table.Further) > 0 {
			out.Supplies = append(out.Supplies, checkSupply{supply.Name, milli(s.Limit(k)), milli(peak)})
		}
	}
	return out
}

// controller compares the table with the controller's memory and time.
func (p *project) controller() *checkController {
	c := &p.machine.Controller
	out := &checkController{Flash: len(p.bytes), Frame: play.WireTime(p.table), Grant: float64(play.GrantWorst(p.table, play.Options{})) / 1000}
	if room := int64(c.Flash) - int64(c.MachineFlash); c.Flash > 0 && int64(len(p.bytes)) > room {
		p.add(finding.Error, "controller.flash", c.Pos.String(), "shorten a clip, lower fps, or try --pack best",
			"the table takes %d bytes; flash %v less machine_flash %v leaves %d", len(p.bytes), c.Flash, c.MachineFlash, room)
	}
	if period := int64(1_000_000 / p.show.FPS); out.Frame > period {
		p.add(finding.Error, "controller.frame_time", p.show.File, fmt.Sprintf("lower fps to %d, or share the strips between several data lines", 1_000_000/out.Frame),
			"one refresh takes %d us on the wire, over the %d us of a frame at %d fps", out.Frame, period, p.show.FPS)
	}
	return out
}

// glass measures the panel through its pane.
func (p *project) glass() *checkPanel {
	g, err := panel.New(p.machine, p.hw.Layout)
	if err != nil {
		p.take(err, p.machine.Panel.Pos.String())
		return nil
	}
	m := g.Metrics(p.machine.Panel.Room, nil)
	p.found = append(p.found, g.Findings(p.machine, m)...)
	out := &checkPanel{Ripple: []checkRipple{}}
	for _, s := range m.Strips {
		out.Ripple = append(out.Ripple, checkRipple{s.Name, s.LEDs.Michelson})
	}
	return out
}

// flashes counts every clip in a loop and every change of state, tells what is
// over the limit, and gives the worst count by clip.
func (p *project) flashes(laps map[int]*latched) []int {
	out := make([]int, len(p.clips))
	eye, err := safety.NewEye(p.machine, p.hw.Layout)
	if err != nil {
		p.take(err, p.machine.File)
		return out
	}
	fps := p.show.FPS
	tracks := make([]*safety.Track, len(p.clips))
	for i := range p.clips {
		frames := func(f int) []uint8 { return p.codes[i].Frame(f) }
		n := p.codes[i].Frames
		if s := stateOf(p.table, i); s >= 0 && laps[s] != nil {
			l := laps[s]
			n, frames = len(l.frames), func(f int) []uint8 { return l.frames[f] }
		}
		tracks[i] = eye.Track(n, frames)
		var worst safety.Result
		most := -1
		for _, r := range tracks[i].Loop(fps) {
			if w, _, _ := r.Worst(); w > most {
				most, worst = w, r
			}
		}
		out[i] = max(most, 0)
		if n, at, kind := worst.Worst(); n > safety.Limit {
			at %= p.codes[i].Frames
			p.add(finding.Warning, "safety.flashes", fmt.Sprintf("clip %q, frame %d", p.clips[i].Name, at),
				"slow it down, or keep its changes below a tenth of full light",
				"%d %s flashes within a second on %s; more than %d can cause seizures (WCAG 2.3.1)", n, kind, worst.Region, safety.Limit)
		}
	}
	p.joints(tracks, out)
	return out
}

// joints looks at every change of state whose two clips keep the limit by
// themselves.
func (p *project) joints(tracks []*safety.Track, alone []int) {
	fps := p.show.FPS
	seen := map[[3]int]bool{}
	for a := range p.table.States {
		for b := range p.table.States {
			from, to := p.table.States[a].Clip, p.table.States[b].Clip
			fade := 0
			if p.table.States[b].HandOver == show.Crossfade {
				fade = int(p.table.States[b].Fade) * fps / 1000
			}
			key := [3]int{from, to, fade}
			if from == to || seen[key] || max(alone[from], alone[to]) > safety.Limit {
				continue
			}
			seen[key] = true
			for _, r := range safety.Joint(tracks[from], tracks[to], fps, fade) {
				if n, at, kind := r.Worst(); n > safety.Limit {
					p.add(finding.Warning, "safety.flashes", fmt.Sprintf("from state %q, frame %d, to state %q", p.table.States[a].Name, at, p.table.States[b].Name),
						"hand over by a longer crossfade, or calm the start of the second clip",
						"%d %s flashes within a second on %s where the two meet; more than %d can cause seizures (WCAG 2.3.1)", n, kind, r.Region, safety.Limit)
					break
				}
			}
		}
	}
}

// print is the report for people.
func (p *project) print(w io.Writer, r *checkReport) {
	if len(r.Clips) == 0 {
		return
	}
	p.printClips(w, r)
	printStates(w, r)
	if p.compare {
		p.printCaps(w, r)
	}
	p.printTotals(w, r)
}

func (p *project) printClips(w io.Writer, r *checkReport) {
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "clip\tlength\twants\tdraws\tlight\ttable\tflashes/s\t")
	for _, c := range r.Clips {
		length := unit.Time(int64(c.Frames) * 1_000_000_000 / int64(c.FPS)).String()
		if c.Frames == 256 && p.show.Clip(c.Name) != nil && p.show.Clip(c.Name).Follow != "" {
			length = "256 values"
		}
		fmt.Fprintf(t, "%s\t%s\t%d mA\t%d mA\t%.1f %%\t%d B\t%d\t\n", c.Name, length, c.Wanted, c.Peak, 100*c.Mean, c.Bytes, c.Flashes)
	}
	t.Flush()
}

func printStates(w io.Writer, r *checkReport) {
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
		for i, x := range s.Supplies {
			name, clip, low := s.Name, s.Clip, lowVolts(s.Lowest)
			if i > 0 {
				name, clip, low = "", "", ""
			}
			fmt.Fprintf(t, "%s\t%s\t%s\t%d mA\t%d mA\t%d %%\t%s\t\n", name, clip, x.Name, x.Budget, x.Peak, 100*x.Peak/max(x.Budget, 1), low)
		}
	}
	t.Flush()
}

// printCaps shows what each cap policy would leave of the light, where one of
// them takes some.
func (p *project) printCaps(w io.Writer, r *checkReport) {
	bites := false
	for _, c := range r.Clips {
		bites = bites || c.Caps["show"].Least < 1
	}
	if !bites {
		return
	}
	fmt.Fprintf(w, "\nlight that each cap would leave, mean / least; this show says cap = %q\n", capWords[p.show.Cap])
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "clip\tshow\tclip\tmoment\t")
	for _, c := range r.Clips {
		fmt.Fprintf(t, "%s\t", c.Name)
		for _, word := range capWords {
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

func (p *project) printTotals(w io.Writer, r *checkReport) {
	if c := r.Controller; c != nil {
		fmt.Fprintf(w, "\n%d pixels; table of %d bytes; a refresh takes %.2f ms on the wire; a load waits at most %.1f ms for its grant\n", r.Pixels, c.Flash, float64(c.Frame)/1000, c.Grant)
	}
	fmt.Fprintf(w, "%d refreshes played and counted, all within their budget; the fullest draws %.1f %% of it (%s)\n", r.Refreshes, 100*r.Fullest, r.FullestAt)
}
