package blackbox

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/render/table"
)

// Power goes at every byte of the black box's writing and erasing, in units so small
// that they are erased all the time. Starts are counted one by one, or by none when
// the very record was torn; numbers only grow; and what the log knows of the last
// run is what was latched.
func TestPowerGoesAtEveryByte(t *testing.T) {
	tab := cabinet(t, table.Plain)
	for _, c := range []struct {
		name  string
		flags []string
	}{
		{"cells", []string{"-DPG_STORE_UNIT=512u", "-DPG_STORE_PAGE=64u", "-DPG_LOG_UNITS=3u"}},
		{"pages written once", []string{"-DPG_STORE_UNIT=512u", "-DPG_STORE_PAGE=256u", "-DPG_STORE_CELL=256u", "-DPG_LOG_UNITS=3u"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			prog := program(t, &tab.Show, append([]string{"-O1", "-DPG_SLOT_SIZE=8192ul", "-DPG_LOG_EVERY=1000ul"}, c.flags...)...)
			m := newMachine(t, prog, tab.ForController(), 5)
			r := rand.New(rand.NewPCG(1, 1))
			m.say("show 1")
			starts, torn, compared, last := 0, 0, 0, uint32(0)
			for n := 1; n < 130; n++ {
				m.say("power 1")
				m.say("fail %d", n)
				m.latched = m.latched[:0]
				for range 40 {
					drawn(m, r, tab)
					if !m.run(time.Duration(r.IntN(200)) * time.Millisecond) {
						break
					}
				}
				m.say("fail -1")
				m.say("off")
				m.say("power 1")
				m.latched = m.latched[:0]
				m.run(800 * time.Millisecond)
				m.send(link.State, uint8(r.IntN(5)))
				m.run(500 * time.Millisecond)
				now, _, _, _, _, _, _, _ := m.peek()
				require.GreaterOrEqual(t, now, starts+1, "after %d bytes", n)
				require.LessOrEqual(t, now, starts+2, "after %d bytes", n)
				if now == starts+1 {
					torn++
				}
				starts = now

				l := m.log()
				require.NotEmpty(t, l.Entries)
				end := l.Entries[len(l.Entries)-1].Number
				require.Greater(t, end, last)
				last = end
				spans := l.Spans()
				require.NotEmpty(t, spans, "after %d bytes", n)
				s := &spans[len(spans)-1]
				latched := map[uint32]latch{}
				for _, x := range m.latched {
					latched[x.number] = x
				}
				p, err := s.Play(tab, s.From)
				require.NoError(t, err)
				dst := make([]uint8, tab.Channels())
				for i := s.From; i <= s.To; i++ {
					_, err := p.Next(dst)
					require.NoError(t, err)
					if x, ok := latched[i]; ok && x.sent {
						require.Equal(t, x.lines, wires(&tab.Show, dst, p.dead), "refresh %d after %d bytes", i, n)
						compared++
					}
				}
				m.say("off")
			}
			t.Logf("%d starts counted, %d torn; %d refreshes compared; log at record %d", starts, torn, compared, last)
			require.Positive(t, torn)
			require.Greater(t, compared, 3_000)
		})
	}
}
