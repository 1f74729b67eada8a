package power

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"paneglow/anim/show"
)

// Budget is the most that the lights may draw.
type Budget struct {
	Limit   int64    // microamperes at the supply, idle included; negative when the loads alone ask too much
	Why     string   // the arithmetic in words, such as "8.3 A x 80 % less carousel 6 A (stall)"
	Load    string   // the load without which it would be largest, or "" when there is none
	Further []Budget // of the machine's further supplies, in their order
}

// At is the budget of one supply: 0 is the first.
func (b Budget) At(supply int) Budget {
	if supply == 0 {
		return Budget{Limit: b.Limit, Why: b.Why, Load: b.Load}
	}
	return b.Further[supply-1]
}

// Supplies is the number of supplies that the budget speaks of.
func (b Budget) Supplies() int { return 1 + len(b.Further) }

// Limits are the limits of all supplies.
func (b Budget) Limits() []int64 {
	out := []int64{b.Limit}
	for _, f := range b.Further {
		out = append(out, f.Limit)
	}
	return out
}

// Total is what all supplies give together.
func (b Budget) Total() int64 {
	sum := int64(0)
	for _, l := range b.Limits() {
		sum += l
	}
	return sum
}

// String is the limit and its arithmetic: "3.2 A (8.3 A x 100 % less ...)", of
// each supply.
func (b Budget) String() string {
	var out []string
	for i := range b.Supplies() {
		out = append(out, fmt.Sprintf("%s (%s)", Amps(b.At(i).Limit), b.At(i).Why))
	}
	return strings.Join(out, " and ")
}

// together joins budgets of one machine's supplies.
func together(each []Budget) Budget {
	b := each[0]
	if len(each) > 1 {
		b.Further = each[1:]
	}
	return b
}

// smaller takes the smaller budget supply by supply.
func smaller(a, b Budget) Budget {
	each := make([]Budget, a.Supplies())
	for i := range each {
		each[i] = a.At(i)
		if o := b.At(i); o.Limit < each[i].Limit {
			each[i] = o
		}
	}
	return together(each)
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

// Derated is what the supply gives at its temperature, in microamperes,
// rounded down: its amps, or less by its curve.
func Derated(s *show.Supply) int64 { return mulDiv(int64(s.Amps), derating(s)) }

// derating is the share of its amps that a supply gives, in millionths, in
// whole numbers all the way: budgets follow from it. Temperatures count in
// thousandths of a degree.
func derating(s *show.Supply) int64 {
	if len(s.Derate) == 0 {
		return 1_000_000
	}
	milli := func(t float64) int64 { return int64(math.Round(t * 1000)) }
	at := milli(float64(s.Temperature))
	share := int64(s.Derate[0].Share)
	for i := 1; i < len(s.Derate); i++ {
		a, b := s.Derate[i-1], s.Derate[i]
		if lo, hi := milli(float64(a.At)), milli(float64(b.At)); at > lo {
			share = int64(a.Share) - ceilDiv(int64(a.Share-b.Share)*(min(at, hi)-lo), hi-lo)
		}
	}
	return share
}

// Steady and Surge are what the supply may be loaded with for good, and for
// the second in which a load starts, in microamperes, rounded down.
func Steady(s *show.Supply) int64 { return mulDiv(Derated(s), int64(s.Share)) }

// Surge: see Steady.
func Surge(s *show.Supply) int64 { return mulDiv(Derated(s), int64(s.Surge)) }

func mulDiv(ua, millionths int64) int64 {
	// In two steps, so that no supply overflows 64 bits.
	return ua/1_000_000*millionths + ua%1_000_000*millionths/1_000_000
}

// StateBudget is what the lights may draw in a state, from each supply: the
// smaller of
//
//	(a) amps x share - running amps of every load that may run in it, and
//	(b) amps x surge - the largest, over its loads k, of
//	    (start amps of k + running amps of the others),
//
// its loads being those that hang on that supply, its amps those that it gives
// at its temperature. A load that can jam counts with its stall amps. It panics
// when state is not one of the show's; names of loads that the machine does not
// have are refused where files are read and skipped here.
func StateBudget(s *show.Show, m *show.Machine, state int) Budget {
	return budgetBeside(m, s.States[state].Loads)
}

// budgetBeside is the budget beside loads of some names.
func budgetBeside(m *show.Machine, names []string) Budget {
	var each []Budget
	for i, supply := range m.Supplies() {
		var loads []*show.Load
		for k := range m.Loads {
			if slices.Contains(names, m.Loads[k].Name) && m.SupplyIndex(m.Loads[k].Supply) == i {
				loads = append(loads, &m.Loads[k])
			}
		}
		each = append(each, budgetOf(supply, loads))
	}
	return together(each)
}

// limit is the smaller of (a) and (b) beside loads that may all run, one
// starting at a time, and the load whose start (b) takes, or -1 for (a).
func limit(s *show.Supply, loads []*show.Load) (ua int64, starter int) {
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
		return surge - peak, worst
	}
	return steady - all, -1
}

// budgetOf writes the arithmetic down and names the load to blame: the one
// without which the budget would be largest. That need not be the largest one:
// a load whose start is the worst leaves the next one's start behind.
func budgetOf(s *show.Supply, loads []*show.Load) Budget {
	ua, starter := limit(s, loads)
	share := int64(s.Share)
	if starter >= 0 || len(loads) == 0 && Surge(s) < Steady(s) {
		share = int64(s.Surge)
	}
	b := Budget{Limit: ua}
	b.Why = Amps(int64(s.Amps)) + " x " + decimal(share, 4) + " %"
	if d := derating(s); d < 1_000_000 {
		b.Why = fmt.Sprintf("%s x %s %% at %v x %s %%", Amps(int64(s.Amps)), decimal(d, 4), s.Temperature, decimal(share, 4))
	}
	if s.Name != "" {
		b.Why = "supply " + s.Name + ": " + b.Why
	}
	var words []string
	gain := int64(0)
	for i, l := range loads {
		ua, word := running(l)
		if i == starter {
			ua, word = starting(l)
		}
		words = append(words, fmt.Sprintf("%s %s (%s)", l.Name, Amps(ua), word))
		without, _ := limit(s, slices.Delete(slices.Clone(loads), i, i+1))
		if without-b.Limit > gain {
			gain, b.Load = without-b.Limit, l.Name
		}
	}
	if len(words) > 0 {
		b.Why += " less " + strings.Join(words, ", ")
	}
	return b
}

// ShowBudget is the smallest budget of all states: what the player keeps when
// it does not know which loads run. Without states it is the supply's own.
func ShowBudget(s *show.Show, m *show.Machine) Budget {
	if len(s.States) == 0 {
		return budgetBeside(m, nil)
	}
	least := StateBudget(s, m, 0)
	for i := 1; i < len(s.States); i++ {
		least = smaller(least, StateBudget(s, m, i))
	}
	return least
}

// ClipBudgets is the budget of every clip of the show, in its order: the
// smallest among the states that can show it, from each supply. A state shows
// its own clip; a state that is entered by a crossfade or by finishing also
// shows whatever was on the panel before, and since the machine may go from any
// state to any other, that is every other state's clip. A clip that no state
// shows keeps the show's budget.
//
// Moves that the player makes by itself do not lower a clip for good: the
// player itself keeps the show's budget after them until it is told which
// loads run (see EnteredAlone for the states concerned).
func ClipBudgets(s *show.Show, m *show.Machine) []Budget {
	budgets := make([]Budget, len(s.Clips))
	seen := make([]bool, len(s.Clips))
	lower := func(clip int, b Budget) {
		if !seen[clip] {
			budgets[clip], seen[clip] = b, true
			return
		}
		budgets[clip] = smaller(budgets[clip], b)
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
