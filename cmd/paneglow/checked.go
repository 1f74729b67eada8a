package main

import (
	"fmt"
	"os"
	"strings"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/render"
	"paneglow/render/prove"
	"paneglow/render/safety"
	"paneglow/render/table"
)

// checkedTable reads a table that is to be shown, holds it against its budgets and gives the
// flashes found in it; machine is the path of its machine's file, for the light of its
// LEDs, or "".
func checkedTable(path, machine string) (*table.Table, finding.List, error) {
	t, err := readTable(path)
	if err != nil {
		return nil, nil, err
	}
	if err := fitsBudgets(t); err != nil {
		return nil, nil, fmt.Errorf("%s: %w", path, err)
	}
	if machine == "" {
		return t, prove.FlashesOf(t, nil), nil
	}
	m, found := show.LoadMachine(machine)
	if err := found.Err(); err != nil {
		return nil, nil, err
	}
	hw, err := render.NewHardware(m)
	if err != nil {
		return nil, nil, err
	}
	if hw.Layout.Channels() != t.Channels() || len(hw.Layout.Pixels) != t.Pixels() || len(hw.Layout.Strips) != len(t.Strips) {
		return nil, nil, fmt.Errorf("%s was made for %d pixels in %d strips, %s has %d in %d: name the machine that the table was exported for",
			path, t.Pixels(), len(t.Strips), machine, len(hw.Layout.Pixels), len(hw.Layout.Strips))
	}
	eye, err := safety.NewEye(m, hw.Layout)
	if err != nil {
		return nil, nil, err
	}
	return t, prove.FlashesOf(t, eye), nil
}

// fitsBudgets holds each state's clip against the state's budget from every supply.
func fitsBudgets(t *table.Table) error {
	supplies := t.Supplies()
	for k := range supplies {
		from := ""
		if k > 0 {
			from = fmt.Sprintf(" from supply %q", supplies[k].Name)
		}
		for i := range t.States {
			s := &t.States[i]
			draws, err := drawOf(t, s.Clip, k)
			if err != nil {
				return err
			}
			if draws > s.Limit(k) {
				return fmt.Errorf("clip %q draws %d mA%s, state %q allows %d: export the show again for this machine", t.Clips[s.Clip].Name, prove.Milli(draws), from, s.Name, prove.Milli(s.Limit(k)))
			}
		}
	}
	return nil
}

// drawOf is what a clip draws at most from a supply, in microamperes.
func drawOf(t *table.Table, clip, supply int) (peak int64, err error) {
	if len(t.Further) == 0 {
		return t.Clips[clip].Peak, nil
	}
	d, frame, m := t.Clip(clip).Start(), make([]uint8, t.Channels()), t.Meter().Of(supply)
	for range t.Clips[clip].Frames {
		if err := d.Next(frame); err != nil {
			return 0, err
		}
		peak = max(peak, m.Current(frame))
	}
	return peak, nil
}

// flashesAllowed refuses flashes that nobody has answered for.
func (a *app) flashesAllowed(found finding.List, because string) error {
	if len(found) == 0 {
		return nil
	}
	if strings.TrimSpace(because) == "" {
		for i := range found {
			found[i].Severity = finding.Error
			found[i].Fix = "calm it down; where nobody can be hurt, say why with --flashes-because"
		}
		a.tell(found)
		return findingsError{len(found)}
	}
	a.tell(found)
	fmt.Fprintf(a.err, "note: shown all the same, because: %s\n", because)
	return nil
}

// isTable tells a table from a show by its first bytes.
func isTable(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	b := make([]byte, 4)
	n, _ := f.Read(b)
	return table.Is(b[:n])
}

// readTable reads a table and verifies all of it.
func readTable(path string) (*table.Table, error) {
	st, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read the table: %w", err)
	}
	if st.Size() > mostTable {
		return nil, fmt.Errorf("%s is %d bytes long: a table has at most %d", path, st.Size(), mostTable)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read the table: %w", err)
	}
	t, err := table.Read(b, table.Limits{})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return t, nil
}
