package sim

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/render/power"
)

// pixels is the firmware that sends made-up frames.
func pixels(t testing.TB, count, dies int, order string, define ...string) Firmware {
	f := Firmware{
		Sources:  []string{"sim/testdata/pixels.c", "player/port/avr/pg_pixels.S"},
		Include:  []string{part(t, "1250", "5000"), "player/port/avr"},
		Optimise: "-O2", // its interrupt routine is counted by hand
		Define:   []string{fmt.Sprintf("T_PIXELS=%d", count), fmt.Sprintf("T_DIES=%d", dies), "T_ORDER=" + order},
	}
	given := strings.Join(define, " ")
	for _, d := range []string{"T_WEIGHT=256", "T_GAIN=65536UL", "T_REFRESHES=1"} {
		if name, _, _ := strings.Cut(d, "="); !strings.Contains(given, name+"=") {
			f.Define = append(f.Define, d)
		}
	}
	f.Define = append(f.Define, define...)
	return f
}

// made is what testdata/pixels.c makes up, and twin what has to be sent of it,
// pixel by pixel and slowly.
type made struct {
	pixels, dies, order, weight, strips, missing int
	gain                                         uint32
	palette                                      bool
}

func (m made) twin() []byte {
	seed := uint32(1)
	lot := func(n int) []byte {
		b := make([]byte, n)
		for i := range b {
			seed = seed*1664525 + 1013904223
			b[i] = byte(seed >> 24)
		}
		return b
	}
	frame, frozen := lot(m.pixels*m.dies), lot(m.pixels*m.dies)
	if m.palette {
		palette, index := lot(256*m.dies), frame
		frame = nil
		for p := range m.pixels {
			frame = append(frame, palette[int(index[p])*m.dies:][:m.dies]...)
		}
	}
	var out []byte
	for p := range m.pixels {
		if p == m.missing {
			continue
		}
		shown, codes := make([]byte, m.dies), make([]byte, m.dies)
		for d := range shown {
			i := p*m.dies + d
			shown[d] = byte((uint32(frozen[i])*uint32(256-m.weight) + uint32(frame[i])*uint32(m.weight)) >> 8)
		}
		power.Scale(codes, shown, m.gain/uint32(1+p/(m.pixels/m.strips)))
		for d := range m.dies {
			out = append(out, codes[m.order>>(2*d)&3])
		}
	}
	return out
}

func (m made) define() []string {
	d := []string{fmt.Sprintf("T_WEIGHT=%d", m.weight), fmt.Sprintf("T_GAIN=%dUL", m.gain), fmt.Sprintf("T_STRIPS=%d", m.strips)}
	if m.missing >= 0 {
		d = append(d, fmt.Sprintf("T_MISSING=%dU", m.missing))
	}
	if m.palette {
		d = append(d, "T_PALETTE=1")
	}
	return d
}

// What the strip latches is what render/power and the mix of render/play make of
// the frame, and every bit keeps the data sheets' times.
func TestPixels(t *testing.T) {
	ready(t)
	for _, m := range []made{
		{pixels: 1, dies: 3, order: 0x21, weight: 256, strips: 1, missing: -1, gain: 65536},
		{pixels: 2, dies: 3, order: 0x24, weight: 1, strips: 2, missing: -1, gain: 65535},
		{pixels: 1, dies: 4, order: 0xe1, weight: 128, strips: 1, missing: -1, gain: 256},
		{pixels: 240, dies: 3, order: 0x21, weight: 77, strips: 3, missing: 100, gain: 43210},
		{pixels: 240, dies: 3, order: 0x06, weight: 255, strips: 1, missing: 0, gain: 1},
		{pixels: 240, dies: 3, order: 0x12, weight: 0, strips: 1, missing: 239, gain: 60001},
		{pixels: 100, dies: 4, order: 0xe1, weight: 200, strips: 4, missing: 50, gain: 65536},
		{pixels: 180, dies: 3, order: 0x21, weight: 256, strips: 1, missing: -1, gain: 51234, palette: true},
		{pixels: 180, dies: 4, order: 0x93, weight: 31, strips: 2, missing: 17, gain: 30000, palette: true},
		{pixels: 30, dies: 3, order: 0x21, weight: 256, strips: 1, missing: -1, gain: 0},
	} {
		t.Run(fmt.Sprintf("%+v", m), func(t *testing.T) {
			t.Parallel()
			s := &Script{}
			s.Watch("B7", Common)
			s.Peek("broken")
			r := run(t, pixels(t, m.pixels, m.dies, fmt.Sprint(m.order), m.define()...), s)
			w := r.Waves[0]
			require.Len(t, w.Refreshes, 1)
			got := w.Refreshes[0]
			require.True(t, got.Latched)
			require.Equal(t, m.twin(), []byte(got.Codes))
			require.Zero(t, w.Bad, "bits out of their limits: %+v", w)
			require.Zero(t, got.Broken)
			require.Zero(t, r.Uint("broken"))
			require.Equal(t, Span{20, 20}, w.Period, "16 MHz and 1.25 us")
			require.LessOrEqual(t, w.Gap[1], Cycles(15+8), "no interrupt came, so no byte waited longer than the end of the line does")
			require.Zero(t, got.Bits%(8*m.dies))
			// The refresh takes its wire time, and the last fall ends it.
			wire := Cycles(20 * got.Bits)
			require.InDelta(t, float64(wire), float64(got.End-got.At), 20)
		})
	}
}

// Parts of the slow mode get 40 cycles a bit, within WS2811's data sheet: 0.5 and
// 1.2 us high, 2.0 and 1.3 us low, each +-150 ns (the tolerance from memory).
func TestSlowParts(t *testing.T) {
	ready(t)
	t.Parallel()
	m := made{pixels: 30, dies: 3, order: 0x24, weight: 99, strips: 2, missing: 3, gain: 54321}
	f := pixels(t, m.pixels, m.dies, fmt.Sprint(m.order), m.define()...)
	f.Include[0] = part(t, "2500", "5000")
	s := &Script{}
	s.Watch("B7", Limits{T0H: [2]time.Duration{350, 650}, T1H: [2]time.Duration{1050, 1350}, T0L: [2]time.Duration{1850, 2150},
		T1L: [2]time.Duration{1150, 1450}, Gap: Common.Gap, Latch: Common.Latch})
	w := run(t, f, s).Waves[0]
	require.Len(t, w.Refreshes, 1)
	require.Equal(t, m.twin(), []byte(w.Refreshes[0].Codes))
	require.Zero(t, w.Bad)
	require.Equal(t, Span{40, 40}, w.Period)
}

// A filler left out of the code that sends bits: bytes may still be right, but
// their times are not, and that is what must be seen.
func TestAFillerLessIsSeen(t *testing.T) {
	ready(t)
	t.Parallel()
	source, err := os.ReadFile(filepath.Join(Folder(), "player/port/avr/pg_pixels.S"))
	require.NoError(t, err)
	const whole = ".macro idle_b\n\tpad 4\n"
	require.Contains(t, string(source), whole)
	spoiled := filepath.Join(t.TempDir(), "spoiled.S")
	require.NoError(t, os.WriteFile(spoiled, []byte(strings.Replace(string(source), whole, ".macro idle_b\n\tpad 2\n", 1)), 0o644))
	m := made{pixels: 60, dies: 3, order: 0x21, weight: 256, strips: 1, missing: -1, gain: 65536}
	f := pixels(t, m.pixels, m.dies, fmt.Sprint(m.order), m.define()...)
	f.Sources[1] = spoiled
	s := &Script{}
	s.Watch("B7", Common)
	r := run(t, f, s)
	require.Equal(t, m.twin(), []byte(r.Waves[0].Refreshes[0].Codes), "the bytes are still right")
	require.Greater(t, r.Waves[0].Bad, 100)
	require.Greater(t, r.Waves[0].Refreshes[0].Bad, 100)
}

// Interrupt routines of every length up to twice the gap: whenever a pause was
// longer than the part allows, the output has stopped and said so, and what it
// says is never made up by more than the slack.
func TestPausesAreCounted(t *testing.T) {
	ready(t)
	fewest := Cycles(1 << 30)
	for _, cycles := range []int{30, 50, 56, 57, 58, 59, 60, 61, 62, 63, 64, 80, 120, 250, 300} {
		t.Run(fmt.Sprint(cycles), func(t *testing.T) {
			s := &Script{}
			s.Watch("B7", Common)
			s.Peek("broken")
			r := run(t, pixels(t, 40, 3, "0x21", "T_REFRESHES=20", fmt.Sprintf("T_ISR_CYCLES=%d", cycles), "T_ISR_EVERY=777"), s)
			w := r.Waves[0]
			require.Len(t, w.Refreshes, 20)
			require.EqualValues(t, cycles, r.InterruptLongest)
			stopped, long := 0, 0
			for _, got := range w.Refreshes {
				if got.Bits != 40*24 {
					stopped++
				}
				long += got.Broken
			}
			t.Logf("routine %d cycles: longest pause %d, %d refreshes stopped, %d pauses too long", cycles, w.Gap[1], stopped, long)
			require.EqualValues(t, stopped, r.Uint("broken"))
			require.Zero(t, long, "the output stops before it ends a pause that was too long")
			if stopped > 0 {
				fewest = min(fewest, Cycles(cycles))
			}
			if cycles <= 58 {
				require.Zero(t, stopped)
			}
			if cycles >= 62 {
				require.Equal(t, 20, stopped)
			}
			require.Zero(t, w.Bad)
		})
	}
	t.Logf("shortest routine that stops a refresh: %d cycles", fewest)
}

// Slow parts leave less of the gap: what the port states is what passes, and a cycle or
// two more is not.
func TestPausesOfSlowParts(t *testing.T) {
	ready(t)
	for cycles, stops := range map[int]bool{38: false, 40: true, 51: true} {
		t.Run(fmt.Sprint(cycles), func(t *testing.T) {
			t.Parallel()
			f := pixels(t, 40, 3, "0x21", "T_REFRESHES=10", fmt.Sprintf("T_ISR_CYCLES=%d", cycles), "T_ISR_EVERY=777")
			f.Include[0] = part(t, "2500", "5000")
			s := &Script{}
			s.Watch("B7", slowParts)
			s.Peek("broken")
			r := run(t, f, s)
			require.EqualValues(t, cycles, r.InterruptLongest)
			require.EqualValues(t, map[bool]int{false: 0, true: 10}[stops], r.Uint("broken"))
		})
	}
}
