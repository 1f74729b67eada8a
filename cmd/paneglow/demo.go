package main

import (
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"paneglow/anim/finding"
	"paneglow/examples"
	"paneglow/render/picture"
	"paneglow/render/prove"
	"paneglow/render/table"
)

func (a *app) demoCommand() *cobra.Command {
	out := filepath.Join("build", "demo")
	c := &cobra.Command{
		Use:   "demo",
		Short: "render, check, pack and draw the demo: an umbrella-lending cabinet",
		Long: `Demo writes the demo show (an umbrella-lending cabinet at a tram stop, all its
numbers invented), renders every clip, proves its current, packs the table,
reads it back, draws pictures, and says what to look at.`,
		Example: "  paneglow demo --out build/demo",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, args []string) error { return a.demo(out) },
	}
	c.Flags().StringVar(&out, "out", out, "folder for the show, the table and the pictures")
	return c
}

func (a *app) demo(dir string) error {
	kept, err := keepEdited(examples.Umbrella(), dir)
	if err != nil {
		return err
	}
	begun := time.Now()
	p := open(dir, "")
	a.work(p, table.Quick)
	took := time.Since(begun)
	if p.Found.Err() != nil {
		a.tell(p.Found)
		return a.verdict(p.Found)
	}
	r := p.Examine()
	if err := p.demoFiles(dir); err != nil {
		return err
	}
	pictures, err := p.demoPictures(dir)
	if err != nil {
		return err
	}
	a.demoSummary(p, r, dir, took, pictures)
	for _, k := range kept {
		fmt.Fprintf(a.err, "note: %s differs from the demo's and was kept\n  fix: remove it to see the demo as it ships\n", k)
	}
	a.tell(atLeast(p.Found, finding.Warning))
	return a.verdict(p.Found)
}

// atLeast leaves out what is less severe.
func atLeast(l finding.List, s finding.Severity) finding.List {
	var out finding.List
	for _, f := range l {
		if f.Severity >= s {
			out = append(out, f)
		}
	}
	return out
}

func (p *project) demoFiles(dir string) error {
	if err := writeBytes(filepath.Join(dir, "panel.table"), p.Bytes); err != nil {
		return err
	}
	if err := writeFile(filepath.Join(dir, "currents.csv"), func(w io.Writer) error { return table.WriteCSV(w, p.Table) }); err != nil || p.Copper == nil {
		return err
	}
	pages, err := wiringSheet(p.Copper, p)
	if err != nil {
		return err
	}
	for i, name := range pageNames(filepath.Join(dir, "wiring.svg"), len(pages)) {
		if err := writeBytes(name, pages[i]); err != nil {
			return err
		}
	}
	return nil
}

// demoPictures draws each state's timeline and its glass at a telling moment,
// and one animation.
func (p *project) demoPictures(dir string) (int, error) {
	n := 0
	f := &renderFlags{view: "glass", room: -1, height: 700}
	for i := range p.Table.States {
		lap, err := prove.Latch(p.Table, i)
		if err != nil {
			return n, err
		}
		clip := p.Table.Clips[p.Table.States[i].Clip].Name
		img, err := p.timeline(lap, clip, 1200)
		if err != nil {
			return n, err
		}
		name := p.Table.States[i].Name
		if err := writeFile(filepath.Join(dir, name+"-timeline.png"), func(w io.Writer) error { return picture.PNG(w, img) }); err != nil {
			return n, err
		}
		one, err := p.camera(lap, clip, f, false)
		if err != nil {
			return n, err
		}
		glass, err := one(len(lap.Frames) / 3)
		if err != nil {
			return n, err
		}
		if err := writeFile(filepath.Join(dir, name+"-glass.png"), func(w io.Writer) error { return picture.PNG(w, glass) }); err != nil {
			return n, err
		}
		n += 2
		if i == 0 {
			bare := &renderFlags{view: "bare", height: 700}
			if one, err = p.camera(lap, clip, bare, false); err != nil {
				return n, err
			}
			img, err := one(len(lap.Frames) / 3)
			if err != nil {
				return n, err
			}
			if err := writeFile(filepath.Join(dir, name+"-bare.png"), func(w io.Writer) error { return picture.PNG(w, img) }); err != nil {
				return n, err
			}
			n++
		}
	}
	return n, nil
}

func (a *app) demoSummary(p *project, r *prove.Report, dir string, took time.Duration, pictures int) {
	seconds, frames := 0.0, 0
	for _, c := range r.Clips {
		frames += c.Frames
		seconds += float64(c.Frames) / float64(c.FPS)
	}
	fmt.Fprintf(a.out, "%s: %d pixels, %d states, %.0f s of clips in %d frames (all numbers invented)\n", p.Show.Title, r.Pixels, len(r.States), seconds, frames)
	fmt.Fprintf(a.out, "rendered, capped, packed to %d bytes and read back in %.2f s\n\n", r.Controller.Flash, took.Seconds())
	p.printClips(a.out, r)
	p.printTotals(a.out, r)
	fmt.Fprintf(a.out, "\nthe budget bites in:\n")
	for i, c := range p.Codes {
		if c.Bites() > 0 {
			_, wanted := c.WantedPeak()
			fmt.Fprintf(a.out, "  %-8s wants %d mA, may draw %s\n", p.Clips[i].Name, prove.Milli(wanted), p.BudgetWords(c))
		}
	}
	for _, c := range p.Clips {
		for _, n := range c.Notes {
			fmt.Fprintf(a.out, "note: clip %s: %s\n", c.Name, n)
		}
	}
	fmt.Fprintf(a.out, "\n%d pictures, panel.table, currents.csv and the wiring sheet are in %s\nnext: open %s, change %s, then\n  %s check %s\n", pictures, dir, filepath.Join(dir, "rest-timeline.png"), filepath.Join(dir, "show.toml"), ownName(), dir)
}

// keepEdited copies a show's files, but keeps those that are there already and
// differ, and names them: a person may have begun to change the demo.
func keepEdited(from fs.FS, dir string) (kept []string, err error) {
	err = fs.WalkDir(from, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		want, err := fs.ReadFile(from, path)
		if err != nil {
			return err
		}
		to := filepath.Join(dir, filepath.FromSlash(path))
		if have, err := os.ReadFile(to); err == nil {
			if !bytes.Equal(have, want) {
				kept = append(kept, to)
			}
			return nil
		}
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return err
		}
		return writeBytes(to, want)
	})
	return kept, err
}

// ownName is how this program can be called again from here.
func ownName() string {
	exe, err := os.Executable()
	if err != nil {
		return "paneglow"
	}
	here, err := os.Getwd()
	if err != nil {
		return "paneglow"
	}
	rel, err := filepath.Rel(here, exe)
	if err != nil || strings.HasPrefix(rel, "..") {
		return filepath.Base(exe)
	}
	return "." + string(filepath.Separator) + rel
}
