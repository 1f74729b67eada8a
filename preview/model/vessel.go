package model

import (
	"fmt"
	"math"
	"strings"
)

// drawVessel draws the supply as one upright vessel: what runs at the bottom, the
// reserve for the next start hatched, the light on top, the rim at the budget.
// The whole height is what the supply gives for good.
func (m *Model) drawVessel(r Rect) {
	u, s := &m.ui, m.stage
	u.bold("supply", r.X, r.Y+14, normal, r.W, u.theme.Ink)
	if s == nil || s.Table == nil || m.run.table == nil {
		return
	}
	box := Rect{r.X + 5, r.Y + 56, r.W * 0.4, r.H - 118}
	full := float64(s.Machine.Supply.Amps) * float64(s.Machine.Supply.Share) / 1e6
	u.text(fmt.Sprintf("%s continuous", amps(int64(full))), r.X, r.Y+34, small, u.theme.Pale, Left)
	var running float64
	type part struct {
		name string
		ua   float64
	}
	var loads []part
	for i := range s.Table.Loads {
		if m.run.loads&(1<<i) != 0 {
			run := float64(s.Table.Loads[i].Run)
			loads = append(loads, part{s.Table.Loads[i].Name, run})
			running += run
		}
	}
	budget := float64(m.run.last.Budget)
	draws := float64(m.current())
	reserve := math.Max(0, full-running-budget)
	u.fill(box, u.theme.Ground, 0)
	y := box.Y + box.H
	h := func(ua float64) float64 { return math.Min(ua/full, 1) * box.H }
	free := math.Inf(1) // the lowest line that no label has taken
	label := func(words string, top, height float64) {
		// Two lines where they fit: what it is, how much.
		name, much, _ := strings.Cut(words, "|")
		x, y := box.X+box.W+10, math.Min(math.Max(top+height/2, box.Y+26), box.Y+box.H-16)
		y = math.Min(y, free)
		free = y - 34
		u.text(fitted(name, r.X+r.W-x, small), x, y, small, u.theme.Ink, Left)
		u.text(much, x, y+15, small, u.theme.Pale, Left)
	}
	for _, p := range loads {
		k := h(p.ua)
		y -= k
		u.fill(Rect{box.X, y, box.W, k}, u.theme.Load, 0)
		u.line(box.X, y, box.X+box.W, y, u.theme.Ground, 3)
		label(fmt.Sprintf("%s|at most %s", p.name, amps(int64(p.ua))), y, k)
	}
	if k := h(reserve); k > 1 {
		y -= k
		u.add(Op{Kind: Hatch, X: box.X, Y: y, W: box.W, H: k, Color: u.theme.Load, Width: 1})
		why := "for a start|"
		if lap := m.lap(); lap != nil && m.run.last.Budget < lap.Budget-1000 {
			why = "budget climbs|" // back to the state's, after a start or at the beginning
		}
		label(why+amps(int64(reserve)), y, k)
	}
	base := y
	k := h(draws)
	u.fill(Rect{box.X, base - k, box.W, k}, u.theme.Accent, 0)
	label("light|"+amps(int64(draws)), base-k, k)
	rim := base - h(budget)
	u.line(box.X-5, rim, box.X+box.W+5, rim, u.theme.Limit, 3)
	u.text("budget", box.X+box.W+10, rim+3, small, u.theme.Limit, Left)
	u.frame(box, u.theme.Rule, 2)
	share := 0.0
	if budget > 0 {
		share = 100 * draws / budget
	}
	u.text(fitted(fmt.Sprintf("light's budget %s", amps(int64(budget))), r.W, small), r.X, r.Y+r.H-42, small, u.theme.Limit, Left)
	u.text(fitted(fmt.Sprintf("light: %.0f %% of it", share), r.W, small), r.X, r.Y+r.H-25, small, u.theme.Ink, Left)
	if g := m.run.grant; g != "" {
		u.text(fitted(g, r.W, small), r.X, r.Y+r.H-8, small, u.theme.Pale, Left)
	}
}
