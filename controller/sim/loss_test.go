package sim

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/render/table"
)

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
