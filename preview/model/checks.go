package model

import (
	"fmt"
	"path/filepath"
	"strings"

	"paneglow/anim/finding"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/render/power"
)

func newMeter(m *show.Machine, l *layout.Layout) (*power.Meter, error) { return power.NewMeter(m, l) }

// drawChecks lists what was found, what concerns the clip on show first.
func (m *Model) drawChecks(r Rect) float64 {
	u, s := &m.ui, m.stage
	y := r.Y
	found := m.told
	if found == nil && s != nil {
		found = s.Found
	}
	y = m.drawFrameLine(Rect{r.X, y, r.W, 0})
	if len(found) == 0 {
		u.text("nothing was found", r.X, y+14, small, u.theme.Good, Left)
		return y + 22
	}
	clip := ""
	if i := m.clipIndex(); i >= 0 && s != nil && s.Table != nil {
		clip = fmt.Sprintf("%q", s.Table.Clips[i].Name)
	}
	var first, rest finding.List
	for _, f := range found {
		if f.Severity == finding.Error || clip != "" && strings.Contains(f.Where+f.Message, clip) {
			first = append(first, f)
		} else {
			rest = append(rest, f)
		}
	}
	for _, f := range append(first, rest...) {
		mark, c := "note", u.theme.Pale
		switch f.Severity {
		case finding.Error:
			mark, c = "error", u.theme.Limit
		case finding.Warning:
			mark, c = "warning", u.theme.Accent
		}
		u.fill(Rect{r.X, y + 2, 3, 14}, c, 0)
		text := mark + ": " + m.local(f.Message)
		if f.Where != "" {
			text = mark + ", " + m.local(f.Where) + ": " + m.local(f.Message)
		}
		for _, line := range wrapped(text, r.W-10, small) {
			u.text(line, r.X+8, y+13, small, u.theme.Ink, Left)
			y += 17
		}
		if f.Fix != "" {
			for _, line := range wrapped("→ "+m.local(f.Fix), r.W-10, small) {
				u.text(line, r.X+8, y+13, small, u.theme.Pale, Left)
				y += 17
			}
		}
		y += 6
	}
	return y
}

// local names files as they are named in the show's folder: its path is long, and
// the same for all of them.
func (m *Model) local(s string) string {
	return strings.ReplaceAll(s, filepath.Dir(m.o.Show)+string(filepath.Separator), "")
}

// drawFrameLine is the frame on show in figures.
func (m *Model) drawFrameLine(r Rect) float64 {
	u, lap := &m.ui, m.lap()
	f := m.frame()
	if lap == nil || f >= len(lap.Current) || m.told != nil {
		return r.Y
	}
	words := fmt.Sprintf("frame %d draws %s of %s", f, amps(lap.Current[f]), amps(lap.Budget))
	if lap.Wanted != nil && lap.Wanted[f] > lap.Current[f]+1000 {
		words += fmt.Sprintf("; it wanted %s: the cap takes light", amps(lap.Wanted[f]))
	}
	y := r.Y
	for _, line := range wrapped(words, r.W, small) {
		u.text(line, r.X, y+13, small, u.theme.Ink, Left)
		y += 17
	}
	return y + 6
}
