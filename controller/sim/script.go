package sim

import (
	"fmt"
	"strings"
	"time"
)

// Hz is the simulated clock's rate: cycles of a second.
const Hz = 16_000_000

// Cycles are processor cycles of 62.5 ns since reset.
type Cycles uint64

// Of is the time of cycles.
func (c Cycles) Of() time.Duration {
	return time.Duration(c/Hz)*time.Second + time.Duration(c%Hz)*time.Second/Hz // their product passes 64 bits after 576 s
}

// Limits are what a part's data sheet allows on its data line: least and most.
// Low times hold within a byte; between bytes a low may last up to Gap. From
// Latch on a low ends the refresh.
type Limits struct {
	T0H, T1H, T0L, T1L [2]time.Duration
	Gap, Latch         time.Duration
}

// Common are limits that WS2812B (0.40 and 0.80 us high, 0.85 and 0.45 us low,
// each +-150 ns), SK6812 (0.30 and 0.60, 0.90 and 0.60, +-150 ns from memory) and,
// but for the longest low after a 1 (0.42 us), WS2815 (0.22-0.38, 0.58-1.0,
// 0.58-1.0 us) share, by their data sheets; gap and latch are those of the
// demo's part.
var Common = Limits{
	T0H: [2]time.Duration{250, 380}, T1H: [2]time.Duration{650, 750},
	T0L: [2]time.Duration{750, 1000}, T1L: [2]time.Duration{450, 600},
	Gap: 5 * time.Microsecond, Latch: 280 * time.Microsecond,
}

// Script is what happens to the board while it runs. The zero value is a script
// of nothing.
type Script struct{ b strings.Builder }

func (s *Script) add(format string, a ...any) { fmt.Fprintf(&s.b, format+"\n", a...) }

func us(d time.Duration) float64 { return float64(d) / float64(time.Microsecond) }

// Until ends the run after a time; 10 s without it.
func (s *Script) Until(t time.Duration) { s.add("cycles %d", int64(t)*(Hz/1_000_000)/1000) }

// Stop ends the run when the firmware writes a mark to GPIOR0.
func (s *Script) Stop(mark int) { s.add("stop %d", mark) }

// Baud is the computer's rate; without it nothing is on the serial line.
func (s *Script) Baud(rate int) { s.add("baud %d", rate) }

// Send has the computer say something from a time on, without pause, after what
// it was told to say before.
func (s *Script) Send(at time.Duration, text string) { s.add("send %g %x", us(at), text) }

// Flood has it say something over and over, without pause.
func (s *Script) Flood(from, until time.Duration, text string) {
	s.add("flood %g %g %x", us(from), us(until), text)
}

// Stream has it send a file, n bytes for every sign byte that the chip sends, and
// so much later.
func (s *Script) Stream(path string, sign byte, n int, latency time.Duration) {
	s.add("stream %s %d %d %g", path, sign, n, us(latency))
}

// Talk has a program be the computer: it hears and speaks once in a period. Only RunWith
// gives it one.
func (s *Script) Talk(period time.Duration) { s.add("talk %g", us(period)) }

// Watch decodes a strip of pixels on a pin, such as "B7".
func (s *Script) Watch(pin string, l Limits) {
	s.add("wave %s %d %d %d %d %d %d %d %d %d %d", pin, l.T0H[0], l.T0H[1], l.T1H[0], l.T1H[1], l.T0L[0], l.T0L[1], l.T1L[0], l.T1L[1], l.Gap, l.Latch)
}

// Pulse gives n pulses to an input.
func (s *Script) Pulse(pin string, first, width, period time.Duration, n int) {
	s.add("pulse %s %g %g %g %d", pin, us(first), us(width), us(period), n)
}

// Record writes down the changes of an output.
func (s *Script) Record(pin string) { s.add("record %s", pin) }

// Flip turns bits of a byte of the flash at a time.
func (s *Script) Flip(at time.Duration, address int, mask byte) {
	s.add("flip %g %d %d", us(at), address, mask)
}

// Peek asks for a variable's bytes at the end.
func (s *Script) Peek(symbol string) { s.add("peek %s", symbol) }
