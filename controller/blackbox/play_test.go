package blackbox

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/controller/link"
	"paneglow/render/power"
	"paneglow/render/table"
)

// cabinet is an invented umbrella cabinet at a tram stop: states with every
// hand-over, a still one, a clip that follows a value, one that begins by lot, loads,
// a slew, a timetable, a silent host, a longest stay.
func cabinet(t testing.TB, pack table.Pack) *table.Table {
	s := &table.Show{
		Title: "cabinet", FPS: 40, Steady: 500_000, Surge: 900_000, Least: 100_000, Raise: 100, Slew: 9000,
		Silence: 3000, Then: 0, Lines: []string{"a", "b"},
		Parts: []table.Part{{Name: "p", Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}},
			Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000}},
		Strips: []table.Strip{{Name: "left", Pixels: 9, Missing: []int{4}}, {Name: "right", Line: 1, Pixels: 8}},
		Loads:  []table.Load{{Name: "carousel", Run: 150_000, Start: 500_000}, {Name: "lock", Run: 30_000, Start: 100_000}},
		States: []table.State{
			{Name: "rest", HandOver: show.Crossfade, Fade: 400, Then: table.None, Budget: 500_000},
			{Name: "turning", Clip: 1, Loads: 1, Still: true, AtMost: 5000, Then: 4, Budget: 200_000},
			{Name: "thanks", Clip: 2, HandOver: show.Finish, Then: table.None, Budget: 500_000},
			{Name: "lift", Clip: 3, HandOver: show.Crossfade, Fade: 200, Then: table.None, Budget: 450_000},
			{Name: "fault", Clip: 4, Then: table.None, Budget: 500_000},
		},
		Levels: []table.Level{{From: 6 * 3600, Days: 0x7f, Lightness: 1000}, {From: 22 * 3600, Days: 0x7f, Lightness: 400}},
	}
	n := s.Channels()
	paint := func(frames int, code func(f, i int) int) []byte {
		var b []byte
		for f := range frames {
			for i := range n {
				b = append(b, uint8(min(max(code(f, i), 0), 255)))
			}
			clear(b[len(b)-n+4*3 : len(b)-n+5*3])
		}
		return b
	}
	clips := []table.Clip{
		{Name: "rest", Frames: 80, Channels: n, Loop: true, Bytes: paint(80, func(f, i int) int { return 240 - max(f*3%240, i*4) })},
		{Name: "turning", Frames: 1, Channels: n, Bytes: paint(1, func(_, i int) int { return 140 + i%3*30 })},
		{Name: "thanks", Frames: 60, Channels: n, Loop: true, Random: true, Bytes: paint(60, func(f, i int) int { return (f*7 + i*11) % 256 })},
		{Name: "lift", Frames: 256, Channels: n, Value: true, Bytes: paint(256, func(f, i int) int { return 9 * (f - i*5) })},
		{Name: "fault", Frames: 40, Channels: n, Loop: true, Bytes: paint(40, func(f, i int) int { return []int{200, 0, 0}[i%3] * (f / 20) })},
	}
	var out bytes.Buffer
	_, err := table.Write(&out, s, clips, table.Options{Pack: pack, Workers: 1})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

// wires is what codes look like on the data lines, the slow way.
func wires(s *table.Show, codes []byte, dead []int) string {
	lines := make([]string, len(s.Lines))
	at, first := 0, 0
	for _, st := range s.Strips {
		p := s.Parts[st.Part]
		gone := map[int]bool{}
		for _, m := range st.Missing {
			gone[first+m] = true
		}
		for _, d := range dead {
			gone[d] = true
		}
		for px := range st.Pixels {
			if !gone[first+px] {
				for _, die := range p.Order {
					lines[st.Line] += fmt.Sprintf("%02x", codes[at+strings.IndexRune("RGBW", die)])
				}
			}
			at += p.Dies
		}
		first += st.Pixels
	}
	return strings.Join(lines, " ")
}

// same plays every refresh of the log's spans again and holds it against what the
// machine latched; and again from every check point. It gives how many refreshes of
// a run were compared.
func same(t require.TestingT, l *Log, tabs map[uint32]*table.Table, latched map[int]map[uint32]latch) (compared map[int]int) {
	compared = map[int]int{}
	spans := l.Spans()
	for k := range spans {
		s := &spans[k]
		starts := []uint32{s.From}
		for _, c := range s.checks {
			starts = append(starts, s.records[c].Refresh)
		}
		for n, from := range starts {
			p, err := s.Play(tabs[s.Sum], from)
			require.NoError(t, err, "%v", s)
			dst := make([]uint8, tabs[s.Sum].Channels())
			to := s.To
			if n > 0 {
				to = min(to, from+300)
			}
			for i := from; i <= to; i++ {
				_, err := p.Next(dst)
				require.NoError(t, err)
				want, ok := latched[s.Run][i]
				if !ok || !want.sent {
					continue // a still state that kept what it showed
				}
				require.Equal(t, want.lines, wires(&tabs[s.Sum].Show, dst, p.dead), "refresh %d of %v, played from %d", i, s, from)
				if n == 0 {
					compared[s.Run]++
				}
			}
		}
	}
	return compared
}

// drawn says something that a machine may be told.
func drawn(m *machine, r *rand.Rand, tab *table.Table) {
	switch r.IntN(12) {
	case 0, 1, 2:
		m.send(link.State, uint8(r.IntN(len(tab.States))))
	case 3:
		m.send(link.Value, uint8(r.IntN(256)))
	case 4:
		m.send(link.Load, uint8(r.IntN(2)), uint8(r.IntN(3)))
	case 5:
		m.send(link.Loads, uint8(r.IntN(4)), 0)
	case 6:
		m.send(link.Level, link.LevelBody(uint16(r.IntN(1001)))...)
	case 7:
		m.send(link.Clock, link.ClockBody(uint8(r.IntN(7)), []uint32{22*3600 - 2, 6*3600 - 3, 86399, uint32(r.IntN(86400))}[r.IntN(4)])...)
	case 8:
		m.send(link.Service, uint8(max(0, r.IntN(5)-2)))
	case 9:
		m.send(link.Dead, uint8([]int{0, 7, 8, 9, 16}[r.IntN(5)]), 0, uint8(r.IntN(2)))
	case 10:
		m.send(link.Alive)
	case 11:
		m.send(link.Loads, 0, 0)
		m.send(link.Service, 0)
	}
}

// Whatever a machine is told, what it latched is what its black box plays again.
func TestReplayIsWhatWasLatched(t *testing.T) {
	tabs := []*table.Table{cabinet(t, table.Plain), cabinet(t, table.Quick)}
	tab := tabs[0]
	plain := program(t, &tab.Show, sanitized...)
	// A memory that may be worn out for the test: nothing is left out, and there are
	// check points to begin from and to play past.
	eager := program(t, &tab.Show, "-O1", "-DPG_LOG_EVERY=5000ul", "-DPG_LOG_UNITS=8u", "-DPG_LOG_CHECK_EVERY=3ul")
	for seed := range uint64(12) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			prog := plain
			if seed > 2 {
				prog = eager
			}
			r := rand.New(rand.NewPCG(seed, 3))
			tab := tabs[seed%2]
			m := newMachine(t, prog, tab.ForController(), r.Uint64())
			m.say("show 1\npower 1")
			for m.run(30 * time.Millisecond); len(m.latched) == 0; m.run(30 * time.Millisecond) {
			}
			for range 150 {
				for range r.IntN(3) {
					drawn(m, r, tab)
				}
				if r.IntN(8) == 0 {
					m.say("spoil") // a clip is lost, if it is a coded one
				}
				if r.IntN(30) == 0 {
					c := tab.Clips[r.IntN(len(tab.Clips))]
					m.say("flip %d", int(c.Offset)+int(c.Length)) // its checksum
				}
				require.True(t, m.run(time.Duration(r.IntN(900_000))*time.Microsecond))
			}
			l := m.log()
			latched := map[int]map[uint32]latch{0: {}}
			for _, x := range m.latched {
				latched[0][x.number] = x
			}
			got := same(t, l, map[uint32]*table.Table{TableSum(tab): tab}, latched)
			spans := l.Spans()
			t.Logf("%d refreshes latched, %d compared; %d records; %v", len(m.latched), got[0], len(l.Entries), words(spans, nil))
			require.Greater(t, got[0], len(m.latched)/8)
			if seed > 2 {
				sent := 0
				for _, x := range m.latched {
					if x.sent && x.number <= spans[0].To {
						sent++
					}
				}
				if len(spans) == 1 { // two clips lost in one refresh are more than it can tell
					require.Equal(t, sent, got[0], "every refresh that was sent")
				} else {
					require.Contains(t, spans[0].Why, "1 records were left out")
				}
			}
		})
	}
}
