package sim

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/render/play"
	"paneglow/render/table"
)

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
