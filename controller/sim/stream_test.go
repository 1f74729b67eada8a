package sim

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/controller/link"
	"paneglow/controller/stream"
	"paneglow/render/play"
	"paneglow/render/table"
	"paneglow/render/table/corpus"
)

// streamWork is what the firmware has for unpacking, and so the ring's size: with
// player, line, upload, the log and a receiver of 512 bytes there is no room for more in 8 KiB.
const streamWork = 3264

// streamTables are a table of 240 pixels that is small enough for any firmware, and one
// with the same states whose clips are the corpus's: the first is stored, the second
// streamed, and its second clip is noise, which no coding makes smaller. The states cut, cross over, let the clip finish and stand still in turn.
func streamTables(t testing.TB) (stored, streamed *table.Table) {
	t.Helper()
	var clips []corpus.Clip
	for _, c := range corpus.First() {
		if c.Layout.Pixels() == benchPixels && len(c.Layout.Strips) == 3 {
			clips = append(clips, c)
		}
	}
	require.GreaterOrEqual(t, len(clips), 4)
	s, full := showOf(clips[0].Layout, clips)
	r := rand.New(rand.NewPCG(1, 1))
	for i := range full[1].Bytes {
		full[1].Bytes[i] = uint8(r.IntN(256))
	}
	for i := range s.States {
		st := &s.States[i]
		switch i % 4 {
		case 0:
			st.HandOver, st.Fade = show.Crossfade, 300
		case 2:
			st.HandOver = show.Finish
		case 3:
			st.Still = i == 3
		}
	}
	read := func(clips []table.Clip) *table.Table {
		var out bytes.Buffer
		_, err := table.Write(&out, s, clips, table.Options{Pack: table.Plain})
		require.NoError(t, err)
		tab, err := table.Read(out.Bytes(), table.Limits{})
		require.NoError(t, err)
		return tab
	}
	short := slices.Clone(full)
	for i := range short {
		short[i].Frames, short[i].Bytes, short[i].Loop = 1, short[i].Bytes[:short[i].Channels], false
	}
	return read(short), read(full)
}

// streamFirmware builds testdata/streamed.c with a table.
func streamFirmware(t testing.TB, tab *table.Table, baud int) (elf string) {
	t.Helper()
	dir := t.TempDir()
	var h bytes.Buffer
	c := table.DefaultConfig(streamWork)
	require.NoError(t, table.WriteConfig(&h, &tab.Show, c))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o644))
	path := filepath.Join(dir, "panel.table")
	require.NoError(t, os.WriteFile(path, tab.ForController(), 0o644))
	elf = filepath.Join(dir, "streamed.elf")
	divisor := map[int]int{115200: 16, 250000: 7, 500000: 3}[baud]
	f := Firmware{
		Sources:  slices.Concat([]string{"sim/testdata/streamed.c", "player/example/table.S", "player/port/avr/pg_serial.c"}, onLine, player),
		Include:  []string{dir, "player/port/avr", "player"},
		Optimise: "-O2", // as docs/link.md measures streams
		Define:   []string{"TABLE=\"" + path + "\"", "PG_STREAMS=1", "PG_SERIAL_RING=512", fmt.Sprintf("BAUD_DIVISOR=%d", divisor), fmt.Sprintf("BAUD=%dul", baud)},
		Flags:    []string{"-Wl,--section-start=.panel_table=0x18000", "-Wl,--undefined=panel_table"},
	}
	require.NoError(t, Build(f, elf))
	return elf
}

// computer is the other end of a simulated line: what package stream sends, by the
// simulated time, and lines of the machine's own text between frames. What it hears it
// minds a delay later.
type computer struct {
	t      testing.TB
	source stream.Source
	baud   int
	delay  time.Duration
	text   time.Duration // between two lines; 0: none
	until  time.Duration // and when the last one is said
	states map[time.Duration]int

	now   time.Duration
	heard []hearing
	split link.Splitter
	feed  *stream.Feed
	line  stream.Line
	asked time.Duration
	open  bool
	state int

	out      []byte
	sent     []byte // the stream's bytes, each once
	next     uint16 // the first block that was never sent
	answers  []byte // of the machine's program
	texts    int
	sum      uint32
	wants    int
	statuses []link.Frame
}

type hearing struct {
	at time.Duration
	b  []byte
}

// tick is the period in which the simulator and the computer exchange bytes.
const tick = 500 * time.Microsecond

func (c *computer) say(b []byte) { c.out = append(c.out, b...) }

func (c *computer) hear(f link.Frame) {
	switch f.Kind {
	case link.OpenStream:
		require.Equal(c.t, link.OK, link.Status(f.Body[0]))
		line, err := stream.ParseOpen(f.Body[1:], c.baud)
		require.NoError(c.t, err)
		c.line, c.open = line, true
	case link.Want:
		w, err := stream.ParseWant(f.Body)
		require.NoError(c.t, err)
		c.wants++
		if c.feed == nil {
			if c.open && w.Why == stream.GoesOn && w.Room > 0 {
				c.feed = stream.NewFeed(c.line, benchPixels*3, w.State, c.source)
				c.state = w.State
			} else {
				return
			}
		}
		c.feed.Want(w, c.now)
	default:
		c.statuses = append(c.statuses, f)
	}
}

// exchange is a period of the simulated line.
func (c *computer) exchange(b []byte) []byte {
	c.now += tick
	if len(b) > 0 {
		c.heard = append(c.heard, hearing{c.now + c.delay, b})
	}
	for len(c.heard) > 0 && c.heard[0].at <= c.now {
		c.split.Write(c.heard[0].b, time.Time{}.Add(c.now))
		c.heard = c.heard[1:]
	}
	c.out = nil
	if !c.open && c.now > 300*time.Millisecond && c.now-c.asked > 300*time.Millisecond {
		c.asked = c.now
		c.say(link.Append(nil, link.Frame{Kind: link.OpenStream, Seq: 9, Body: []byte{stream.Coding}}))
	}
	for at, state := range c.states {
		if c.now >= at {
			delete(c.states, at)
			c.say(link.Append(nil, link.Frame{Kind: link.State, Seq: uint8(len(c.statuses)) + 10, Body: link.StateBody(uint8(state))}))
			c.state = state
			if c.feed != nil {
				c.feed.Enter(state)
			}
		}
	}
	for c.feed != nil {
		body, _ := c.feed.Next(c.now)
		if body == nil {
			break
		}
		if binary.LittleEndian.Uint16(body) == c.next {
			c.sent = append(c.sent, body[2:]...)
			c.next++
		}
		c.say(link.Append(nil, link.Frame{Kind: link.Stream, Body: body}))
	}
	if c.text > 0 && c.now%c.text < tick && c.now < c.until {
		s := fmt.Sprintf("umbrella %d\n", c.texts)
		if c.texts%1000 < 400 {
			s = "?" + s
		}
		for _, b := range []byte(s) {
			c.sum = c.sum*31 + uint32(b)
		}
		c.texts += len(s)
		c.say([]byte(s))
	}
	return c.out
}

// frames are the frames of what was sent.
func (c *computer) frames() (codes [][]uint8, marks []int) {
	dst := make([]uint8, benchPixels*3)
	for b := c.sent; len(b) >= 2; {
		n := int(binary.LittleEndian.Uint16(b))
		if len(b) < n+2 {
			break // under way when the run ended
		}
		mark, err := stream.Decode(dst, b[2:n+2])
		require.NoError(c.t, err)
		codes, marks = append(codes, slices.Clone(dst)), append(marks, mark)
		b = b[n+2:]
	}
	return codes, marks
}

// stream runs a computer with a firmware.
func (c *computer) run(elf string, until, limit time.Duration) *Result {
	c.t.Helper()
	harness, err := Harness(c.t.TempDir())
	require.NoError(c.t, err)
	c.split = link.Splitter{Frame: c.hear, Text: func(b []byte) { c.answers = append(c.answers, b...) }}
	c.until = until - 200*time.Millisecond
	s := &Script{}
	s.Baud(c.baud)
	s.Watch("B7", Common)
	s.Talk(tick)
	s.Until(until)
	s.Peek("panel")
	s.Peek("pg_serial_lost")
	s.Peek("texts")
	s.Peek("text_sum")
	r, err := RunWith(harness, elf, s, limit, c.exchange)
	require.NoError(c.t, err)
	return r
}

// What streamed.c tells of its player.
const (
	streamState = 1 + iota
	streamVerified
	streamOpened
	streamShows
	streamShowsNow
	streamBegun
)

// streamLatched holds every refresh of a run against the twin, which is told the
// states and frames that the firmware's player took. It gives how many it has seen, and
// how many frames of the stream they took.
func streamLatched(t testing.TB, tab *table.Table, c *computer, r *Result) (seen, taken int) {
	t.Helper()
	config := table.DefaultConfig(streamWork)
	codes, marks := c.frames()
	var twin *play.Player
	var at play.Tick
	var told, now []func()
	dst := make([]byte, tab.Channels())
	waves := r.Waves[0].Refreshes
	finish := func() bool {
		for _, f := range now {
			f()
		}
		now = nil
		require.NoError(t, twin.Tell(at, play.Event{Kind: play.Host}))
		l := twin.Next(dst)
		at = l.At
		if !l.Sent {
			return true
		}
		if len(waves) == 0 || !waves[0].Latched {
			return false
		}
		if want := wire(&tab.Show, dst); !bytes.Equal(want, waves[0].Codes) {
			require.Equal(t, want, []byte(waves[0].Codes), "refresh %d at %v: state %d, fade %d, gain %d, frame %d", seen, waves[0].At.Of(), l.State, l.Fade, l.Gain, taken)
		}
		waves = waves[1:]
		seen++
		return true
	}
	for i := 0; i+6 <= len(r.Marks); i += 6 {
		b := make([]byte, 6)
		for k := range b {
			b[k] = r.Marks[i+k].Value
		}
		n := int(b[1])
		number := int(binary.LittleEndian.Uint32(b[2:]))
		frame := func() { twin.StreamFrame(codes[number], marks[number]) }
		switch b[0] {
		case streamState:
			told = append(told, func() { require.NoError(t, twin.Tell(at, play.Event{Kind: play.State, Index: n})) })
		case streamVerified:
			told = append(told, func() { require.NoError(t, twin.Tell(at, play.Event{Kind: play.Verified, Index: n})) })
		case streamOpened:
			told = append(told, func() { require.NoError(t, twin.OpenStream()) })
		case streamShows:
			told = append(told, frame)
			taken++
		case streamShowsNow:
			now = append(now, frame)
			taken++
		case streamBegun:
			require.Zero(t, n, "refreshes left out")
			if twin == nil {
				at = play.Tick(number)
				var err error
				twin, err = play.NewPlayer(tab, play.Options{Start: at, Unverified: true, Still: config.Still, Work: config.Service, Seed: uint32(number) | 1})
				require.NoError(t, err)
			} else if !finish() {
				return seen, taken
			}
			now, told = told, nil
		default:
			require.Fail(t, "a record of another kind", "%d", b[0])
		}
	}
	open, late, _ := twin.Stream()
	require.True(t, open)
	require.Equal(t, late, c.feed.Stats().Late, "what the controller counted")
	return seen, taken
}

// A stream over the simulated line at all three rates, the computer late by 0, 4 and
// 16 ms, states changed on the way, the machine's own text in between: no byte is
// lost, no frame late, and what the strip latches is what the twin says for the
// frames that were sent.
func TestStreamIsLatchedAndLosesNothing(t *testing.T) {
	ready(t)
	stored, streamed := streamTables(t)
	for _, x := range []struct {
		baud  int
		delay time.Duration
	}{{115200, 4 * time.Millisecond}, {250000, 16 * time.Millisecond}, {500000, 0}} {
		t.Run(fmt.Sprintf("%d, %v", x.baud, x.delay), func(t *testing.T) {
			t.Parallel()
			c := &computer{t: t, source: stream.NewTable(streamed, 1), baud: x.baud, delay: x.delay, text: 23 * time.Millisecond,
				states: map[time.Duration]int{1500 * time.Millisecond: 1, 2700 * time.Millisecond: 0, 3400 * time.Millisecond: 2, 3800 * time.Millisecond: 3, 4200 * time.Millisecond: 1}}
			r := c.run(streamFirmware(t, stored, x.baud), 5*time.Second, 2*time.Minute)
			require.Zero(t, r.Uint("pg_serial_lost"))
			require.Zero(t, r.UART.Lost)
			require.Zero(t, r.UART.Garbled)
			require.EqualValues(t, c.texts, r.Uint("texts"), "bytes of the machine's text")
			require.EqualValues(t, c.sum, r.Uint("text_sum"))
			require.Greater(t, strings.Count(string(c.answers), "\n"), 20, "the machine answers")
			require.NotNil(t, c.feed)
			st := c.feed.Stats()
			require.Equal(t, stream.GoesOn, st.Ended)
			seen, taken := streamLatched(t, stored, c, r)
			t.Logf("%d refreshes equal, %d frames of the stream, %.1f frames a second of their own; %+v; %d wants; %d bytes of stack, longest: take %d, run %d, ahead %d cycles",
				seen, taken, st.Rate(benchFPS), st, c.wants, r.Stack, r.Section(2).Most, r.Section(3).Most, r.Section(4).Most)
			require.Zero(t, st.Late)
			require.Zero(t, st.Again)
			require.Equal(t, x.baud == 115200, st.Thinned > 0, "noise has room on the faster lines")
			require.Greater(t, taken, 100)
			require.Zero(t, r.Waves[0].Bad)
			for _, n := range []int{2, 3, 4} {
				require.Less(t, r.Section(n).Most, Cycles(16000), "section %d takes less than a millisecond", n)
			}
		})
	}
}
