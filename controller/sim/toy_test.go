package sim

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/render/play"
	"paneglow/render/prove"
	"paneglow/render/table"
)

// umbrella is the demo, taken all the way to its table once a process.
var umbrella = sync.OnceValue(func() *prove.Project {
	p := prove.Open(filepath.Join(Folder(), "..", "examples", "umbrella"), "")
	p.Finish(runtime.GOMAXPROCS(0), nil)
	p.Pack(table.Quick, runtime.GOMAXPROCS(0))
	return p
})

func demo(t testing.TB) *table.Table {
	p := umbrella()
	require.NotNil(t, p.Table, p.Found)
	return p.Table
}

// Sources of the firmware: the player, and the same with its port.
// What the port has in assembly may be the player's too; the linker leaves out
// what is not called.
var (
	core   = append(found("player/port/avr/*.S"), "player/decode.c", "player/keys.c", "player/blend.c", "player/player.c", "player/table.c", "player/budget.c", "player/service.c", "player/clip.c", "player/count.c", "player/gain.c", "player/plan.c", "player/told.c", "player/verify.c", "player/walk.c")
	player = append([]string{"player/port/avr/pg_avr.c", "player/port/avr/pg_in_turn.c", "player/port/avr/pg_together.c"}, core...)
	// What a controller on a line has beside them.
	onLine = found("player/line*.c", "player/link.c", "player/slots.c", "player/upload*.c", "player/fits.c", "player/log*.c", "player/stream*.c")
)

func found(patterns ...string) (sources []string) {
	for _, pattern := range patterns {
		paths, err := filepath.Glob(filepath.Join(Folder(), pattern))
		if err != nil || len(paths) == 0 {
			panic("no sources at " + pattern)
		}
		sources = append(sources, paths...)
	}
	return sources
}

// toy is the example's firmware with a table, built into dir as its Makefile
// builds it; main is its main, or another.
func toy(t testing.TB, main string, tab *table.Table, b []byte, define ...string) (elf string) {
	t.Helper()
	dir := t.TempDir()
	var h bytes.Buffer
	config := table.DefaultConfig(tab.Work())
	config.Only = tab.Needs()                 // and no more: what is left out is not missed
	config.Together = len(tab.Show.Lines) > 1 // the demo has one
	require.NoError(t, table.WriteConfig(&h, &tab.Show, config))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o644))
	path := filepath.Join(dir, "panel.table")
	require.NoError(t, os.WriteFile(path, b, 0o644))
	elf = filepath.Join(dir, "machine.elf")
	f := Firmware{
		Sources: append([]string{main, "player/example/machine.c", "player/example/talk.c", "player/example/table.S",
			"player/port/avr/pg_serial.c"}, player...),
		Include: []string{dir, "player/port/avr", "player", "player/example"},
		Define:  append([]string{"TABLE=\"" + path + "\""}, define...),
		Flags:   []string{"-Wl,--section-start=.panel_table=0x10000", "-Wl,--undefined=panel_table"},
	}
	require.NoError(t, Build(f, elf))
	return elf
}

const (
	ordinary = "player/example/main.c"
	watched  = "sim/testdata/watched.c"
)

// lines are what the firmware has said.
func lines(r *Result) []string {
	return strings.Split(strings.TrimSuffix(string(r.UART.FromChip), "\n"), "\n")
}

// The show, with its states switched on the way by the machine's own protocol
// while a load asks for its budget, is latched refresh for refresh as render/play
// says: what the strip decodes from the wire against the twin's codes.
func TestTheShowIsTheTwins(t *testing.T) {
	ready(t)
	t.Parallel()
	p := umbrella()
	require.NotNil(t, p.Table, p.Found)
	tab := p.Table
	harness, err := Harness(t.TempDir())
	require.NoError(t, err)
	elf := toy(t, watched, tab, tab.ForController())
	s := &Script{}
	s.Baud(115200)
	s.Watch("B7", Common)
	r := playTheShow(t, harness, elf, s, tab, 9*time.Second)
	seen, left := latched(t, tab, r, r.Waves[0].Refreshes)
	t.Logf("%d refreshes equal, of %d in %.1f s; left out %d times; %d bytes of stack", seen, len(r.Waves[0].Refreshes), r.Cycles.Of().Seconds(), left, r.Stack)
	require.Greater(t, seen, 400)
}

// playTheShow goes through the show's states, with a value, a load and, for a time, service.
func playTheShow(t *testing.T, harness, elf string, s *Script, tab *table.Table, service time.Duration) *Result {
	t.Helper()
	at := time.Second
	for i := range tab.States {
		s.Send(at, fmt.Sprintf("alive\nstate %d\n", i))
		if tab.Clips[tab.States[i].Clip].Value {
			s.Send(at+700*time.Millisecond, "value 200\n")
			s.Send(at+900*time.Millisecond, "value 90\n")
		}
		at += 1300 * time.Millisecond
	}
	s.Send(at, "state 3\nturn\n")
	s.Send(at+time.Second, "service 2\n")
	s.Send(at+service, "service 0\n")
	s.Until(at + service + 2*time.Second)
	r, err := Run(harness, elf, s, 2*time.Minute)
	require.NoError(t, err)
	require.Zero(t, r.UART.Lost)
	return r
}

// What watched.c tells of its player.
const (
	state = 1 + iota
	ask
	running
	stopped
	value
	host
	service
	verified
	lost
	damaged
	begun
)

// latched plays what the firmware was told on the twin and compares every
// refresh. Where the firmware left refreshes out its clock is ahead of the twin's,
// and no state of the script stays long enough for that to tell.
func latched(t *testing.T, tab *table.Table, r *Result, all []Refresh) (seen, left int) {
	t.Helper()
	c := table.DefaultConfig(tab.Work())
	var twin *play.Player
	var told, now []play.Event
	var at play.Tick
	dst := make([]byte, tab.Channels())
	var waves []Refresh
	for _, w := range all {
		if w.Bits == 24*tab.Pixels() { // others were stopped, and sent again
			waves = append(waves, w)
		}
	}
	finish := func() bool {
		for _, e := range now {
			require.NoError(t, twin.Tell(at, e), "%+v", e)
		}
		l := twin.Next(dst)
		at = l.At
		now = nil
		if !l.Sent {
			return true
		}
		if len(waves) == 0 || !waves[0].Latched {
			return false // the run ended with this one under way
		}
		got := waves[0]
		waves = waves[1:]
		require.Equal(t, wire(&tab.Show, dst), []byte(got.Codes), "refresh %d at %v: state %d, clip %d, frame %d, fade %d, gain %d", seen, got.At.Of(), l.State, l.Clip, l.Frame, l.Fade, l.Gain)
		require.Zero(t, got.Bad+got.Broken)
		seen++
		return true
	}
	require.Zero(t, len(r.Marks)%6)
	for i := 0; i+6 <= len(r.Marks); i += 6 {
		var b [6]byte
		for k := range b {
			b[k] = r.Marks[i+k].Value
		}
		n := int(b[1])
		switch b[0] {
		case state:
			told = append(told, play.Event{Kind: play.State, Index: n})
		case ask:
			told = append(told, play.Event{Kind: play.Ask, Index: n})
		case running:
			told = append(told, play.Event{Kind: play.Running, Index: n})
		case stopped:
			told = append(told, play.Event{Kind: play.Stopped, Index: n})
		case value:
			told = append(told, play.Event{Kind: play.Value, Value: n})
		case host:
			told = append(told, play.Event{Kind: play.Host})
		case service:
			told = append(told, play.Event{Kind: play.Service, Value: n})
		case lost:
			// Of the refresh that is being made, or of the next one where the decoder
			// worked ahead.
			e := play.Event{Kind: play.Lost, Index: n}
			if b[2] != 0 {
				told = append(told, e)
			} else {
				now = append(now, e)
			}
		case damaged:
			told = append(told, play.Event{Kind: play.Damaged, Index: n})
		case verified:
			// It comes into force with the refresh that begins in the same call.
			told = append(told, play.Event{Kind: play.Verified, Index: n})
		case begun:
			if twin != nil {
				if !finish() {
					return seen, left
				}
			} else {
				var err error
				at = play.Tick(uint32(b[2]) | uint32(b[3])<<8 | uint32(b[4])<<16 | uint32(b[5])<<24)
				twin, err = play.NewPlayer(tab, play.Options{Start: at, Unverified: true, Still: c.Still, Work: c.Service, Seed: 1})
				require.NoError(t, err)
			}
			left = n
			now, told = told, nil
		default:
			require.Fail(t, "a record of another kind", "%d", b[0])
		}
	}
	return seen, left
}

// wire is what codes in data order look like on the demo's one line.
func wire(s *table.Show, codes []byte) []byte {
	var out []byte
	for i := range s.Strips {
		p := &s.Parts[s.Strips[i].Part]
		for range s.Strips[i].Pixels {
			for k := range p.Dies {
				out = append(out, codes[strings.IndexByte("RGBW", p.Order[k])])
			}
			codes = codes[p.Dies:]
		}
	}
	return out
}

// day is a stretch of the machine's life: the ring turns for eight seconds with
// 400 edges a second, pulses of 3 ms come from the slot, the computer talks, and
// the panel goes through its states all the while. Given is what was asked of the
// firmware at the end and what it should have answered.
func day(t *testing.T, tab *table.Table, rate int, talk func(s *Script), define ...string) (r *Result, want string) {
	dir := t.TempDir()
	harness, err := Harness(dir)
	require.NoError(t, err)
	elf := toy(t, ordinary, tab, tab.ForController(), define...)
	s := &Script{}
	s.Baud(rate)
	for _, pin := range pinsOf[len(tab.Lines)] {
		s.Watch(pin, Common)
	}
	s.Record("C0")
	const edges, pulses = 3600, 240
	s.Pulse("D0", 500*time.Millisecond, 1250*time.Microsecond, 2500*time.Microsecond, edges)
	s.Pulse("D1", 507*time.Millisecond, 3*time.Millisecond, 37*time.Millisecond, pulses)
	s.Send(600*time.Millisecond, "\nturn\n")
	for i := range tab.States {
		s.Send(time.Duration(i+1)*time.Second, fmt.Sprintf("\nalive\nstate %d\n", i))
	}
	talk(s)
	s.Send(9700*time.Millisecond, "\ncount\n")
	s.Until(9900 * time.Millisecond)
	r, err = Run(harness, elf, s, 2*time.Minute)
	require.NoError(t, err)
	return r, fmt.Sprintf("count %d %d %d 0", edges, pulses, r.UART.Sent)
}

// The machine comes first: over the whole show no edge, no pulse and no byte is
// lost, and the ring stops where it should.
func TestTheMachineLosesNothing(t *testing.T) {
	ready(t)
	text := "# " + strings.Repeat("umbrella ", 7) + "\n"
	line := "# " + strings.Repeat("umbrella ", 20) + "\nmore\n"
	file := filepath.Join(t.TempDir(), "talk")
	require.NoError(t, os.WriteFile(file, []byte(strings.Repeat(line, 250)), 0o644))
	lineByLine := func(s *Script) {
		s.Send(700*time.Millisecond, "\nmore\n")
		s.Stream(file, '>', len(line), time.Millisecond)
	}
	for _, c := range []struct {
		name    string
		rate    int
		divisor int
		tab     func(testing.TB) *table.Table
		talk    func(*Script)
	}{
		{"115200 without pause", 115200, 16, demo, func(s *Script) { s.Flood(700*time.Millisecond, 9*time.Second, text) }},
		{"500000 line by line", 500000, 3, demo, lineByLine},
		{"115200 on three data lines", 115200, 16, threeLines, func(s *Script) { s.Flood(700*time.Millisecond, 9*time.Second, text) }},
		{"500000 on three data lines", 500000, 3, threeLines, lineByLine},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r, want := day(t, c.tab(t), c.rate, c.talk, fmt.Sprintf("BAUD_DIVISOR=%d", c.divisor))
			said := lines(r)
			require.Contains(t, said, want, "%q", said[len(said)-3:])
			require.Zero(t, r.UART.Lost)
			require.Zero(t, r.UART.Garbled)
			require.Greater(t, r.UART.Sent, 250*len(text))
			// The main loop looks at the count between two refreshes of 5.4 ms.
			require.Regexp(t, `turned 320[0-3]`, strings.Join(said, " "))
			require.Len(t, r.Pins[0].Changes, 2)
			require.InDelta(t, 8, (r.Pins[0].Changes[1] - r.Pins[0].Changes[0]).Of().Seconds(), 0.02, "3,200 edges of 400 a second")
			w := r.Waves[0]
			for _, w := range r.Waves {
				require.Zero(t, w.Bad)
				require.Less(t, w.Gap[1], Cycles(80), "5 us")
			}
			all := joined(r)
			for _, f := range all[:len(all)-1] {
				require.Equal(t, 180*24, f.Bits)
			}
			t.Logf("%d refreshes, %d bytes from the computer, %d to it, longest pause %d cycles, longest interrupt %d, %d bytes of stack",
				len(w.Refreshes), r.UART.Sent, len(r.UART.FromChip), w.Gap[1], r.InterruptLongest, r.Stack)
		})
	}
}

// The same firmware whose output shuts interrupts out for a whole refresh loses
// bytes and edges, and so must fail.
func TestWithInterruptsOffItLoses(t *testing.T) {
	ready(t)
	t.Parallel()
	text := "# " + strings.Repeat("umbrella ", 7) + "\n"
	r, want := day(t, demo(t), 115200, func(s *Script) { s.Flood(700*time.Millisecond, 9*time.Second, text) }, "PG_INTERRUPTS_OFF")
	require.NotContains(t, lines(r), want)
	require.Greater(t, r.UART.Lost, 1000)
	count := ""
	for _, l := range lines(r) {
		if strings.HasPrefix(l, "count ") {
			count = l
		}
	}
	t.Logf("%d of %d bytes lost; %q instead of %q", r.UART.Lost, r.UART.Sent, count, want)
	var edges, pulses int
	if count != "" {
		_, err := fmt.Sscanf(count, "count %d %d", &edges, &pulses)
		require.NoError(t, err)
		require.Less(t, edges, 3600)
	}
}

// An interrupt routine that is longer than a pause between pixels stops a refresh
// where it comes. The refresh is counted and sent again, and what latches whole is
// still what the twin latches; when it comes in every refresh the output rests and
// says so, and nothing whole is claimed.
func TestATooLongInterruptIsCounted(t *testing.T) {
	ready(t)
	t.Parallel()
	for _, c := range []struct {
		tab   *table.Table
		slow  int // cycles between two
		holds bool
	}{{demo(t), 1_037_000, false}, {demo(t), 16_000, true}, {threeLines(t), 1_037_000, false}, {threeLines(t), 4_000, true}} { // the first out of step with the frames, 400,000
		t.Run(fmt.Sprintf("%d lines, %d", len(c.tab.Lines), c.slow), func(t *testing.T) {
			elf := toy(t, watched, c.tab, c.tab.ForController(), fmt.Sprintf("SLOW=%dUL", c.slow))
			harness, err := Harness(t.TempDir())
			require.NoError(t, err)
			s := &Script{}
			s.Baud(115200)
			for _, pin := range pinsOf[len(c.tab.Lines)] {
				s.Watch(pin, Common)
			}
			s.Send(1500*time.Millisecond, "panel\n")
			s.Until(1600 * time.Millisecond)
			s.Peek("wires")
			r, err := Run(harness, elf, s, time.Minute)
			require.NoError(t, err)
			require.Greater(t, r.InterruptLongest, Cycles(80))
			stopped, whole := 0, 0
			for _, w := range joined(r) {
				if w.Bits < 24*c.tab.Pixels() {
					stopped++
					require.True(t, w.Latched || w.At > r.Cycles-Hz/100, "the strips latch before it is sent again")
				} else {
					whole++
				}
				require.Zero(t, w.Broken, "a pause that is too long is never ended by more data")
			}
			var st, trouble, sent, broken, held, late int
			_, err = fmt.Sscanf(lines(r)[0], "panel %d %d %d %d %d %d", &st, &trouble, &sent, &broken, &held, &late)
			require.NoError(t, err)
			t.Logf("%d refreshes whole, %d stopped; the firmware: %d sent, %d stopped, %d times held", whole, stopped, sent, broken, held)
			if c.holds {
				require.Zero(t, whole)
				require.Positive(t, held)
				require.Zero(t, sent)
				require.Less(t, stopped, 3*20, "three tries, then a rest")
				return
			}
			require.Positive(t, broken)
			require.InDelta(t, stopped, broken, 4, "counted a tenth of a second before the end")
			require.Zero(t, held)
			seen, _ := latched(t, c.tab, r, joined(r))
			require.Greater(t, seen, 20)
		})
	}
}

// Firmware of a show that asks for next to nothing, so that its configuration leaves
// out all that can be left out, is built and plays.
func TestTheLeanestFirmwarePlays(t *testing.T) {
	ready(t)
	t.Parallel()
	tab := noise(t, 20, 30, 7)
	require.False(t, tab.Needs().Fades)
	elf := toy(t, ordinary, tab, tab.ForController())
	harness, err := Harness(t.TempDir())
	require.NoError(t, err)
	s := &Script{}
	s.Baud(115200)
	s.Watch("B7", Common)
	s.Until(1500 * time.Millisecond)
	r, err := Run(harness, elf, s, time.Minute)
	require.NoError(t, err)
	require.Greater(t, len(r.Waves[0].Refreshes), 20)
	shown := map[string]bool{}
	for _, w := range r.Waves[0].Refreshes {
		require.Zero(t, w.Bad)
		shown[string(w.Codes)] = true
	}
	frame := make([]byte, tab.Channels())
	require.NoError(t, tab.Clip(0).Start().Next(frame))
	require.True(t, shown[string(wire(&tab.Show, frame))], "its first frame")
}

// One bit of the table is wrong: in the clip of the rest, and it is never shown,
// the built-in still stands in for it; in the header, and the panel stays dark.
func TestAFlippedBitIsCaught(t *testing.T) {
	ready(t)
	t.Parallel()
	p := umbrella()
	require.NotNil(t, p.Table, p.Found)
	good := p.Table.ForController()
	first := p.Table.Clips[p.Table.States[0].Clip]
	for _, c := range []struct {
		name   string
		at     int
		header bool
	}{{"clip", int(first.Offset) + int(first.Length)/2, false}, {"header", 60, true}} {
		t.Run(c.name, func(t *testing.T) {
			b := append([]byte(nil), good...)
			b[c.at] ^= 0x10
			elf := toy(t, watched, p.Table, b)
			harness, err := Harness(t.TempDir())
			require.NoError(t, err)
			s := &Script{}
			s.Baud(115200)
			s.Watch("B7", Common)
			s.Send(1500*time.Millisecond, "panel\n")
			s.Until(1600 * time.Millisecond)
			r, err := Run(harness, elf, s, time.Minute)
			require.NoError(t, err)
			if c.header {
				require.Contains(t, lines(r)[0], "panel 0 3 0 ", "trouble 3, nothing sent")
				require.Empty(t, r.Waves[0].Refreshes)
				return
			}
			seen, _ := latched(t, p.Table, r, r.Waves[0].Refreshes)
			require.Greater(t, seen, 20)
			for _, w := range r.Waves[0].Refreshes {
				require.Equal(t, bytes.Repeat(w.Codes[:3], p.Table.Pixels()), []byte(w.Codes), "a still of one color")
			}
		})
	}
}

// A bit of the flash turns while its clip plays. When the decoder finds it the
// strips hold the last frame; when the bit is right again before the checksum is
// worked out the clip begins anew; when it is not, the rest stands in. What goes
// over the wire is the twin's all the while.
func TestABitTurnsDuringPlay(t *testing.T) {
	ready(t)
	t.Parallel()
	p := umbrella()
	require.NotNil(t, p.Table, p.Found)
	const waiting = 2
	at, mask := rots(t, p.Table, waiting)
	elf := toy(t, watched, p.Table, p.Table.ForController())
	play := func(flips ...time.Duration) *Result {
		harness, err := Harness(t.TempDir())
		require.NoError(t, err)
		s := &Script{}
		s.Baud(115200)
		s.Watch("B7", Common)
		s.Send(2*time.Second, fmt.Sprintf("alive\nstate %d\n", waiting))
		for _, f := range flips {
			s.Flip(f, 0x10000+at, mask)
		}
		s.Until(6500 * time.Millisecond)
		r, err := Run(harness, elf, s, time.Minute)
		require.NoError(t, err)
		return r
	}
	clip := byte(p.Table.States[waiting].Clip)
	found := func(r *Result, what byte, after Cycles) Cycles {
		for i := 0; i+6 <= len(r.Marks); i += 6 {
			if m := r.Marks[i]; m.Value == what && r.Marks[i+1].Value == clip && m.At > after {
				return m.At
			}
		}
		return 0
	}
	r := play(2200 * time.Millisecond)
	fell := found(r, lost, 0)
	require.Positive(t, fell, "the decoder finds it")
	given := found(r, damaged, fell)
	require.Positive(t, given)
	held(t, r, fell, given)
	seen, _ := latched(t, p.Table, r, r.Waves[0].Refreshes)
	require.Greater(t, seen, 150)

	r = play(2200*time.Millisecond, fell.Of()+2*time.Millisecond)
	require.Equal(t, fell, found(r, lost, 0))
	again := found(r, verified, fell)
	require.Positive(t, again)
	require.Zero(t, found(r, damaged, 0))
	held(t, r, fell, again)
	seen, _ = latched(t, p.Table, r, r.Waves[0].Refreshes)
	require.Greater(t, seen, 150)
	t.Logf("lost at %v, given up or found right after %v and %v", fell.Of(), (given - fell).Of(), (again - fell).Of())
}

// held wants no refresh to begin between two times, but the one under way.
func held(t *testing.T, r *Result, from, to Cycles) {
	t.Helper()
	require.Greater(t, to-from, Cycles(Hz/40), "more than a frame")
	for _, w := range r.Waves[0].Refreshes {
		require.False(t, w.At > from && w.At < to, "a refresh at %v while the strips should hold", w.At.Of())
	}
}

// rots finds a bit of a state's clip that, turned, is found by the decoder before
// it has unpacked one wrong frame, after the fortieth.
func rots(t *testing.T, good *table.Table, state int) (at int, mask byte) {
	b := append([]byte(nil), good.ForController()...)
	tab, err := table.Read(b, table.Limits{})
	require.NoError(t, err)
	n := tab.States[state].Clip
	c := tab.Clips[n]
	got, want := make([]byte, tab.Channels()), make([]byte, tab.Channels())
	for at = int(c.Offset) + int(c.Length)/3; at < int(c.Offset+c.Length); at++ {
		for mask = 1; mask != 0; mask <<= 1 {
			b[at] ^= mask
			d, twin := tab.Clip(n).Start(), good.Clip(n).Start()
			for f := range c.Frames {
				require.NoError(t, twin.Next(want))
				if err := d.Next(got); err != nil {
					if f > 40 {
						return at, mask
					}
					break
				}
				if !bytes.Equal(got, want) {
					break
				}
			}
			b[at] ^= mask
		}
	}
	require.Fail(t, "no such bit")
	return 0, 0
}
