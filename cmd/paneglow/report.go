package main

import (
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"paneglow/render/power/wiring"
	"paneglow/render/prove"
	"paneglow/render/sheet"
	"paneglow/render/table"
)

func (a *app) reportCommand() *cobra.Command {
	var machine, out string
	c := &cobra.Command{
		Use:   "report SHOW",
		Short: "draw the wiring sheet: what is connected where, and what a meter finds",
		Long: `Report draws the panel's wiring on A4 pages, as SVG to print: supply, fuses, feeds,
strips with the way of their data, grounds, loads; then what a meter finds at each
point, the order of work, and symptoms with their causes. With -o sheet.svg the pages
are sheet.svg, sheet-2.svg and so on.`,
		Example: "  paneglow new my-panel && paneglow report my-panel -o my-panel/wiring.svg",
		Args:    argument("a show"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.report(args[0], machine, out)
		},
	}
	c.Flags().StringVar(&machine, "machine", "", "report on another machine file")
	c.Flags().StringVarP(&out, "output", "o", "", "the first page's file, .svg")
	return c
}

func (a *app) report(path, machine, out string) error {
	switch {
	case out == "":
		return usageError{fmt.Errorf("report needs a file to write: -o wiring.svg")}
	case strings.ToLower(filepath.Ext(out)) != ".svg":
		return usageError{fmt.Errorf("%s: the sheet is an .svg file", out)}
	}
	p := open(path, machine)
	if err := p.mayWrite(out); err != nil {
		return err
	}
	a.work(p, table.Quick)
	p.Examine()
	if err := a.verdict(p.Found); err != nil || p.Copper == nil {
		a.tell(p.Found)
		return err
	}
	pages, err := wiringSheet(p.Copper, p)
	if err != nil {
		return err
	}
	names := pageNames(out, len(pages))
	if err := p.mayWrite(names...); err != nil {
		return err
	}
	for i, page := range pages {
		if err := writeBytes(names[i], page); err != nil {
			return err
		}
		fmt.Fprintf(a.out, "%s: page %d of %d\n", names[i], i+1, len(pages))
	}
	fmt.Fprint(a.out, cautions)
	a.tell(p.Copper.Panel.Findings(p.Copper.Seen, p.Copper.Protect, p.Copper.Advice))
	return nil
}

// pageNames are the files of a sheet's pages: x.svg, x-2.svg and so on.
func pageNames(first string, pages int) []string {
	names := []string{first}
	ext := filepath.Ext(first)
	for i := 2; i <= pages; i++ {
		names = append(names, fmt.Sprintf("%s-%d%s", strings.TrimSuffix(first, ext), i, ext))
	}
	return names
}

// sheet draws the wiring sheet.
func wiringSheet(c *prove.Copper, p *project) ([][]byte, error) {
	dark, err := c.Panel.Survey(&wiring.Lap{State: "dark", Frames: [][]uint8{make([]uint8, p.Table.Channels())}})
	if err != nil {
		return nil, err
	}
	f := &sheet.Facts{Title: p.Show.Title, Panel: c.Panel, Seen: c.Seen, Dark: dark, Protect: c.Protect, Idle: float64(p.On.Meter.Idle()) / 1e6}
	for _, codes := range p.Codes {
		_, peak := codes.Peak()
		f.Most = max(f.Most, float64(peak)/1e6)
	}
	return sheet.Wiring(f), nil
}
