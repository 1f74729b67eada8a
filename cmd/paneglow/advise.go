package main

import (
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"paneglow/anim/unit"
	"paneglow/render/panel"
	"paneglow/render/picture"
)

func (a *app) adviseCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "advise",
		Short:   "work out what would suit the panel",
		Example: "  paneglow new my-panel && paneglow advise glass my-panel",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	c.AddCommand(a.adviseGlassCommand(), a.advisePowerCommand(), a.adviseEnergyCommand())
	return c
}

func (a *app) adviseGlassCommand() *cobra.Command {
	var machine, chart, strip string
	c := &cobra.Command{
		Use:   "glass SHOW",
		Short: "depth for this pitch and glass, pitch for this depth, glass for both",
		Long: `Advise glass tells for every kind of strip how strongly its LEDs show through the
glass, and what would cure it: another depth, another pitch, or another scatter.
It is worked out for an endless row of LEDs by the model of package panel; a real
pane should be tried with a few centimetres of strip before anything is glued.`,
		Example: "  paneglow new my-panel && paneglow advise glass my-panel --chart my-panel/ripple.png",
		Args:    argument("a show"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if chart != "" && strings.ToLower(filepath.Ext(chart)) != ".png" {
				return usageError{fmt.Errorf("%s: the chart is a .png file", chart)}
			}
			p := open(args[0], machine)
			if err := p.mayWrite(chart); err != nil {
				return err
			}
			if err := a.verdict(p.Found); err != nil {
				a.tell(p.Found)
				return err
			}
			return a.adviseGlass(p, chart, strip)
		},
	}
	c.Flags().StringVar(&machine, "machine", "", "advise for another machine file")
	c.Flags().StringVar(&chart, "chart", "", "also draw ripple against depth, to a .png file")
	c.Flags().StringVar(&strip, "strip", "", "the strip to draw (default: the first)")
	return c
}

func (a *app) adviseGlass(p *project, chart, strip string) error {
	l := p.On.Layout
	index := 0
	if strip != "" {
		if index = l.Strip(strip); index < 0 {
			return fmt.Errorf("no strip %q: the machine has %s", strip, list(l.Strips, func(i int) string { return l.Strips[i].Name }))
		}
	}
	g, err := panel.New(p.Machine, l)
	if err != nil {
		return err
	}
	printAdvice(a.out, p, g)
	if chart == "" {
		return nil
	}
	img, err := picture.Ripple(g, l, index, 900)
	if err != nil {
		return err
	}
	if err := writeFile(chart, func(w io.Writer) error { return picture.PNG(w, img) }); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "\n%s: ripple against depth for strip %s\n", chart, l.Strips[index].Name)
	return nil
}

func printAdvice(w io.Writer, p *project, g *panel.Glass) {
	pane := p.Machine.Panel
	fmt.Fprintf(w, "depth %v, scatter %v, Lambertian share %g\n\n", pane.Depth, pane.Glass.Scatter, pane.Glass.Lambertian)
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(t, "strip\tpitch\tripple now\taccepted from\tsmooth from\tcolors apart up to\tpitch for this depth\tscatter for both")
	m := g.Metrics(pane.Room, nil)
	for i := range p.On.Layout.Strips {
		s := &p.On.Layout.Strips[i]
		if s.Count < 2 {
			continue
		}
		v := g.Advise(i)
		fmt.Fprintf(t, "%s\t%v\t%.1f %%\t%s\t%s\t%s\t%s\t%s\n", s.Name, unit.Length(math.Round(s.LEDPitch*10)/10), 100*m.Strips[i].LEDs.Michelson,
			depth(v.AcceptableDepth, math.Ceil), depth(v.SmoothDepth, math.Ceil), depth(v.DeepestDepth, math.Floor), depth(v.SmoothPitch, math.Floor), angle(v.SmoothScatter))
	}
	t.Flush()
	fmt.Fprintf(w, "\naccepted: ripple below %g %%; smooth: below %g %% (what people call it is common practice); no value: nothing within reach does it\n", 100*panel.Acceptable, 100*panel.Smooth)
	if m.Peak > 0 {
		fmt.Fprintf(w, "all dies full: %.0f cd/m² at most, %.0f on the strips' lines", m.Peak, m.Mean)
		if m.Day.Ratio > 0 {
			fmt.Fprintf(w, "; contrast %.3g by day, %.3g by night", m.Day.Ratio, m.Night.Ratio)
		}
		fmt.Fprintln(w)
	}
}

func depth(mm float64, round func(float64) float64) string {
	if mm <= 0 {
		return "-"
	}
	return fmt.Sprintf("%.0f mm", round(mm))
}

func angle(deg unit.Angle) string {
	if deg <= 0 {
		return "-"
	}
	return fmt.Sprintf("%.0f deg", math.Ceil(float64(deg)))
}
