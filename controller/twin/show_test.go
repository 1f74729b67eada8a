package twin

import (
	"bytes"
	"math/rand/v2"
	"os"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/render/play"
	"paneglow/render/power"
	"paneglow/render/table"
)

// States and loads of the invented cabinet.
const (
	rest = iota
	turning
	thanks
	lift
	fault
)

// cabinet is an invented umbrella cabinet: sixty pixels on two lines, a carousel
// beside them on the supply.
func cabinet(t testing.TB, pack table.Pack) *table.Table { return cabinetOf(t, pack, table.Field) }

// cabinetOf has its resting clip as a field or as key frames, where it is packed.
func cabinetOf(t testing.TB, pack table.Pack, resting table.Kind) *table.Table {
	s := &table.Show{
		Title: "cabinet", FPS: 40, Steady: 1_600_000, Surge: 2_000_000, Least: 400_000, Raise: 2000, Slew: 9000,
		Silence: 3000, Then: rest,
		Lines: []string{"a", "b"},
		Parts: []table.Part{{Name: "p", Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}},
			Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000}},
		Strips: []table.Strip{{Name: "left", Pixels: 30, Missing: []int{4}}, {Name: "right", Line: 1, Pixels: 30}},
		Loads:  []table.Load{{Name: "carousel", Run: 700_000, Start: 1_500_000}, {Name: "lock", Run: 100_000, Start: 400_000}},
		States: []table.State{
			rest:    {Name: "rest", HandOver: show.Crossfade, Fade: 400, Then: table.None, Budget: 1_600_000},
			turning: {Name: "turning", Clip: 1, Loads: 1, Still: true, AtMost: 5000, Then: fault, Budget: 500_000},
			thanks:  {Name: "thanks", Clip: 2, HandOver: show.Finish, Then: table.None, Budget: 1_600_000},
			lift:    {Name: "lift", Clip: 3, HandOver: show.Crossfade, Fade: 200, Then: table.None, Budget: 1_500_000},
			fault:   {Name: "fault", Clip: 4, Then: table.None, Budget: 1_600_000},
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
		{Name: "rest", Frames: 80, Channels: n, Loop: true, Bytes: paint(80, func(f, i int) int { return 120 - abs((f*3+i)%240-120) })},
		{Name: "turning", Frames: 1, Channels: n, Bytes: paint(1, func(_, i int) int { return 40 + i%3*30 })},
		{Name: "thanks", Frames: 60, Channels: n, Loop: true, Random: true, Bytes: paint(60, func(f, i int) int { return (f*7 + i*11) % 256 })},
		{Name: "lift", Frames: 256, Channels: n, Value: true, Bytes: paint(256, func(f, i int) int { return 30 * (f - i) })},
		{Name: "fault", Frames: 40, Channels: n, Loop: true, Bytes: paint(40, func(f, i int) int { return []int{200, 0, 0}[i%3] * (f / 20) })},
	}
	if pack != table.Plain {
		// The resting clip as key frames or as a field, whatever it looks like: the
		// writer measures every frame equal first, and is told that it differs. Its
		// colours lie on a curve or are all over the place.
		c := &clips[rest]
		if resting == table.Keys {
			c.Bytes = paint(80, func(f, i int) int { return (f*3 + i*i*5 + f*i%17*8) % 200 })
		}
		measured := 0
		c.Smooth = &table.Smooth{Differ: func(dst []float64, a, b []float32) []float64 {
			if measured++; measured <= c.Frames/2 { // averages over two frames
				return append(dst, 9)
			}
			for i := range a {
				if d := a[i] - b[i]; d > 0.01 || d < -0.01 {
					return append(dst, 9)
				}
			}
			return append(dst, 0)
		}}
		for _, code := range c.Bytes {
			c.Smooth.Fine = append(c.Smooth.Fine, uint16(code)*255)
		}
	}
	var out bytes.Buffer
	rep, err := table.Write(&out, s, clips, table.Options{Pack: pack})
	require.NoError(t, err)
	if pack != table.Plain {
		require.Equal(t, resting, rep.Clips[rest].Kind, rep.Clips[rest].Why)
	}
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

func abs(x int) int { return max(x, -x) }

var cabinetBuilt struct {
	sync.Mutex
	program string
}

// cabinetProgram builds the player for the cabinet, once.
func cabinetProgram(t *testing.T) string {
	cabinetBuilt.Lock()
	defer cabinetBuilt.Unlock()
	if cabinetBuilt.program == "" {
		dir, err := os.MkdirTemp("", "cabinet")
		require.NoError(t, err)
		cabinetDir = dir
		cabinetBuilt.program = buildIn(t, dir, &cabinet(t, table.Plain).Show)
	}
	return cabinetBuilt.program
}

var cabinetDir string

func TestMain(m *testing.M) {
	code := m.Run()
	if cabinetDir != "" {
		os.RemoveAll(cabinetDir)
	}
	os.Exit(code)
}

// A day of the cabinet: hand-overs broken off by others, a load that asks in the
// middle of a crossfade, a silent host, night, somebody inside.
func TestCabinetStateByState(t *testing.T) {
	program := cabinetProgram(t)
	for _, pack := range []table.Pack{table.Plain, table.Quick} {
		day(t, program, cabinet(t, pack))
	}
	day(t, program, cabinetOf(t, table.Quick, table.Keys))
}

func day(t *testing.T, program string, tab *table.Table) {
	h := start(t, program)
	w := newPair(t, h, tab, play.Options{Start: 0xfffff000, Seed: 77, Refreshes: 2})
	run := func(n int, events ...play.Event) {
		for _, e := range events {
			w.tell(e)
		}
		for range n {
			w.tell(play.Event{Kind: play.Host})
			w.next(100_000)
		}
	}
	to := func(s int) play.Event { return play.Event{Kind: play.State, Index: s} }
	run(30, play.Event{Kind: play.Loads})
	run(5, to(lift), play.Event{Kind: play.Value, Value: 99})
	run(60, to(rest), play.Event{Kind: play.Value, Value: 250})
	run(1, play.Event{Kind: play.Ask, Index: 0}, to(turning))
	run(20, play.Event{Kind: play.Running, Index: 0})
	require.Less(t, w.sent, w.seen, "a still state leaves refreshes out")
	run(100, play.Event{Kind: play.Stopped, Index: 0}, to(thanks))
	run(20, play.Event{Kind: play.Service, Value: play.ServiceLight}, play.Event{Kind: play.Ask, Index: 1})
	run(500, play.Event{Kind: play.Service, Value: play.ServiceTest})
	run(30, play.Event{Kind: play.Service})
	run(30, play.Event{Kind: play.Clock, Index: 4, Value: 22*3600 - 1})
	run(80, play.Event{Kind: play.Dead, Index: 31, Value: 1}, to(thanks))
	run(30, play.Event{Kind: play.Dead, Index: 31})
	run(450, to(turning)) // over its longest stay
	for range 300 {       // the host falls silent
		w.next(100)
	}
	require.NoError(t, h.stop(), h.err.String())
}

// A table that wants what the firmware was built without does not play, and says so.
func TestALeanPlayerRefuses(t *testing.T) {
	tab := cabinet(t, table.Plain)
	for _, flags := range [][]string{{"-DPG_WITH_VALUES=0", "-DPG_WITH_LOTS=0"}, {"-DPG_WITH_PLAIN=0"}} {
		flags = append(flags, "-O0", "-fno-sanitize=all") // nothing is decoded: built quickly
		h := start(t, buildIn(t, t.TempDir(), &tab.Show, flags...))
		h.begin(t, tab.ForController(), play.Options{})
		trouble := 0
		for range 12 {
			trouble = max(trouble, h.next(t, 1000).trouble)
		}
		require.Equal(t, 5, trouble, "%v", flags)
		require.NoError(t, h.stop(), h.err.String())
	}
}

// Whatever is wrong with a table: the player ends in a known trouble and stays
// dark, or plays inside the budget that the header's own sum vouches for. Reads
// past the end are the sanitizer's to find.
func TestHostileTables(t *testing.T) {
	tab := cabinet(t, table.Plain)
	meter := tab.Meter()
	h := start(t, cabinetProgram(t))
	good := tab.ForController()
	r := rand.New(rand.NewPCG(5, 6))
	play3 := func(b []byte) (troubles int) {
		h.begin(t, b, play.Options{})
		for range 12 {
			l := h.next(t, 1000)
			if l.trouble != 0 {
				return l.trouble
			}
			if l.sent {
				require.LessOrEqual(t, l.current, max(tab.Steady, meter.Idle()))
			}
		}
		return 0
	}
	require.Zero(t, play3(good))
	seen := map[int]int{}
	for range 400 {
		b := bytes.Clone(good)
		for range 1 + r.IntN(3) {
			b[r.IntN(len(b))] ^= 1 << r.IntN(8)
		}
		seen[play3(b)]++
		for range 1 + r.IntN(3) { // in the header
			b[r.IntN(tab.HeaderLength)] ^= 1 << r.IntN(8)
		}
		seen[play3(b)]++
	}
	require.NotZero(t, seen[0], "flips in clips leave a player that plays")
	require.NotZero(t, seen[1], "no table")
	require.NotZero(t, seen[3], "a damaged header")

	other := cabinet(t, table.Plain)
	require.Zero(t, play3(other.ForController()))
	for code, change := range map[int]func(s *table.Show){
		4: func(s *table.Show) { s.Parts[0].Channel[1]++ },
		5: func(s *table.Show) {
			s.Further = []table.Supply{{Name: "b", Raise: 1}}
			for i := range s.States {
				s.States[i].Further = []int64{0}
			}
		},
	} {
		s := tab.Show
		s.Parts = append([]table.Part{}, s.Parts...)
		s.States = append([]table.State{}, s.States...)
		change(&s)
		n := s.Channels()
		var clips []table.Clip
		for i := range tab.Clips {
			c := table.Clip{Name: tab.Clips[i].Name, Frames: 1, Channels: n, Bytes: make([]byte, n)}
			clips = append(clips, c)
		}
		var out bytes.Buffer
		_, err := table.Write(&out, &s, clips, table.Options{Pack: table.Plain})
		require.NoError(t, err)
		require.Equal(t, code, play3(out.Bytes()))
	}
	old := bytes.Clone(good)
	old[4] = 1
	require.Equal(t, 2, play3(old))

	// Cut anywhere, erased flash behind: nothing, a damaged header, or a clip that
	// is never shown. What it reads lies in the length that the header claims, 64 KiB
	// before its sum is known.
	erased := bytes.Repeat([]byte{0xff}, len(good)+1<<16)
	for at := 0; at < len(good); at += 1 + at/50 + r.IntN(5) {
		trouble := play3(append(bytes.Clone(good[:at]), erased...))
		switch {
		case at < 4:
			require.Equal(t, 1, trouble, "cut at %d", at)
		case at < tab.HeaderLength:
			require.Contains(t, []int{2, 3}, trouble, "cut at %d", at)
		default:
			require.Zero(t, trouble, "cut at %d: the header is whole", at)
		}
	}
	require.NoError(t, h.stop(), h.err.String())
}

// A machine that keeps the processor: a few refreshes are made up for, one after
// the other; more are left out and counted, and the clock goes on.
func TestKeptBusy(t *testing.T) {
	tab := cabinet(t, table.Plain)
	h := start(t, cabinetProgram(t))
	h.begin(t, tab.ForController(), play.Options{})
	h.say("clock 0 100")
	var l latch
	for range 10 {
		l = h.next(t, 100_000)
	}
	const period = 25_000
	at := l.at
	h.say("busy %d", 5*period)
	for i := range 5 {
		l = h.next(t, 0)
		require.EqualValues(t, at+uint32(i+1)*period, l.at, "made up for in order")
		require.Zero(t, l.late)
	}
	at = l.at
	h.say("busy %d", 3_000_000)
	l = h.next(t, 0)
	require.Equal(t, 1, l.late)
	require.EqualValues(t, at+3_000_000+period, l.at)
	require.Equal(t, 103, l.second, "100 and 15 refreshes, and 3 s that were missed")
	require.NoError(t, h.stop(), h.err.String())
}
