package stream

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"paneglow/controller/link"
	"paneglow/controller/upload"
	"paneglow/render/table"
)

// ErrTable is the kind of an error that says why a controller cannot be streamed to
// by a table: it holds another one.
var ErrTable = errors.New("stream: the controller's own table is another one")

// Check compares what a controller plays with a table whose frames are to be
// streamed: the panel, the frame rate, and all that states, supplies, loads and
// levels say in numbers. Clips may differ. The error is an ErrTable that names the
// first difference.
func Check(ctx context.Context, c *link.Conn, t *table.Table) error {
	h, err := upload.Playing(ctx, c)
	if err != nil {
		return fmt.Errorf("reading the controller's table: %w", err)
	}
	if h == nil {
		return fmt.Errorf("%w: none that can be read back plays; upload the show first", ErrTable)
	}
	if a, b := t.PanelSum(), h.PanelSum(); a != b {
		return fmt.Errorf("%w, and for another panel: fingerprint %08x here, %08x there; name the table that was exported for this machine", ErrTable, a, b)
	}
	if what := differs(&t.Show, &h.Show); what != "" {
		return fmt.Errorf("%w: %s; upload the show first", ErrTable, what)
	}
	return nil
}

// differs names the first number in which two shows differ, leaving names and clips
// out; "" for none.
func differs(a, b *table.Show) string {
	type number struct {
		what string
		a, b int64
	}
	flag := func(b bool) int64 {
		if b {
			return 1
		}
		return 0
	}
	n := []number{
		{"the wiring", int64(a.PanelSum()), int64(b.PanelSum())},
		{"the frame rate", int64(a.FPS), int64(b.FPS)},
		{"the time of silence, in milliseconds,", a.Silence, b.Silence},
		{"the state after a silence", int64(a.Then), int64(b.Then)},
		{"the number of supplies", int64(len(a.Further)), int64(len(b.Further))},
		{"the number of loads", int64(len(a.Loads)), int64(len(b.Loads))},
		{"the number of states", int64(len(a.States)), int64(len(b.States))},
		{"the number of levels", int64(len(a.Levels)), int64(len(b.Levels))},
	}
	first := func() string {
		for _, x := range n {
			if x.a != x.b {
				return fmt.Sprintf("%s is %d here, %d there", x.what, x.a, x.b)
			}
		}
		return ""
	}
	if what := first(); what != "" {
		return what
	}
	n = n[:0]
	there := b.Supplies()
	for i, x := range a.Supplies() {
		y, of := there[i], fmt.Sprintf("of supply %d ", i)
		n = append(n, number{of + "the steady current, in uA,", x.Steady, y.Steady}, number{of + "the surge, in uA,", x.Surge, y.Surge},
			number{of + "the least budget, in uA,", x.Least, y.Least}, number{of + "the raise, in uA a ms,", x.Raise, y.Raise}, number{of + "the slew, in uA a ms,", x.Slew, y.Slew})
	}
	for i, x := range a.Loads {
		y, of := b.Loads[i], fmt.Sprintf("of load %q ", x.Name)
		n = append(n, number{of + "the running current, in uA,", x.Run, y.Run}, number{of + "the starting current, in uA,", x.Start, y.Start}, number{of + "the supply", int64(x.Supply), int64(y.Supply)})
	}
	for i := range a.States {
		x, y := &a.States[i], &b.States[i]
		of := fmt.Sprintf("of state %q ", x.Name)
		n = append(n, number{of + "the hand-over", int64(x.HandOver), int64(y.HandOver)}, number{of + "the crossfade, in ms,", x.Fade, y.Fade},
			number{of + "the loads", int64(x.Loads), int64(y.Loads)}, number{of + "the mark of a still", flag(x.Still), flag(y.Still)},
			number{of + "the longest stay, in ms,", x.AtMost, y.AtMost}, number{of + "the state after it", int64(x.Then), int64(y.Then)},
			number{of + "the budget, in uA,", x.Budget, y.Budget})
		if !slices.Equal(x.Further, y.Further) {
			return of + "the budgets of further supplies differ"
		}
	}
	for i, x := range a.Levels {
		if x != b.Levels[i] {
			return fmt.Sprintf("level %d differs", i)
		}
	}
	return first()
}
