package power

import (
	"fmt"
	"strconv"
	"strings"

	"paneglow/anim/show"
)

// Budget is the most that the lights may draw.
type Budget struct {
	Limit int64  // microamperes at the supply, idle included; negative when the loads alone ask too much
	Why   string // the arithmetic in words, such as "8.3 A x 80 % less carousel 6 A (stall)"
	Load  string // the load that takes most of it, or "" when none does
}

// running is what a load counts with while it may run, and the word for it. A
// load that can jam draws its stall amps until its cut-off, which may be any
// moment while it runs.
func running(l *show.Load) (int64, string) {
	if l.Stall > l.Amps {
		return int64(l.Stall), "stall"
	}
	return int64(l.Amps), "running"
}

// starting is what a load counts with while it starts, its running current
// included: a start current never counts for less than the running one.
func starting(l *show.Load) (int64, string) {
	run, word := running(l)
	if int64(l.Start) > run {
		return int64(l.Start), "start"
	}
	return run, word
}

// LoadCurrents is what load i of the machine counts with, in microamperes:
// while it may run, and while it starts.
func LoadCurrents(l *show.Load) (run, start int64) {
	run, _ = running(l)
	start, _ = starting(l)
	return run, start
}

// Steady and Surge are what the supply may be loaded with for good, and for
// the second in which a load starts, in microamperes, rounded down.
func Steady(s *show.Supply) int64 { return mulDiv(int64(s.Amps), int64(s.Share)) }

// Surge: see Steady.
func Surge(s *show.Supply) int64 { return mulDiv(int64(s.Amps), int64(s.Surge)) }

func mulDiv(ua, millionths int64) int64 {
	// In two steps, so that no supply overflows 64 bits.
	return ua/1_000_000*millionths + ua%1_000_000*millionths/1_000_000
}

// StateBudget is what the lights may draw in a state: the smaller of
//
//	(a) amps x share - running amps of every load that may run in it, and
//	(b) amps x surge - the largest, over its loads k, of
//	    (start amps of k + running amps of the others).
//
// A load that can jam counts with its stall amps. It panics when state is not
// one of the show's; names of loads that the machine does not have are
// refused where files are read and skipped here.
func StateBudget(s *show.Show, m *show.Machine, state int) Budget {
	var loads []*show.Load
	for i := range m.Loads {
		for _, name := range s.States[state].Loads {
			if m.Loads[i].Name == name {
				loads = append(loads, &m.Loads[i])
				break
			}
		}
	}
	return budgetOf(&m.Supply, loads)
}

// budgetOf is the budget beside loads that may all run, one starting at a time.
func budgetOf(s *show.Supply, loads []*show.Load) Budget {
	steady, surge := Steady(s), Surge(s)
	var all int64
	for _, l := range loads {
		run, _ := running(l)
		all += run
	}
	worst := -1 // the load whose start asks most
	var peak int64
	for i, l := range loads {
		run, _ := running(l)
		start, _ := starting(l)
		if d := all - run + start; worst < 0 || d > peak {
			worst, peak = i, d
		}
	}
	if worst >= 0 && surge-peak < steady-all || surge < steady && worst < 0 {
		return explain(s, surge-peak, int64(s.Surge), loads, worst)
	}
	return explain(s, steady-all, int64(s.Share), loads, -1)
}

// explain writes the arithmetic down and names the load that takes most.
func explain(s *show.Supply, limit, share int64, loads []*show.Load, starter int) Budget {
	b := Budget{Limit: limit}
	var words []string
	var most int64
	for i, l := range loads {
		ua, word := running(l)
		if i == starter {
			ua, word = starting(l)
		}
		if ua > most {
			most, b.Load = ua, l.Name
		}
		words = append(words, fmt.Sprintf("%s %s (%s)", l.Name, Amps(ua), word))
	}
	b.Why = Amps(int64(s.Amps)) + " x " + decimal(share, 4) + " %"
	if len(words) > 0 {
		b.Why += " less " + strings.Join(words, ", ")
	}
	return b
}

// ShowBudget is the smallest budget of all states: what the player keeps when
// it does not know which loads run. Without states it is the supply's own.
func ShowBudget(s *show.Show, m *show.Machine) Budget {
	if len(s.States) == 0 {
		return budgetOf(&m.Supply, nil)
	}
	least := StateBudget(s, m, 0)
	for i := 1; i < len(s.States); i++ {
		if b := StateBudget(s, m, i); b.Limit < least.Limit {
			least = b
		}
	}
	return least
}

// ClipBudgets is the budget of every clip of the show, in its order: the
// smallest among the states that can show it. A state shows its own clip; a
// state that is entered by a crossfade or by finishing also shows whatever was
// on the panel before, and since the machine may go from any state to any
// other, that is every other state's clip. A clip that no state shows keeps
// the show's budget.
//
// Moves that the player makes by itself do not lower a clip for good: the
// player itself keeps the show's budget after them until it is told which
// loads run (see EnteredAlone for the states concerned).
func ClipBudgets(s *show.Show, m *show.Machine) []Budget {
	budgets := make([]Budget, len(s.Clips))
	seen := make([]bool, len(s.Clips))
	lower := func(clip int, b Budget) {
		if !seen[clip] || b.Limit < budgets[clip].Limit {
			budgets[clip], seen[clip] = b, true
		}
	}
	clipOf := make([]int, len(s.States))
	for i := range s.States {
		clipOf[i] = -1
		for c := range s.Clips {
			if s.Clips[c].Name == s.States[i].Clip {
				clipOf[i] = c
			}
		}
	}
	for i := range s.States {
		b := StateBudget(s, m, i)
		for j := range s.States {
			if clipOf[j] >= 0 && (i == j || s.States[i].HandOver != show.Cut) {
				lower(clipOf[j], b)
			}
		}
	}
	for c := range budgets {
		if !seen[c] {
			budgets[c] = ShowBudget(s, m)
		}
	}
	return budgets
}

// EnteredAlone tells for every state whether the player may enter it by
// itself: the first one at start and reset, the one a silent host leads to,
// and those that a longest stay leads to. There the show's smallest budget
// holds until the firmware says which loads run.
func EnteredAlone(s *show.Show) []bool {
	alone := make([]bool, len(s.States))
	for i := range s.States {
		name := s.States[i].Name
		alone[i] = i == 0 || s.Host.Silence > 0 && s.Host.Then == name
		for j := range s.States {
			alone[i] = alone[i] || s.States[j].AtMost > 0 && s.States[j].Then == name
		}
	}
	return alone
}

// Amps prints microamperes as amperes, exactly: "8.3 A".
func Amps(ua int64) string { return decimal(ua, 6) + " A" }

// decimal prints v/10^places without trailing zeros.
func decimal(v int64, places int) string {
	sign := ""
	if v < 0 {
		sign, v = "-", -v
	}
	s := strconv.FormatInt(v, 10)
	for len(s) <= places {
		s = "0" + s
	}
	whole, frac := s[:len(s)-places], strings.TrimRight(s[len(s)-places:], "0")
	if frac != "" {
		frac = "." + frac
	}
	return sign + whole + frac
}
