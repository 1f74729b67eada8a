package table

import (
	"fmt"
	"strings"

	"paneglow/anim/show"
	"paneglow/render/power"
)

// check tells whether the show can stand in a table and makes sense there. The
// reader uses it on what it parsed, the writer before it writes.
func (t *Show) check() error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("table: %s: %w", fmt.Sprintf(format, args...), ErrData)
	}
	for _, n := range []struct {
		what      string
		have, max int
	}{
		{"parts", len(t.Parts), MostParts}, {"lines", len(t.Lines), MostLines}, {"strips", len(t.Strips), MostStrips},
		{"loads", len(t.Loads), MostLoads}, {"states", len(t.States), MostStates}, {"levels", len(t.Levels), MostLevels},
	} {
		if n.have > n.max {
			return bad("%d %s, at most %d", n.have, n.what, n.max)
		}
	}
	if len(t.Strips) > 0 && len(t.Lines) == 0 {
		return bad("strips without a line")
	}
	if t.FPS < 1 || t.FPS > 1000 {
		return bad("%d frames a second, want 1 to 1000", t.FPS)
	}
	if len(t.Title) > 255 {
		return bad("a title of %d bytes, at most 255", len(t.Title))
	}
	if len(t.Further) >= power.MostSupplies {
		return bad("%d supplies, at most %d", len(t.Further)+1, power.MostSupplies)
	}
	for i, s := range t.Supplies() {
		if i > 0 {
			if err := checkName("supply", s.Name); err != nil {
				return err
			}
		}
		if err := s.check(); err != nil {
			return err
		}
	}
	if t.Silence < 0 || t.Silence > MostStay || (t.Silence > 0) != (t.Then != None) || t.Then < None || t.Then >= len(t.States) {
		return bad("host silence of %d ms leads to state %d of %d", t.Silence, t.Then, len(t.States))
	}
	for _, name := range t.Lines {
		if err := checkName("line", name); err != nil {
			return err
		}
	}
	for i := range t.Parts {
		if err := t.Parts[i].check(); err != nil {
			return err
		}
	}
	pixels := 0
	for i := range t.Strips {
		st := &t.Strips[i]
		if err := checkName("strip", st.Name); err != nil {
			return err
		}
		if st.Supply < 0 || st.Supply > len(t.Further) {
			return bad("strip %q hangs on supply %d of %d", st.Name, st.Supply, len(t.Further)+1)
		}
		if st.Part < 0 || st.Part >= len(t.Parts) || st.Line < 0 || st.Line >= len(t.Lines) {
			return bad("strip %q has part %d of %d and line %d of %d", st.Name, st.Part, len(t.Parts), st.Line, len(t.Lines))
		}
		if st.Pixels < 0 || st.Pixels > MostPixels {
			return bad("strip %q has %d pixels, at most %d", st.Name, st.Pixels, MostPixels)
		}
		last := -1
		for _, px := range st.Missing {
			if px <= last || px >= st.Pixels {
				return bad("strip %q: missing pixel %d after %d of %d", st.Name, px, last, st.Pixels)
			}
			last = px
		}
		if pixels += st.Pixels; pixels > MostPixels {
			return bad("more than %d pixels", MostPixels)
		}
	}
	for i := range t.Loads {
		ld := &t.Loads[i]
		if err := checkName("load", ld.Name); err != nil {
			return err
		}
		if ld.Supply < 0 || ld.Supply > len(t.Further) {
			return bad("load %q hangs on supply %d of %d", ld.Name, ld.Supply, len(t.Further)+1)
		}
		if ld.Run < 0 || ld.Start < ld.Run || ld.Start > MostCurrent {
			return bad("load %q runs at %s and starts at %s", ld.Name, power.Amps(ld.Run), power.Amps(ld.Start))
		}
	}
	starts := int64(0)
	for i := range t.Loads {
		starts += t.Loads[i].Start
	}
	if starts > MostCurrent {
		return bad("loads that start at %s together, at most %s", power.Amps(starts), power.Amps(MostCurrent))
	}
	for i := range t.States {
		if err := t.checkState(&t.States[i]); err != nil {
			return err
		}
	}
	for _, lv := range t.Levels {
		if lv.From < 0 || lv.From >= 86400 || lv.Days > 0x7f || lv.Lightness > 1000 {
			return bad("a level of %d per mille from second %d on", lv.Lightness, lv.From)
		}
	}
	return nil
}

func (s *Supply) check() error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("table: %s: %w", fmt.Sprintf(format, args...), ErrData)
	}
	for _, ua := range []int64{s.Steady, s.Surge, s.Raise, s.Slew} {
		if ua < 0 || ua > MostCurrent {
			return bad("a supply of %s, want 0 to %s", power.Amps(ua), power.Amps(MostCurrent))
		}
	}
	if s.Raise < 1 {
		return bad("a budget that never rises again")
	}
	if !budgetFits(s.Least) {
		return bad("a budget of %s", power.Amps(s.Least))
	}
	return nil
}

// MostStay is the longest stay and the longest silence in milliseconds: with a
// 32-bit microsecond tick, times up to half its turn compare by difference.
const MostStay = 1_800_000

func (t *Show) checkState(st *State) error {
	if err := checkName("state", st.Name); err != nil {
		return err
	}
	bad := func(what string) error {
		return fmt.Errorf("table: state %q: %s: %w", st.Name, what, ErrData)
	}
	switch {
	case st.Clip < 0 || st.Clip >= MostClips:
		return bad("its clip is not in the table")
	case st.HandOver > show.Finish:
		return bad("unknown hand-over")
	case st.Fade < 0 || st.Fade > 65_535:
		return bad("its crossfade is longer than 65.535 s")
	case st.Loads>>len(t.Loads) != 0:
		return bad("it lets loads run that the table does not hold")
	case st.AtMost < 0 || st.AtMost > MostStay:
		return bad("its longest stay is over 30 minutes")
	case (st.AtMost > 0) != (st.Then != None) || st.Then < None || st.Then >= len(t.States):
		return bad("its longest stay leads nowhere")
	case len(st.Further) != len(t.Further):
		return bad("it has not one budget for each supply")
	}
	for _, ua := range append([]int64{st.Budget}, st.Further...) {
		if !budgetFits(ua) {
			return bad("its budget is out of range")
		}
	}
	return nil
}

func (p *Part) check() error {
	if err := checkName("part", p.Name); err != nil {
		return err
	}
	bad := func(format string, args ...any) error {
		return fmt.Errorf("table: part %q: %s: %w", p.Name, fmt.Sprintf(format, args...), ErrData)
	}
	if p.Dies != len(p.Order) {
		return bad("%d dies in order %q", p.Dies, p.Order)
	}
	for i := 0; i < p.Dies; i++ {
		if c := "RGBW"[i]; i >= 4 || strings.Count(p.Order, string(rune(c))) != 1 {
			return bad("order %q is no permutation of RGB or RGBW", p.Order)
		}
	}
	if p.Bit < 0 || p.Bit > 65_535 || p.Latch < 0 || p.Latch > 10_000_000 || p.Gap < 0 || p.Gap > 10_000_000 {
		return bad("bit %d ns, latch %d ns, gap %d ns", p.Bit, p.Latch, p.Gap)
	}
	if _, err := power.Build([]power.Part{p.Part}, nil, 0); err != nil {
		return bad("%v", err)
	}
	return nil
}

func checkName(what, name string) error {
	if name == "" || len(name) > MostName {
		return fmt.Errorf("table: %s name %q of %d bytes, want 1 to %d: %w", what, name, len(name), MostName, ErrData)
	}
	return nil
}

func budgetFits(ua int64) bool { return ua >= -MostCurrent && ua <= MostCurrent }
