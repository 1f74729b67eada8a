package blackbox

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/controller/link"
	"paneglow/render/power"
	"paneglow/render/table"
)

const (
	soakFPS     = 10
	soakSilence = 5 * time.Second
)

// shelf is a small panel for a long time: four pixels, three states, a load.
func shelf(t testing.TB, bright uint8) *table.Table {
	s := &table.Show{Title: "shelf", FPS: soakFPS, Then: 0, Silence: soakSilence.Milliseconds(), Lines: []string{"a"},
		Steady: 400_000, Surge: 600_000, Least: 60_000, Raise: 400,
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
			Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}},
		Strips: []table.Strip{{Name: "s", Pixels: 4}},
		Loads:  []table.Load{{Name: "ring", Run: 100_000, Start: 300_000}},
		States: []table.State{
			{Name: "rest", HandOver: show.Crossfade, Fade: 600, Then: table.None, Budget: 400_000},
			{Name: "turning", Clip: 1, Loads: 1, Still: true, AtMost: 20_000, Then: 0, Budget: 300_000},
			{Name: "lift", Clip: 2, Then: table.None, Budget: 400_000}},
	}
	clips := []table.Clip{{Name: "rest", Frames: 30, Loop: true}, {Name: "turning", Frames: 1}, {Name: "lift", Frames: 256, Value: true}}
	for i := range clips {
		c := &clips[i]
		c.Channels = 12
		for f := range c.Frames {
			c.Bytes = append(c.Bytes, bytes.Repeat([]byte{bright, uint8(f), 20}, 4)...)
		}
	}
	var out bytes.Buffer
	_, err := table.Write(&out, s, clips, table.Options{Pack: table.Plain, Workers: 1})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

func crc32c(b []byte) uint32 { return crc32.Checksum(b, crc32.MakeTable(crc32.Castagnoli)) }

// soak is what the driver did, against which the controller's counters are held.
type soak struct {
	t                             testing.TB
	m                             *machine
	r                             *rand.Rand
	tabs                          [2]*table.Table
	starts, brownOuts             int
	silences, bad                 int // since the last start
	begun                         time.Duration
	heard                         time.Duration
	silent                        bool
	plays                         uint32 // sum of the table that plays, 0: the built-in one
	uploads, broken, cuts, deaths int
	states, values, granted       int
}

// power switches it on, and waits for it to play.
func (s *soak) power(cause int) {
	s.m.say("power %d", cause)
	s.starts++
	if cause&4 != 0 {
		s.brownOuts++
	}
	s.silences, s.bad = 0, 0
	s.silent = false
	s.begun, s.heard = s.m.clock, s.m.clock
	require.True(s.t, s.m.run(time.Second))
}

// pass lets time go by and counts the silence that the controller should see.
func (s *soak) pass(d time.Duration) bool {
	ok := s.m.run(d)
	if !s.silent && s.m.clock-s.heard > soakSilence+time.Second {
		s.silent = true
		s.silences++
	}
	return ok
}

func (s *soak) heardNow() {
	s.heard, s.silent = s.m.clock, false
}

// ask is a question of the computer, whose answer must come.
func (s *soak) ask(kind link.Kind, body ...byte) (link.Status, []byte) {
	status, b := s.m.ask(kind, body...)
	s.heardNow()
	return status, b
}

// look holds the counters against what was done.
func (s *soak) look() {
	starts, refreshes, silences, lost, late, _, _, trouble := s.m.peek()
	require.Equal(s.t, s.starts, starts, "starts since the installation")
	require.Equal(s.t, s.silences, silences, "silent hosts since the last start")
	require.Equal(s.t, s.bad, lost, "damaged frames since the last start")
	require.Zero(s.t, late)
	require.Zero(s.t, trouble)
	require.InDelta(s.t, (s.m.clock-s.begun).Seconds()*soakFPS, refreshes, 15)
}

// upload loads the other table; with fails, power goes after so many bytes of the
// memory have changed.
func (s *soak) upload(fails int) {
	tab := s.tabs[s.r.IntN(2)]
	b := tab.ForController()
	u32 := func(v int) []byte { return binary.LittleEndian.AppendUint32(nil, uint32(v)) }
	if fails > 0 {
		s.m.say("fail %d", fails)
	}
	switched := false
	load := func() link.Status {
		if st, _ := s.ask(link.Loads, 0, 0); st != link.OK {
			return st
		}
		sum := crc32c(b)
		body := append(append(u32(len(b)), u32(int(sum))...), u32(int(tab.PanelSum()))...)
		if st, _ := s.ask(link.Begin, body...); st != link.OK {
			return st
		}
		for at := 0; at < len(b); at += 240 {
			if st, _ := s.ask(link.Block, append(u32(at), b[at:min(at+240, len(b))]...)...); st != link.OK {
				return st
			}
		}
		switched = true
		st, _ := s.ask(link.Switch)
		return st
	}
	sum := crc32c(b)
	if st := load(); st == 0xff {
		s.broken++
		s.m.run(time.Duration(s.r.IntN(20)) * time.Second)
		s.power(1)
		_, id := s.ask(link.Hello, link.Version)
		got, err := link.ParseIdentity(id)
		require.NoError(s.t, err)
		if switched && got.Table == sum {
			s.plays = sum // the record was whole, only its answer was lost
		}
		require.Equal(s.t, s.plays, got.Table, "the old show plays, or the new one")
	} else {
		require.Equal(s.t, link.OK, st)
		s.uploads++
		s.plays = sum
		s.begun = s.m.clock
		s.m.say("fail -1")
	}
}

// second is one of the computer's.
func (s *soak) second() {
	r := s.r
	s.m.frames = s.m.frames[:0]
	switch n := r.IntN(2000); {
	case n < 4: // the computer is killed, and comes back
		s.deaths++
		for range []int{1 + r.IntN(3), 10 + r.IntN(200)}[r.IntN(2)] {
			s.pass(time.Second)
		}
		return
	case n < 6: // power goes
		s.look()
		s.cuts++
		s.m.say("off")
		s.m.run(time.Duration(r.IntN(40)) * time.Second)
		s.power([]int{1, 1, 2, 4, 8}[r.IntN(5)])
		return
	case n < 7:
		s.look()
		s.upload(0)
	case n < 8:
		s.look()
		s.upload(1 + r.IntN(3*len(s.tabs[0].ForController())))
	case n < 16: // a bit turns on the line
		w := link.Append(nil, link.Frame{Kind: link.State, Seq: 200, Body: []byte{1, 1, 1}})
		w[3] ^= 0x41
		s.m.say("take %x", w)
		s.bad++
	case n < 40:
		s.m.send(link.State, uint8(r.IntN(3)))
		s.states++
		s.heardNow()
	case n < 80:
		s.m.send(link.Value, uint8(r.IntN(256)))
		s.values++
		s.heardNow()
	case n < 90:
		s.m.send(link.Load, 0, link.LoadAsk)
		s.heardNow()
	case n < 100:
		s.m.send(link.Load, 0, link.LoadStopped)
		s.heardNow()
	case n < 103:
		s.m.send(link.Clock, link.ClockBody(uint8(r.IntN(7)), uint32(r.IntN(86400)))...)
		s.heardNow()
	default:
		s.m.send(link.Alive)
		s.heardNow()
	}
	s.pass(time.Second)
	for _, f := range s.m.frames {
		if f.Kind == link.Granted && len(f.Body) == 2 && f.Body[0] != 0 {
			s.granted++
			s.m.send(link.Load, 0, link.LoadRunning)
			s.heardNow()
		}
	}
}

// run lives through a time on a small panel: the computer dies and comes back, loads
// shows, power goes anywhere. The clock of the controller begins shortly before it
// comes round.
func run(t testing.TB, length time.Duration, seed uint64) *soak {
	s := &soak{t: t, r: rand.New(rand.NewPCG(seed, 7)), tabs: [2]*table.Table{shelf(t, 40), shelf(t, 90)}}
	built := shelf(t, 10)
	s.m = newMachine(t, program(t, &built.Show, "-O2", "-DPG_SLOT_SIZE=8192ul"), built.ForController(), 1<<32-60_000_000)
	s.power(1)
	for s.m.clock < length {
		s.second()
	}
	s.look()
	_, b := s.ask(link.Counters)
	counts, err := link.ParseCounters(b)
	require.NoError(t, err)
	require.EqualValues(t, s.starts, counts[link.Resets])
	require.EqualValues(t, s.brownOuts, counts[link.BrownOuts])

	// The log is whole: starts follow one another, and what it knows of the last run
	// can be played.
	l := s.m.log()
	last, seen := uint32(0), 0
	for i := range l.Entries {
		if r, ok := Parse(l.Entries[i].Number, l.Entries[i].Bytes); ok && r.Kind == Start {
			require.True(t, last == 0 || r.u32(1) == last+1, "start %d after start %d", r.u32(1), last)
			last = r.u32(1)
			seen++
		}
	}
	require.EqualValues(t, s.starts, max(last, uint32(s.starts)*b2u(seen == 0)))
	byTable := map[uint32]*table.Table{}
	for _, x := range append(s.tabs[:], built) {
		byTable[TableSum(x)] = x
	}
	spans := l.Spans()
	require.NotEmpty(t, spans)
	for i := range spans {
		if !spans[i].Known {
			continue
		}
		require.NotNil(t, byTable[spans[i].Sum])
		p, err := spans[i].Play(byTable[spans[i].Sum], spans[i].From)
		require.NoError(t, err)
		_, err = p.Next(make([]uint8, 12))
		require.NoError(t, err)
	}
	t.Logf("%v: %d starts, of them %d brown-outs; %d uploads, %d broken off by a cut; computer killed %d times; %d states, %d values, %d grants; log at record %d",
		length, s.starts, s.brownOuts, s.uploads, s.broken, s.deaths, s.states, s.values, s.granted, l.Entries[len(l.Entries)-1].Number)
	return s
}

func b2u(b bool) uint32 {
	if b {
		return 1
	}
	return 0
}

// Three hours of a machine's life, over the moment when its clock comes round.
func TestSoak(t *testing.T) {
	for seed := range uint64(3) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			run(t, 3*time.Hour, seed)
		})
	}
}

// BenchmarkSoak lives through seven days.
func BenchmarkSoak(b *testing.B) {
	for range b.N {
		s := run(b, 7*24*time.Hour, 1)
		require.Greater(b, s.uploads+s.broken, 100)
		b.ReportMetric(s.m.clock.Hours()/24, "soak_days")
	}
}
