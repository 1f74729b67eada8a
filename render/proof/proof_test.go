package proof_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/render/play"
	"paneglow/render/proof"
	"paneglow/render/table"
	"paneglow/render/table/tabletest"
)

// claims are the greatest currents that a certificate claims for a condition,
// whatever is shown.
func claims(c *proof.Certificate) map[string]int64 {
	out := map[string]int64{}
	for _, r := range c.Rows {
		k := fmt.Sprint(r.State, r.Known, r.Running, r.Starting, r.Supply)
		out[k] = max(out[k], r.Draws)
	}
	return out
}

// Whatever events come, no refresh draws more than its certificate's row
// claims, and no row claims more than its budget, but a dark panel's idle.
func TestNoRefreshExceedsItsRow(t *testing.T) {
	tables, refused, dark, exact := 0, 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		tab := tabletest.Draw(t)
		tables++
		cert, err := proof.Of(tab)
		if err != nil {
			refused++ // idle alone breaks a state's budget
			require.ErrorContains(t, err, "the dark panel alone draws")
			return
		}
		idle := map[string]int64{}
		for i, s := range tab.Supplies() {
			idle[s.Name] = tab.Meter().Of(i).Idle()
		}
		for _, r := range cert.Rows {
			if r.Dark {
				dark++
				require.Equal(t, idle[r.Supply], r.Draws)
				continue
			}
			require.LessOrEqual(t, r.Draws, r.Budget, "%+v", r)
			if r.Exact {
				exact++
			}
		}
		most := claims(cert)
		p, err := play.NewPlayer(tab, play.Options{Refreshes: rapid.IntRange(0, 2).Draw(t, "refreshes")})
		require.NoError(t, err)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "events"), 5))
		codes := make([]uint8, tab.Channels())
		var at play.Tick
		all := uint32(1)<<len(tab.Loads) - 1
		var known, running, asked, awaited uint32
		state := 0
		for range 60 {
			for r.IntN(3) == 0 {
				e := play.Event{Kind: play.Kind(r.IntN(int(play.Clock) + 1))}
				switch e.Kind {
				case play.State:
					e.Index = r.IntN(len(tab.States))
					state = e.Index
				case play.Value:
					e.Value = r.IntN(256)
				case play.Ask, play.Running, play.Stopped:
					if len(tab.Loads) == 0 {
						continue
					}
					e.Index = r.IntN(len(tab.Loads))
					bit := uint32(1) << e.Index
					known, asked = known|bit, asked&^bit
					switch e.Kind {
					case play.Ask:
						asked, awaited = asked|bit, awaited|bit
					case play.Running:
						running |= bit
					default:
						running, awaited = running&^bit, awaited&^bit
					}
				case play.Loads:
					e.Mask = uint32(r.IntN(1 << len(tab.Loads)))
					known, running, asked = all, e.Mask, awaited
				case play.Level:
					e.Value = r.IntN(1001)
				case play.Clock:
					e.Index, e.Value = r.IntN(7), r.IntN(86400)
				}
				require.NoError(t, p.Tell(at, e))
			}
			l := p.Next(codes)
			at, awaited = l.At, 0
			if l.State != state {
				state, known = l.State, 0
			}
			if !l.Sent {
				continue
			}
			key := func(known bool, running, starting uint32, supply string) string {
				return fmt.Sprint(tab.States[state].Name, known, names(tab, running), names(tab, starting), supply)
			}
			for i, s := range tab.Supplies() {
				k := key(false, 0, 0, s.Name) // some are known, which only lowers the budget further
				if known == all {
					k = key(true, running&^asked, asked, s.Name)
				}
				claim, ok := most[k]
				require.True(t, ok, "no row for %s", k)
				require.LessOrEqual(t, l.Supplies[i].Current, max(claim, idle[s.Name]))
			}
		}
	})
	t.Logf("%d tables, %d refused, %d dark rows, %d exact ones", tables, refused, dark, exact)
	require.Greater(t, exact, 0)
	require.Less(t, refused, tables/2)
}

func names(t *table.Table, bits uint32) []string {
	out := []string{}
	for i := range t.Loads {
		if bits>>i&1 != 0 {
			out = append(out, t.Loads[i].Name)
		}
	}
	return out
}

// The JSON is whole, one row a line, and reads back as it was.
func TestWrite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tab := tabletest.Draw(t)
		cert, err := proof.Of(tab)
		if err != nil {
			return
		}
		cert.Title = `a "},{" title`
		var b bytes.Buffer
		require.NoError(t, cert.Write(&b))
		var back proof.Certificate
		require.NoError(t, json.Unmarshal(b.Bytes(), &back))
		require.Equal(t, *cert, back)
		require.Equal(t, len(cert.Rows)+2, bytes.Count(b.Bytes(), []byte("\n")))
	})
}
