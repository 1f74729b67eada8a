package commission

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/render/power"
)

// built is what was really soldered: strips on lines, and the machine's file that
// the firmware was built from.
type built struct {
	t     *testing.T
	file  *show.Machine // of the firmware
	lay   *layoutOf
	lines [][]realStrip
	latch float64 // microseconds that latch
	meter *power.Meter
	amps  float64   // factor of what is drawn really
	volts int       // what the voltmeter reads, millivolts
	loads []int     // answers about loads, milliamperes
	light [][][]int // by line, strip, pixel: which colors are lit, as a bit set
	two   string    // what the first two pixels of the last probe show
	asked int
	shown []uint8
}

// realStrip is one strip as it is.
type realStrip struct {
	name    string
	order   string
	pixels  int
	reverse bool  // it runs from the end of the file's path to its start
	broken  int   // no data from this pixel on; -1: whole
	dead    []int // dark, but data passes
	reel    int   // where a second one begins; 0: nowhere
	gone    []int // cut out and bridged: no place in the data
}

const source = `[panel]
size = ["600 mm", "300 mm"]
depth = "30 mm"
glass = { scatter = "40 deg", lambertian = 0.15, transmittance = [0.84, 0.84, 0.82] }
room = { day = "500 lx", night = "20 lx", viewer = "1.5 m" }

[[part]]
name = "strip12"
order = "GRB"                      # as the letters stand on the data line
pitch = "60 /m"
leds_per_pixel = 1
law = "sum"
current = { idle = "1 mA", red = "12 mA", green = "12 mA", blue = "12 mA", spread = "8 %" }
volts = { nominal = "12 V", least = "9 V" }
light = { red = ["622 nm", "400 mcd"], green = ["523 nm", "690 mcd"], blue = ["466 nm", "190 mcd"] }
rails = "0.16 ohm/m"
data = { bit = "1.25 us", latch = "280 us", gap = "5 us", pwm = "2 kHz" }

[[line]]
name = "a"
driver = "5 V"
strips = ["lower", "upper"]

[[strip]]
name = "lower"
part = "strip12"
path = [["20 mm", "60 mm"], ["470 mm", "60 mm"]]
pixels = 28

[[strip]]
name = "upper"
part = "strip12"
path = [["20 mm", "200 mm"], ["320 mm", "200 mm"]]   # above it
pixels = 19

[supply]
volts = "12 V"
amps = "5 A"

[[feed]]
at = ["lower", 0]
wire = "0.5 mm2"
length = "600 mm"
fuse = "4 A"

[[feed]]
at = ["upper", 0]
wire = "0.5 mm2"
length = "600 mm"
fuse = "4 A"

[[load]]
name = "ring"
amps = "1 A"
start = "2 A"

[controller]
clock = "16 MHz"
flash = "248 KiB"
ram = "8 KiB"
machine_flash = "32 KiB"
machine_ram = "700 B"
machine_share = "40 %"
baud = 115200
`

func right() [][]realStrip {
	return [][]realStrip{{{"lower", "GRB", 28, false, -1, nil, 0, nil}, {"upper", "GRB", 19, false, -1, nil, 0, nil}}}
}

// bench makes a panel and a run on it.
func bench(t *testing.T, lines [][]realStrip) (*built, *Run) { return benchOf(t, source, lines) }

func benchOf(t *testing.T, source string, lines [][]realStrip) (*built, *Run) {
	m, found := show.ParseMachine("machine.toml", []byte(source))
	require.NoError(t, found.Err())
	lay, err := newLayout(m)
	require.NoError(t, err)
	meter := *m
	meter.Parts = append([]show.Part(nil), m.Parts...)
	meter.Parts[0].Spread = 0
	real, err := power.NewMeter(&meter, lay.Layout)
	require.NoError(t, err)
	b := &built{t: t, file: m, lay: lay, lines: lines, latch: 60, meter: real, amps: 1, volts: 11_950, loads: []int{1900, 950}}
	r := &Run{Panel: b, Person: b, File: "machine.toml", Source: []byte(source)}
	require.NoError(t, r.Begin())
	return b, r
}

// Show sends codes as the firmware does, and looks at what lights.
func (b *built) Show(_ context.Context, codes []uint8) error {
	require.Len(b.t, codes, b.lay.Channels())
	b.shown = codes
	b.light = nil
	for li, line := range b.lay.lines {
		var wire []uint8
		for _, s := range line {
			st := &b.lay.Strips[s]
			for i := range st.Count {
				if b.lay.Pixels[st.First+i].Missing {
					continue
				}
				at := b.lay.Pixels[st.First+i].Offset
				for _, letter := range st.Order {
					wire = append(wire, codes[at+strings.IndexRune("RGBW", letter)])
				}
			}
		}
		var strips [][]int
		cut := false
		for _, s := range b.lines[li] {
			pixels := make([]int, s.pixels)
			for i := range pixels {
				if slices.Contains(s.gone, i) {
					continue
				}
				if s.broken >= 0 && i >= s.broken {
					cut = true
				}
				if cut || len(wire) < len(s.order) {
					continue
				}
				for k, letter := range s.order {
					if wire[k] > 0 {
						pixels[i] |= 1 << strings.IndexRune("RGBW", letter)
					}
				}
				wire = wire[len(s.order):]
				for _, d := range s.dead {
					if d == i {
						pixels[i] = 0
					}
				}
			}
			strips = append(strips, pixels)
		}
		b.light = append(b.light, strips)
	}
	return nil
}

// Probe is a strip that latches after so long; it shows red or blue by its real
// order.
func (b *built) Probe(_ context.Context, p Probe) error {
	s := b.lines[0][0]
	color := func(w [4]uint8) string {
		for k, letter := range s.order {
			if w[k] > 0 {
				return map[rune]string{'R': "red", 'G': "green", 'B': "blue"}[letter]
			}
		}
		return "dark"
	}
	first, second := color(p.A), color(p.B)
	if float64(p.Pause) >= b.latch {
		b.two = second + ", then nothing"
	} else {
		b.two = first + ", then " + second
	}
	return nil
}

// where finds the strip of a question.
func (b *built) where(name string) (pixels []int, real *realStrip) {
	for li := range b.lines {
		for k := range b.lines[li] {
			if b.lines[li][k].name == name {
				return b.light[li][k], &b.lines[li][k]
			}
		}
	}
	b.t.Fatalf("no strip %q", name)
	return nil, nil
}

func lit(pixels []int) (all []int) {
	for i, x := range pixels {
		if x != 0 {
			all = append(all, i)
		}
	}
	return all
}

// Answer looks at the strips, as a person would.
func (b *built) Answer(_ context.Context, q Question) (int, error) {
	if b.asked++; b.asked > 400 {
		return 0, fmt.Errorf("asked too often: %s", q.Text)
	}
	yes := func(x bool) int { return b2i(!x) }
	choose := func(word string) (int, error) {
		for i, a := range q.Answers {
			if a == word {
				return i, nil
			}
		}
		return 0, fmt.Errorf("%q is none of %q", word, q.Answers)
	}
	switch q.Kind {
	case WhichStrip:
		for _, line := range b.light {
			for k, pixels := range line {
				if len(lit(pixels)) > 0 {
					return choose("strip " + b.lines[0][k].name)
				}
			}
		}
		return choose("nowhere")
	case Amps:
		if strings.Contains(q.Text, "ring") {
			n := b.loads[0]
			b.loads = b.loads[1:]
			return n, nil
		}
		return int(math.Round(float64(b.meter.Current(b.shown)) * b.amps / 1000)), nil
	case Volts:
		return b.volts, nil
	case Two:
		for i, a := range q.Answers {
			if a == b.two {
				return i, nil
			}
		}
		return 2, nil
	}
	pixels, real := b.where(q.Strip)
	on := lit(pixels)
	switch q.Kind {
	case Color:
		seen := map[int]bool{}
		for _, i := range on {
			seen[pixels[i]] = true
		}
		switch {
		case len(on) == 0:
			return len(q.Answers) - 1, nil
		case len(seen) > 1:
			return len(q.Answers) - 2, nil
		}
		return int(math.Log2(float64(pixels[on[0]]))), nil
	case Beyond:
		n := 0
		for i := on[len(on)-1] + 1; i < real.pixels; i++ {
			n += 1 - b2i(slices.Contains(real.gone, i))
		}
		return n, nil
	case End:
		var there []int
		for i := range real.pixels {
			if !slices.Contains(real.gone, i) {
				there = append(there, i)
			}
		}
		first, last := len(on) == 1 && on[0] == there[0], len(on) == 1 && on[0] == there[len(there)-1]
		switch {
		case first && !real.reverse, last && real.reverse:
			return 0, nil
		case first, last:
			return 1, nil
		}
		return 2, nil
	case Place:
		// By its words: so many millimetres from that end.
		var mm float64
		_, rest, _ := strings.Cut(q.Text, "is the light now ")
		_, err := fmt.Sscanf(rest, "%f mm", &mm)
		require.NoError(b.t, err)
		pitch := 1000.0 / 60
		at := float64(on[0]) * pitch
		if real.reverse != strings.Contains(rest, "right end") {
			at = float64(real.pixels-1-on[0]) * pitch
		}
		return yes(math.Abs(at-mm) < pitch/2), nil
	case Sight:
		switch {
		case len(on) == len(pixels)-len(real.gone):
			return sightWhole, nil
		case len(on) == 0:
			return sightDark, nil
		case real.broken >= 0:
			return sightBreak, nil
		}
		return sightHoles, nil
	case Lit:
		return yes(len(on) > 0), nil
	case Bridged:
		return 1, nil
	case AllLit:
		for i := 1; i < len(on); i++ {
			for k := on[i-1] + 1; k < on[i]; k++ {
				if !slices.Contains(real.gone, k) {
					return 1, nil
				}
			}
		}
		var want int
		_, rest, _ := strings.Cut(q.Text, "without a gap, and ")
		_, err := fmt.Sscanf(rest, "%d pixels", &want)
		require.NoError(b.t, err)
		return yes(len(on) == want), nil
	case Reels:
		return yes(real.reel > 0), nil
	case Reel:
		return yes(on[len(on)-1] < real.reel), nil
	}
	return 0, fmt.Errorf("a question of kind %d", q.Kind)
}
