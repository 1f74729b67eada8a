package main

import (
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/power/energy"
	"paneglow/render/table"
)

// The JSON of `advise energy --json`.
type energyReport struct {
	Show    string        `json:"show"`
	Machine string        `json:"machine"`
	Levels  []energyLevel `json:"levels"`
	States  []energyState `json:"states"`
	Mean    float64       `json:"mean_W"`
	Year    float64       `json:"kWh_a_year"`
	Cost    float64       `json:"cost_a_year,omitempty"`
	Money   string        `json:"currency,omitempty"`
	Strips  []energyStrip `json:"strips"`
	Worst   string        `json:"worst_hour_state"`
	WorstW  float64       `json:"worst_hour_W"`
	Duty    float64       `json:"most_used_die_duty"`
	Die     string        `json:"most_used_die"`
	Clock   float64       `json:"life_by_clock_years"`
	Light   float64       `json:"life_by_duty_years,omitempty"`
}

type energyLevel struct {
	Level float64 `json:"level"`
	Hours float64 `json:"hours_a_week"`
}

type energyState struct {
	Name  string  `json:"name"`
	Hours float64 `json:"hours_a_day"`
	Full  float64 `json:"full_level_W"`
	Peak  float64 `json:"greatest_frame_W"`
	Mean  float64 `json:"mean_W"`
}

type energyStrip struct {
	Name    string  `json:"name"`
	Mean    float64 `json:"mean_W_per_m"`
	Worst   float64 `json:"worst_hour_W_per_m"`
	Open    float64 `json:"rise_open_K"`
	Covered float64 `json:"rise_covered_K"`
}

type energyFlags struct {
	machine    string
	use        []string
	price      priceFlag
	efficiency unit.Share
	life       lifeFlag
	json       bool
}

func (a *app) adviseEnergyCommand() *cobra.Command {
	f := energyFlags{efficiency: 850_000, life: 30_000}
	c := &cobra.Command{
		Use:   "energy SHOW",
		Short: "watts, kilowatt hours, warmth and wear",
		Long: `Advise energy adds up what the lights take at every level of the timetable: mean and
greatest watts of each state, watts per metre of strip, kilowatt hours and cost of a
year, how warm strips get, and how far their dies wear. Say with --use how long a day
each state is on; the first state has the rest of the day.`,
		Example: `  paneglow new my-panel && paneglow advise energy my-panel --use "busy 90 min" --price "0.30 EUR/kWh"`,
		Args:    argument("a show"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.efficiency < 100_000 || f.efficiency > 1_000_000 {
				return usageError{fmt.Errorf("--efficiency %s is outside 10 %% to 100 %%", f.efficiency)}
			}
			p := open(args[0], f.machine)
			if p.Show != nil && p.Found.Err() == nil {
				if _, err := useHours(p.Show, f.use); err != nil {
					return err
				}
			}
			a.work(p, table.Quick)
			p.Examine()
			if err := a.verdict(p.Found); err != nil || p.Copper == nil {
				a.tell(p.Found)
				return err
			}
			return a.adviseEnergy(p, &f)
		},
	}
	fl := c.Flags()
	fl.StringVar(&f.machine, "machine", "", "advise for another machine file")
	fl.StringArrayVar(&f.use, "use", nil, `how long a day a state is on, such as "busy 90 min"; may be repeated`)
	fl.Var(&f.price, "price", `of electricity, such as "0.30 EUR/kWh"`)
	fl.Var(&f.efficiency, "efficiency", "of the supply from mains to its output (common practice: 85 %)")
	fl.Var(&f.life, "life", `stated lifetime of the LEDs, such as "30000 h"`)
	fl.BoolVar(&f.json, "json", false, "print the result as JSON")
	return c
}

// priceFlag is --price.
type priceFlag struct {
	value float64
	money string
}

var pricePattern = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?) *([A-Za-z€£$]{1,3})/kWh$`)

func (p *priceFlag) String() string {
	if p.money == "" {
		return ""
	}
	return strconv.FormatFloat(p.value, 'f', -1, 64) + " " + p.money + "/kWh"
}

func (p *priceFlag) Set(s string) error {
	m := pricePattern.FindStringSubmatch(strings.TrimSpace(s))
	if m == nil {
		return fmt.Errorf(`write a price such as "0.30 EUR/kWh"`)
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil || v > 1e6 {
		return fmt.Errorf(`write a price such as "0.30 EUR/kWh"`)
	}
	p.value, p.money = v, m[2]
	return nil
}

func (p *priceFlag) Type() string { return "price" }

// lifeFlag is --life in hours: longer than a time of the files may be.
type lifeFlag int

func (l *lifeFlag) String() string { return fmt.Sprintf("%d h", int(*l)) }

func (l *lifeFlag) Set(s string) error {
	number, ok := strings.CutSuffix(strings.TrimSpace(s), "h")
	n, err := strconv.Atoi(strings.TrimSpace(number))
	if !ok || err != nil || n < 100 || n > 1_000_000 {
		return fmt.Errorf(`write 100 h to 1000000 h, such as "30000 h"`)
	}
	*l = lifeFlag(n)
	return nil
}

func (l *lifeFlag) Type() string { return "hours" }

// useHours is how long a day each state is on.
func useHours(s *show.Show, use []string) ([]float64, error) {
	hours, given := make([]float64, len(s.States)), make([]bool, len(s.States))
	left := 24.0
	for _, u := range use {
		name, text, _ := strings.Cut(strings.TrimSpace(u), " ")
		at := -1
		for i := range s.States {
			if s.States[i].Name == name {
				at = i
			}
		}
		switch {
		case at < 0:
			return nil, usageError{fmt.Errorf("--use %q: no state %q: the show has %s", u, name, list(s.States, func(i int) string { return s.States[i].Name }))}
		case at == 0:
			return nil, usageError{fmt.Errorf("--use %q: %s is the first state and has what the others leave of the day", u, name)}
		case given[at]:
			return nil, usageError{fmt.Errorf("--use %q: %s is given twice", u, name)}
		}
		t, err := unit.ParseTime(text)
		if err != nil {
			return nil, usageError{fmt.Errorf("--use %q: %w", u, err)}
		}
		given[at], hours[at] = true, t.Seconds()/3600
		if left -= hours[at]; left < -1e-9 {
			return nil, usageError{fmt.Errorf("--use: the states are on for more than 24 h a day")}
		}
	}
	hours[0] = max(left, 0)
	return hours, nil
}

func (a *app) adviseEnergy(p *project, f *energyFlags) error {
	hours, err := useHours(p.Show, f.use)
	if err != nil {
		return err
	}
	var uses []energy.Use
	for i := range p.Copper.Laps {
		if i < len(hours) {
			uses = append(uses, energy.Use{Lap: p.Copper.Laps[i], Hours: hours[i]})
		}
	}
	e, err := energy.Add(p.Copper.Panel, uses, p.Table.Levels)
	if err != nil {
		return err
	}
	r := energyOf(p, f, e)
	if f.json {
		return writeJSON(a.out, r)
	}
	printEnergy(a.out, p, f, r)
	return nil
}

// hundredth rounds for reading: a figure that is printed is no more exact.
func hundredth(v float64) float64 { return math.Round(v*100) / 100 }

func energyOf(p *project, f *energyFlags, e *energy.Report) *energyReport {
	year := e.KWh(float64(f.efficiency) / 1e6)
	r := &energyReport{
		Show: p.Show.File, Machine: p.Machine.File, Mean: hundredth(e.Mean), Year: hundredth(year),
		Worst: e.States[e.Worst].Name, WorstW: hundredth(e.WorstWatts), Duty: math.Round(e.Duty*1e4) / 1e4,
		Clock: hundredth(float64(f.life) / energy.Year),
	}
	if f.price.money != "" {
		r.Cost, r.Money = hundredth(year*f.price.value), f.price.money
	}
	if e.Duty > 0 {
		at := p.Copper.Panel.Circuit.Place(e.At.Pixel)
		r.Die = fmt.Sprintf("%s of %s", [4]string{"red", "green", "blue", "white"}[e.At.Channel], p.Copper.Panel.Name(at))
		r.Light = hundredth(float64(f.life) / energy.Year / e.Duty)
	}
	for _, l := range e.Levels {
		r.Levels = append(r.Levels, energyLevel{float64(l.Lightness) / 1000, hundredth(l.Hours)})
	}
	for _, s := range e.States {
		r.States = append(r.States, energyState{s.Name, hundredth(s.Hours), hundredth(s.Full), hundredth(s.Peak), hundredth(s.Mean)})
	}
	for i := range e.Strips {
		w := e.Hottest[i]
		r.Strips = append(r.Strips, energyStrip{p.On.Layout.Strips[i].Name, hundredth(e.Strips[i]), hundredth(w), hundredth(w * energy.RiseOpen), hundredth(w * energy.RiseCovered)})
	}
	return r
}

func printEnergy(w io.Writer, p *project, f *energyFlags, r *energyReport) {
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "state\ta day\tgreatest frame\tmean at full level\tmean by timetable\t")
	for _, s := range r.States {
		fmt.Fprintf(t, "%s\t%.2f h\t%.1f W\t%.1f W\t%.1f W\t\n", s.Name, s.Hours, s.Peak, s.Full, s.Mean)
	}
	t.Flush()
	var levels []string
	for _, l := range r.Levels {
		levels = append(levels, fmt.Sprintf("%g %% for %g h", 100*l.Level, l.Hours))
	}
	fmt.Fprintf(w, "\ntimetable of a week: %s\n", strings.Join(levels, ", "))
	fmt.Fprintf(w, "lights take %.2f W in the mean; from mains, at %s efficiency, %.0f kWh a year", r.Mean, f.efficiency, r.Year)
	if r.Money != "" {
		fmt.Fprintf(w, ", %.2f %s", r.Cost, r.Money)
	}
	fmt.Fprintf(w, "\n\nworst hour: state %s all the time, %.1f W\n", r.Worst, r.WorstW)
	t = tabwriter.NewWriter(w, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "strip\tmean\tworst hour\tabove the air, open channel\tcovered\t")
	for _, s := range r.Strips {
		fmt.Fprintf(t, "%s\t%.1f W/m\t%.1f W/m\t%.0f K\t%.0f K\t\n", s.Name, s.Mean, s.Worst, s.Open, s.Covered)
	}
	t.Flush()
	fmt.Fprintf(w, "\n%s is %.1f years by the clock", f.life.String(), r.Clock)
	if r.Light > 0 {
		fmt.Fprintf(w, ", and %.0f years of the light of the most used die (%s, %.1f %% of full in the mean)", r.Light, r.Die, 100*r.Duty)
	}
	fmt.Fprint(w, "\n", energyAssumed)
}

const energyAssumed = `
counted: the lights, at the upper end of their spread, and what copper loses; not the
machine's loads. A state's hours fall on all levels alike. Kelvins are 1.3 (open) and
1.8 (covered) for each watt per metre: common practice from one published measurement.
LEDs fade with their own light and heat, driver chips age by the clock: the truth lies
between the two figures. Tape on the back of strips fails above 35 degC (common
practice).
`
