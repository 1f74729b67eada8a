package main

import (
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"paneglow/render/proof"
	"paneglow/render/table"
)

type exportFlags struct {
	out, machine, hex, header, csv, codes, proof string
	base                                         uint32
	pack                                         packFlag
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
		RunE:    func(cmd *cobra.Command, args []string) error { return a.export(args[0], &f) },
	}
	fl := c.Flags()
	fl.StringVarP(&f.out, "output", "o", "", "the table's file (- for standard output)")
	fl.StringVar(&f.machine, "machine", "", "export for another machine file")
	fl.StringVar(&f.hex, "hex", "", "also write the table as Intel HEX")
	fl.Uint32Var(&f.base, "base", 0, "address of the table's first byte in the HEX file")
	fl.StringVar(&f.header, "c-header", "", "also write the table as a C header")
	fl.StringVar(&f.csv, "csv", "", "also write the current of every frame as CSV")
	fl.StringVar(&f.codes, "codes", "", "also write all final codes as plain bytes, and beside them a .json that states their shape")
	fl.StringVar(&f.proof, "proof", "", "also write a certificate of all currents and their budgets as JSON (docs/proof.md)")
	fl.Var(&f.pack, "pack", "how hard to look for a small table: quick or best")
	return c
}

// files are all that an export writes.
func (f *exportFlags) files() []string {
	out := []string{f.out, f.hex, f.header, f.csv, f.codes, f.proof}
	if f.out == "-" {
		out[0] = ""
	}
	if f.codes != "" {
		out = append(out, f.codes+".json")
	}
	return out
}

func (a *app) export(path string, f *exportFlags) error {
	if f.out == "" && f.hex == "" && f.header == "" && f.csv == "" && f.codes == "" && f.proof == "" {
		return usageError{fmt.Errorf("export needs a file to write: -o, --hex, --c-header, --csv, --codes or --proof")}
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
	if err := a.verdict(p.Found); err != nil {
		return err
	}
	return a.write(p, f)
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
	for _, o := range []struct {
		path, what string
		write      func(w io.Writer) error
	}{
		{f.hex, "Intel HEX", func(w io.Writer) error { return table.WriteHex(w, p.Bytes, f.base) }},
		{f.header, "C header", func(w io.Writer) error { return table.WriteC(w, p.Bytes, "panel_table") }},
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
