package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"paneglow/anim/unit"
	"paneglow/render/proof"
	"paneglow/render/table"
)

type exportFlags struct {
	out, machine, hex, header, image, firmware, csv, codes, proof string
	base                                                          uint32
	fit, based, pages                                             bool
	pack                                                          packFlag
}

func (a *app) exportCommand() *cobra.Command {
	var f exportFlags
	c := &cobra.Command{
		Use:   "export SHOW",
		Short: "pack the show into a frame table for the controller",
		Long: `Export does all that check does, and writes the frame table only when nothing
was found that forbids it. Each file is written whole or not at all.`,
		Example: "  paneglow new my-panel && paneglow export my-panel -o my-panel/panel.table --csv my-panel/currents.csv",
		Args:    argument("a show"),
		RunE: func(cmd *cobra.Command, args []string) error {
			f.based = cmd.Flags().Changed("base")
			return a.export(args[0], &f)
		},
	}
	fl := c.Flags()
	fl.StringVarP(&f.out, "output", "o", "", "the table's file (- for standard output)")
	fl.StringVar(&f.machine, "machine", "", "export for another machine file")
	fl.StringVar(&f.hex, "hex", "", "also write the table as Intel HEX")
	fl.BoolVar(&f.pages, "pages", false, "with --hex: whole pages of 256 bytes, for a boot loader that writes pages (docs/storage.md)")
	fl.Uint32Var(&f.base, "base", 0, "address of the table's first byte in the HEX file")
	fl.StringVar(&f.header, "c-header", "", "also write the table as a C header, and beside it panel_config.h: the panel as the player's firmware is built for it")
	fl.StringVar(&f.firmware, "firmware", "", "the machine's firmware as Intel HEX, for --image")
	fl.StringVar(&f.image, "image", "", "also write the firmware and the table together as Intel HEX, the table last in the flash or at --base")
	fl.BoolVar(&f.fit, "fit", false, "print how the controller's memory is shared out, and refuse what does not fit")
	fl.StringVar(&f.csv, "csv", "", "also write the current of every frame as CSV")
	fl.StringVar(&f.codes, "codes", "", "also write all final codes as plain bytes, and beside them a .json that states their shape")
	fl.StringVar(&f.proof, "proof", "", "also write a certificate of all currents and their budgets as JSON (docs/proof.md)")
	fl.Var(&f.pack, "pack", "how hard to look for a small table: quick or best")
	return c
}

// files are all that an export writes.
func (f *exportFlags) files() []string {
	out := []string{f.out, f.hex, f.header, f.image, f.csv, f.codes, f.proof}
	if f.out == "-" {
		out[0] = ""
	}
	if f.codes != "" {
		out = append(out, f.codes+".json")
	}
	if f.header != "" {
		out = append(out, f.config())
	}
	return out
}

// config is the configuration's file, beside the C header.
func (f *exportFlags) config() string {
	return filepath.Join(filepath.Dir(f.header), "panel_config.h")
}

func (a *app) export(path string, f *exportFlags) error {
	if f.out == "" && f.hex == "" && f.header == "" && f.image == "" && f.csv == "" && f.codes == "" && f.proof == "" && !f.fit {
		return usageError{fmt.Errorf("export needs a file to write: -o, --hex, --c-header, --image, --csv, --codes or --proof; or --fit")}
	}
	if (f.image == "") != (f.firmware == "") {
		return usageError{fmt.Errorf("--image and --firmware go together: one is written, the other read")}
	}
	if f.pages && f.hex == "" {
		return usageError{fmt.Errorf("--pages is about the file of --hex: name one")}
	}
	if f.pages && f.base%table.PageBytes != 0 {
		return usageError{fmt.Errorf("--base %#x lies within a page: with --pages it is a multiple of %d", f.base, table.PageBytes)}
	}
	if samePath(f.image, f.firmware) && f.image != "" {
		return usageError{fmt.Errorf("--image would be written over --firmware: name another file")}
	}
	if f.out == "-" && isTerminal(a.out) {
		return usageError{fmt.Errorf("a table is no text: send standard output to a file, or name one with -o")}
	}
	p := open(path, f.machine)
	if err := p.mayWrite(f.files()...); err != nil {
		return err
	}
	a.work(p, f.pack.pack)
	p.Examine()
	a.tell(p.Found)
	if f.fit && f.out != "-" && p.Table != nil {
		a.printFit(p) // above all when it does not fit
	}
	if err := a.verdict(p.Found); err != nil {
		return err
	}
	if f.fit && f.out != "-" {
		if c, m := &p.Machine.Controller, p.Config().Memory(&p.Table.Show); c.RAM > 0 && int64(m.Sum()) > int64(c.RAM)-int64(c.MachineRAM) {
			return fmt.Errorf("the player does not fit the controller: it takes %d bytes of memory, and %v less the machine's %v leaves %d; take fewer pixels, or a controller with more",
				m.Sum(), c.RAM, c.MachineRAM, int64(c.RAM)-int64(c.MachineRAM))
		}
	}
	return a.write(p, f)
}

// printFit shows how the controller's memory and flash are shared out.
func (a *app) printFit(p *project) {
	c := &p.Machine.Controller
	m := p.Config().Memory(&p.Table.Show)
	w := tabwriter.NewWriter(a.out, 0, 8, 2, ' ', tabwriter.AlignRight)
	row := func(what string, n int64, why string) { fmt.Fprintf(w, "%d\t  %s\t%s\n", n, what, why) }
	rest := func(has unit.Size, taken int64) {
		switch left := int64(has) - taken; {
		case has == 0: // not told
		case left < 0:
			row("too many", -left, fmt.Sprintf("  for %v", has))
		default:
			row("left", left, fmt.Sprintf("  of %v", has))
		}
	}
	fmt.Fprintln(a.out, "memory, bytes:")
	row("machine", int64(c.MachineRAM), "  the machine's own, as its file says")
	row("stack", int64(m.Stack), "  calls and interrupts")
	row("player", int64(m.Player), "  its state")
	row("frame", int64(m.Frame), "  the pixel buffer")
	row("frozen", int64(m.Frozen), "  what a crossfade comes from")
	if m.Rows > 0 {
		row("rows", int64(m.Rows), "  what goes out on data lines side by side")
	}
	row("work", int64(m.Work), "  for unpacking, of the clip that needs most")
	rest(c.RAM, int64(c.MachineRAM)+int64(m.Sum()))
	w.Flush()
	fmt.Fprintln(a.out, "flash, bytes:")
	row("machine", int64(c.MachineFlash), "  firmware, the player included")
	row("table", int64(p.Table.NotesOffset), fmt.Sprintf("  without its notes of %d bytes", p.Table.TableLength-p.Table.NotesOffset))
	rest(c.Flash, int64(c.MachineFlash)+int64(p.Table.NotesOffset))
	w.Flush()
	fmt.Fprintln(a.out, "clips:")
	_, free := p.Room(&p.Table.Show)
	for _, r := range p.Report.Clips {
		cost := ""
		if r.Cycles > 0 && free > 0 {
			cost = fmt.Sprintf("; its costliest frame takes up to %d of %d free cycles", r.Cycles, free)
		}
		row(r.Name, int64(r.Bytes), fmt.Sprintf("  %s: %s%s", r.Kind, r.Why, cost))
	}
	w.Flush()
}

// merge reads the firmware and gives it with the table in its place.
func (f *exportFlags) merge(p *project, bare []byte, placed bool) (table.Image, uint32, error) {
	r, err := os.Open(f.firmware)
	if err != nil {
		return nil, 0, fmt.Errorf("cannot read the firmware: %w", err)
	}
	defer r.Close()
	fw, err := table.ReadHex(r)
	if err != nil {
		return nil, 0, fmt.Errorf("%s: %w", f.firmware, err)
	}
	flash := int64(p.Machine.Controller.Flash)
	if flash == 0 {
		return nil, 0, fmt.Errorf("the machine file does not say how much flash the controller has: give it as controller.flash")
	}
	at := int64(-1)
	if placed {
		at = int64(f.base)
	}
	return fw.Place(bare, at, flash)
}

// write makes every file that was asked for and says what it made.
func (a *app) write(p *project, f *exportFlags) error {
	made := func(path, what string) {
		if f.out != "-" { // else standard output is the table
			fmt.Fprintf(a.out, "%s: %s\n", path, what)
		}
	}
	if f.out == "-" {
		if _, err := a.out.Write(p.Bytes); err != nil {
			return err
		}
	} else if f.out != "" {
		if err := writeBytes(f.out, p.Bytes); err != nil {
			return err
		}
		made(f.out, fmt.Sprintf("frame table of %d bytes, %d clips, %d states", len(p.Bytes), len(p.Clips), len(p.Table.States)))
	}
	bare := p.Table.ForController()
	var image table.Image
	what := "firmware and table"
	if f.image != "" {
		var at uint32
		var err error
		if image, at, err = f.merge(p, bare, f.based); err != nil {
			return err
		}
		what = fmt.Sprintf("firmware and table, the table from %#05x on", at)
	}
	config := ""
	if f.header != "" {
		config = f.config()
	}
	for _, o := range []struct {
		path, what string
		write      func(w io.Writer) error
	}{
		{f.hex, "Intel HEX", func(w io.Writer) error {
			if f.pages {
				return table.WriteHex(w, table.Pages(bare), f.base)
			}
			return table.WriteHex(w, bare, f.base)
		}},
		{f.header, "C header", func(w io.Writer) error { return table.WriteC(w, bare, "panel_table") }},
		{config, "configuration of the player", func(w io.Writer) error { return table.WriteConfig(w, &p.Table.Show, p.Config()) }},
		{f.image, what, image.WriteHex},
		{f.csv, "currents of every frame", func(w io.Writer) error { return table.WriteCSV(w, p.Table) }},
	} {
		if o.path == "" {
			continue
		}
		if err := writeFile(o.path, o.write); err != nil {
			return err
		}
		made(o.path, o.what)
	}
	if f.proof != "" {
		cert, err := proof.Of(p.Table)
		if err != nil {
			return err
		}
		if err := writeFile(f.proof, cert.Write); err != nil {
			return err
		}
		made(f.proof, fmt.Sprintf("certificate of %d cases", len(cert.Rows)))
	}
	if f.codes != "" {
		note := f.codes + ".json"
		err := writeFile(f.codes, func(w io.Writer) error {
			return writeFile(note, func(n io.Writer) error { return table.WriteCodes(w, n, p.Table) })
		})
		if err != nil {
			return err
		}
		made(f.codes, "all codes as bytes, described by "+filepath.Base(note))
	}
	return nil
}
