package sim

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/controller/blackbox"
	"paneglow/controller/link"
	"paneglow/controller/upload"
	"paneglow/render/power"
	"paneglow/render/table"
)

// lively is a small panel with every hand-over, a clip that follows a value, one
// that begins by lot, a load, a slew, a silent host; no still state, so that
// every refresh goes out.
func lively(t testing.TB) *table.Table {
	s := &table.Show{Title: "lively", FPS: 30, Then: 0, Silence: 2500, Lines: []string{"a"},
		Steady: 400_000, Surge: 600_000, Least: 90_000, Raise: 60, Slew: 9000,
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
			Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}},
		Strips: []table.Strip{{Name: "s", Pixels: 12}},
		Loads:  []table.Load{{Name: "ring", Run: 100_000, Start: 300_000}},
		States: []table.State{
			{Name: "rest", HandOver: show.Crossfade, Fade: 400, Then: table.None, Budget: 400_000},
			{Name: "thanks", Clip: 1, HandOver: show.Finish, Then: table.None, Budget: 350_000, Loads: 1},
			{Name: "lift", Clip: 2, AtMost: 3000, Then: 0, Budget: 400_000}},
	}
	clips := []table.Clip{{Name: "rest", Frames: 30, Loop: true}, {Name: "thanks", Frames: 20, Loop: true, Random: true}, {Name: "lift", Frames: 256, Value: true}}
	for i := range clips {
		c := &clips[i]
		c.Channels = 36
		for f := range c.Frames {
			for px := range 36 {
				c.Bytes = append(c.Bytes, uint8(f*7+px*13*(i+1)))
			}
		}
	}
	var out bytes.Buffer
	_, err := table.Write(&out, s, clips, table.Options{Pack: table.Plain, Workers: 1})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

// acrossTheWrap plays on the simulated chip for a time, while the computer tells it
// what chance brings; at its sixtieth second, or in its midst, the chip's clock comes
// round. Then the black box is read: what it plays again is what the strip has decoded
// from the wire. It gives how many refreshes were compared, and how many there were.
func acrossTheWrap(t *testing.T, length time.Duration) (seen, all int) {
	tab := lively(t)
	before := min(length/2, time.Minute)
	// More happens here than a memory should bear for years: nothing is left out.
	k := keep(t, true, 115200, 2, &tab.Show, "PG_LOG_EVERY=500000ul", fmt.Sprintf("CLOCK_AT=%dul", (1<<32-before.Microseconds())/4096))
	k.script = func(s *Script) { s.Until(length + time.Minute) }
	k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
		_, err := upload.Upload(ctx, c, tab, upload.Options{})
		require.NoError(t, err)
	})
	var log *blackbox.Log
	var counts []uint32
	k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
		r := rand.New(rand.NewPCG(2, 9))
		ask := func(kind link.Kind, body ...byte) {
			_, err := c.Ask(ctx, kind, body)
			require.NoError(t, err)
		}
		id, err := c.Hello(ctx)
		require.NoError(t, err)
		for l.Now.Of() < length {
			switch r.IntN(8) {
			case 0, 1:
				ask(link.State, uint8(r.IntN(3)))
			case 2:
				ask(link.Value, uint8(r.IntN(256)))
			case 3:
				ask(link.Load, 0, uint8(r.IntN(3)))
			case 4:
				ask(link.Loads, 0, 0)
			case 5:
				ask(link.Level, link.LevelBody(uint16(500+r.IntN(501)))...)
			case 6:
				ask(link.Service, uint8(max(0, r.IntN(6)-3)))
			case 7:
				time.Sleep(time.Duration(r.IntN(5000)) * time.Millisecond)
			}
			time.Sleep(time.Duration(200+r.IntN(1800)) * time.Millisecond)
		}
		log, err = blackbox.Fetch(ctx, c, id, time.Now)
		require.NoError(t, err)
		b, err := c.Ask(ctx, link.Counters, nil)
		require.NoError(t, err)
		counts, err = link.ParseCounters(b)
		require.NoError(t, err)
	})
	require.EqualValues(t, 2, counts[link.Resets])
	require.Zero(t, counts[link.LateFrames])
	require.Zero(t, counts[link.BadFrames])
	require.InDelta(t, length.Seconds()*30, counts[link.Refreshes], 8*30, "nothing stuck")
	spans := log.Spans()
	require.NotEmpty(t, spans)
	s := &spans[len(spans)-1]
	p, err := s.Play(tab, s.From)
	require.NoError(t, err)
	dst := make([]byte, tab.Channels())
	waves := k.ended.Waves[0].Refreshes
	for n := s.From; n <= s.To && int(n) <= len(waves); n++ {
		l, err := p.Next(dst)
		require.NoError(t, err)
		require.True(t, l.Sent)
		w := waves[n-1]
		require.Zero(t, w.Bad+w.Broken)
		require.Equal(t, wire(&tab.Show, dst), []byte(w.Codes), "refresh %d at %v of %v", n, w.At.Of(), s)
		seen++
	}
	most := Cycles(0)
	for _, x := range k.ended.Sections {
		most = max(most, x.Most)
	}
	t.Logf("%d of %d refreshes equal, %v; %d records; %d sectors erased; longest call %.2f ms, a refresh of %d pixels included; %d bytes of stack",
		seen, len(waves), s, len(log.Entries), k.ended.NOR.Sectors, float64(most)/Hz*1000, tab.Pixels(), k.ended.Stack)
	require.Greater(t, seen, int(length.Seconds()*30)*9/10)
	return seen, len(waves)
}

var across = flag.Duration("across", 20*time.Second, "how long TestLogAcrossTheWrap plays")

// Twenty seconds around the moment when the clock comes round, 71.6 minutes after its
// beginning; BenchmarkSoakChip has ten minutes.
func TestLogAcrossTheWrap(t *testing.T) {
	ready(t)
	t.Parallel()
	acrossTheWrap(t, *across)
}

// BenchmarkSoakChip is ten minutes on the simulated chip, its clock begun sixty
// seconds before it comes round; of their refreshes so many were held against what
// the black box plays again, and were equal.
func BenchmarkSoakChip(b *testing.B) {
	ready(b)
	const length = 10 * time.Minute
	for range b.N {
		seen, all := 0, 0
		match := func(string, string) (bool, error) { return true, nil }
		require.True(b, testing.RunTests(match, []testing.InternalTest{{Name: "soak", F: func(t *testing.T) { seen, all = acrossTheWrap(t, length) }}}))
		b.ReportMetric(length.Minutes(), "soak_chip_minutes")
		b.ReportMetric(float64(seen)/float64(all), "soak_chip_equal")
	}
	b.ReportMetric(0, "ns/op")
}
