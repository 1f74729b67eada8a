package sim

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/render/prove"
	"paneglow/render/table"
	"paneglow/render/table/corpus"
)

// sideBySide is the firmware that sends made-up bytes on several lines at once.
func sideBySide(t testing.TB, pins uint8, lengths []int, bit string, define ...string) (Firmware, *Script) {
	f := Firmware{
		Sources:  []string{"sim/testdata/together.c", "player/port/avr/pg_together.S"},
		Include:  []string{part(t, bit, "5000"), "player/port/avr"},
		Optimise: "-O2",
		Define: append([]string{fmt.Sprintf("PG_TOGETHER=%d", pins), fmt.Sprintf("PG_LONGEST=%d", slices.Max(lengths)),
			"T_LENGTHS=" + strings.Trim(strings.ReplaceAll(fmt.Sprint(lengths), " ", ","), "[]")}, define...),
	}
	if !strings.Contains(strings.Join(define, " "), "T_REFRESHES") {
		f.Define = append(f.Define, "T_REFRESHES=1")
	}
	limits := Common
	if bit == "2500" {
		limits = slowParts
	}
	s := &Script{}
	for pin := range 8 {
		if pins>>pin&1 != 0 {
			s.Watch(fmt.Sprintf("B%d", pin), limits)
		}
	}
	s.Peek("broken")
	return f, s
}

// sideBySideTwin is what testdata/together.c makes up, line by line.
func sideBySideTwin(lengths []int) (lines [][]byte) {
	seed := uint32(1)
	for _, n := range lengths {
		b := make([]byte, n)
		for i := range b {
			seed = seed*1664525 + 1013904223
			b[i] = byte(seed >> 24)
		}
		lines = append(lines, b)
	}
	return lines
}

// Lines of any lengths on any pins go out at once, each with its own bytes, every bit
// in its time, in the wire time of the longest.
func TestLinesSideBySide(t *testing.T) {
	ready(t)
	for _, x := range []struct {
		pins    uint8
		lengths []int
		bit     string
	}{
		{0x01, []int{7}, "1250"},
		{0x03, []int{12, 12}, "1250"},
		{0x03, []int{3, 360}, "1250"},
		{0x07, []int{9, 1, 5}, "1250"},
		{0x0b, []int{180, 180, 180}, "1250"},
		{0x0f, []int{180, 179, 178, 1}, "1250"},
		{0x1f, []int{90, 60, 30, 30, 2}, "1250"},
		{0xa5, []int{12, 30, 30, 6}, "1250"},
		{0xff, []int{90, 90, 90, 90, 90, 90, 90, 90}, "1250"},
		{0xff, []int{1, 2, 3, 4, 5, 6, 7, 8}, "1250"},
		{0xff, []int{0, 40, 30, 30, 0, 10, 90, 1}, "1250"},
		{0x0f, []int{30, 45, 0, 12}, "2500"},
		{0xff, []int{9, 9, 30, 45, 12, 6, 3, 1}, "2500"},
	} {
		t.Run(fmt.Sprintf("%+v", x), func(t *testing.T) {
			t.Parallel()
			f, s := sideBySide(t, x.pins, x.lengths, x.bit)
			r := run(t, f, s)
			require.Zero(t, r.Uint("broken"))
			period := map[string]Cycles{"1250": 20, "2500": 40}[x.bit]
			for line, want := range sideBySideTwin(x.lengths) {
				w := r.Waves[line]
				require.Zero(t, w.Bad, "line %d: %+v", line, w)
				if len(want) == 0 {
					require.Empty(t, w.Refreshes)
					continue
				}
				require.Len(t, w.Refreshes, 1)
				got := w.Refreshes[0]
				require.True(t, got.Latched)
				require.Zero(t, got.Broken)
				require.Equal(t, want, []byte(got.Codes), "line %d", line)
				require.Equal(t, Span{period, period}, w.Period)
				require.InDelta(t, float64(period)*float64(got.Bits), float64(got.End-got.At), float64(period))
			}
			t.Logf("rows turned in %d cycles", r.Section(2).Most)
		})
	}
}

// What is sent is held against what was made: two lines on each other's pins, and a
// filler left out, are seen.
func TestLinesSideBySideAreSeen(t *testing.T) {
	ready(t)
	t.Parallel()
	lengths := []int{30, 30, 30}
	source, err := os.ReadFile(filepath.Join(Folder(), "player/port/avr/pg_together.S"))
	require.NoError(t, err)
	spoiled := func(old, new string) *Result {
		require.Contains(t, string(source), old)
		path := filepath.Join(t.TempDir(), "spoiled.S")
		require.NoError(t, os.WriteFile(path, []byte(strings.Replace(string(source), old, new, 1)), 0o644))
		f, s := sideBySide(t, 0x07, lengths, "1250")
		f.Sources[1] = path
		return run(t, f, s)
	}
	want := sideBySideTwin(lengths)
	r := spoiled("	shift 2, r20\n	shift 1, r19\n", "	shift 2, r19\n	shift 1, r20\n")
	require.Zero(t, r.Waves[1].Bad)
	require.NotEqual(t, want[1], []byte(r.Waves[1].Refreshes[0].Codes))
	require.Equal(t, want[0], []byte(r.Waves[0].Refreshes[0].Codes))
	r = spoiled(".macro idle_b\n	pad 5\n", ".macro idle_b\n	pad 3\n")
	require.Equal(t, want[1], []byte(r.Waves[1].Refreshes[0].Codes), "the bytes are still right")
	require.Greater(t, r.Waves[1].Bad, 30)
}

// Interrupt routines just under and over what the gap allows, as with one line.
func TestPausesSideBySideAreCounted(t *testing.T) {
	ready(t)
	for _, pins := range []uint8{0x0f, 0xff} {
		lengths := []int{120, 120, 120, 60, 30, 120, 90, 120}[:map[uint8]int{0x0f: 4, 0xff: 8}[pins]]
		for _, cycles := range []int{30, 56, 58, 62, 80, 250} {
			t.Run(fmt.Sprintf("%#x, %d", pins, cycles), func(t *testing.T) {
				t.Parallel()
				f, s := sideBySide(t, pins, lengths, "1250", "T_REFRESHES=20", fmt.Sprintf("T_ISR_CYCLES=%d", cycles), "T_ISR_EVERY=777")
				r := run(t, f, s)
				stopped := 0
				for _, got := range r.Waves[0].Refreshes {
					if got.Bits != lengths[0]*8 {
						stopped++
					}
				}
				require.EqualValues(t, cycles, r.InterruptLongest)
				require.EqualValues(t, stopped, r.Uint("broken"))
				for line := range lengths {
					require.Zero(t, r.Waves[line].Bad)
					for _, got := range r.Waves[line].Refreshes {
						require.Zero(t, got.Broken, "the output stops before it ends a pause that was too long")
					}
				}
				if cycles <= 58 {
					require.Zero(t, stopped)
				} else {
					require.Equal(t, 20, stopped)
				}
			})
		}
	}
}

var slowParts = Limits{T0H: [2]time.Duration{350, 650}, T1H: [2]time.Duration{1050, 1350}, T0L: [2]time.Duration{1850, 2150},
	T1L: [2]time.Duration{1150, 1450}, Gap: Common.Gap, Latch: Common.Latch}

// joined are the refreshes of several lines, each line's after the one before: the data
// order where every strip has a line of its own.
func joined(r *Result) (all []Refresh) {
	for k := range r.Waves[0].Refreshes {
		j := r.Waves[0].Refreshes[k]
		j.Codes = slices.Clone(j.Codes)
		for _, w := range r.Waves[1:] {
			if k >= len(w.Refreshes) {
				return all // the run ended with this one under way
			}
			x := w.Refreshes[k]
			j.Codes = append(j.Codes, x.Codes...)
			j.Bits, j.Bad, j.Broken, j.Latched = j.Bits+x.Bits, j.Bad+x.Bad, j.Broken+x.Broken, j.Latched && x.Latched
		}
		all = append(all, j)
	}
	return all
}

// threeLines is the demo with a data line for every strip, side by side.
func threeLines(t testing.TB) *table.Table {
	tab, err := onThree()
	require.NoError(t, err)
	return tab
}

// pinsOf are the port's pins that data lines stand on, by their number.
var pinsOf = map[int][]string{1: {"B7"}, 3: {"B0", "B1", "B2"}}

var onThree = sync.OnceValues(func() (*table.Table, error) {
	folder := filepath.Join(Folder(), "..", "examples", "umbrella")
	src, err := os.ReadFile(filepath.Join(folder, "machine.toml"))
	if err != nil {
		return nil, err
	}
	text := string(src)
	const one = "[[line]]\nname = \"a\"\ndriver = \"5 V\"\nstrips = [\"left\", \"top\", \"right\"]"
	each := ""
	for _, name := range []string{"left", "top", "right"} {
		each += fmt.Sprintf("[[line]]\nname = \"to-%s\"\ndriver = \"5 V\"\nstrips = [%q]\n", name, name)
	}
	text = strings.Replace(text, one, each, 1)
	text = strings.Replace(text, "[controller]\n", "[controller]\nlines = \"together\"\n", 1)
	dir, err := os.MkdirTemp("", "lines")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	machine := filepath.Join(dir, "machine.toml")
	if err := os.WriteFile(machine, []byte(text), 0o644); err != nil {
		return nil, err
	}
	p := prove.Open(folder, machine)
	p.Finish(2, nil)
	p.Pack(table.Quick, 2)
	if p.Table == nil || len(p.Table.Show.Lines) != 3 || !p.Machine.Controller.Together {
		return nil, fmt.Errorf("the demo on three lines: %v", p.Found)
	}
	return p.Table, nil
})

// The whole demo on three lines of one port is what the twin plays, states switched on
// the way; the machine's own bytes all arrive.
func TestTheShowSideBySide(t *testing.T) {
	ready(t)
	t.Parallel()
	tab := threeLines(t)
	harness, err := Harness(t.TempDir())
	require.NoError(t, err)
	elf := toy(t, watched, tab, tab.ForController())
	s := &Script{}
	s.Baud(115200)
	for _, pin := range pinsOf[3] {
		s.Watch(pin, Common)
	}
	r := playTheShow(t, harness, elf, s, tab, 2500*time.Millisecond)
	seen, left := latched(t, tab, r, joined(r))
	t.Logf("%d refreshes equal, of %d in %.1f s; left out %d times; %d bytes of stack", seen, len(r.Waves[0].Refreshes), r.Cycles.Of().Seconds(), left, r.Stack)
	require.Greater(t, seen, 400)
	for _, w := range r.Waves {
		require.Zero(t, w.Bad)
	}
}

// filled works out a panel's rows on the chip and holds them against its lines one by
// one; it gives the run, and the plan of the memory.
func filled(t *testing.T, show *table.Show, define ...string) (*Result, table.Memory) {
	t.Helper()
	config := table.DefaultConfig(1000)
	config.Together = true
	var h bytes.Buffer
	require.NoError(t, table.WriteConfig(&h, show, config))
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o644))
	s := &Script{}
	s.Stop(255)
	s.Peek("differ")
	s.Peek("rows")
	r := run(t, Firmware{Sources: slices.Concat([]string{"sim/testdata/filled.c", "player/port/avr/pg_avr.c"}, core),
		Include: []string{dir, "player/port/avr", "player"}, Define: define}, s)
	require.Zero(t, r.Uint("differ"), "%d pixels on %d lines", show.Pixels(), len(show.Lines))
	return r, config.Memory(show)
}

// What the rows cost, in cycles of the processor, held under what a controller's plan
// reckons with.
func TestWhatRowsCost(t *testing.T) {
	ready(t)
	layouts := [][]int{{234, 2, 2, 2}, {150, 2, 2, 2, 2, 2, 2, 2}, {1, 1}, {1, 1, 1, 1, 1, 1, 1, 1}}
	for lines := 2; lines <= 8; lines += 2 {
		layouts = append(layouts, slices.Repeat([]int{benchPixels / lines}, lines))
	}
	for _, pixels := range layouts {
		lines := len(pixels)
		t.Run(fmt.Sprint(pixels), func(t *testing.T) {
			t.Parallel()
			show, _ := showOf(&corpus.Layout{Strips: pixels}, nil)
			show.Lines = nil
			for i := range show.Strips {
				show.Lines = append(show.Lines, fmt.Sprint(i))
				show.Strips[i].Line = i
			}
			r, plan := filled(t, show)
			require.Len(t, r.Peeks["rows"], plan.Rows, "as the plan has it")
			whole := max(r.Section(1).Most, r.Section(2).Most, r.Section(4).Most) // a crossfade is told apart
			t.Logf("%d pixels on %d lines: full %d, held back %d, crossfade %d, palette %d, turning %d cycles", show.Pixels(), lines,
				r.Section(1).Most, r.Section(2).Most, r.Section(3).Most, r.Section(4).Most, r.Section(5).Most)
			require.LessOrEqual(t, r.Section(3).Most, whole+25*benchPixels)
			require.LessOrEqual(t, int64(whole+r.Section(5).Most), table.RowCycles(show, true))
		})
	}
}

// Strips of three and four dies on lines in any order, on two supplies, with pixels that
// were left out and others that died: the rows are what the lines one by one would
// send.
func TestRowsAreTheLines(t *testing.T) {
	ready(t)
	for seed := range uint64(6) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			r := rand.New(rand.NewPCG(seed, 9))
			show, _ := showOf(&corpus.Layout{}, nil)
			show.Further = []table.Supply{{Name: "other", Steady: 1e9, Surge: 1e9, Least: 1e9, Raise: 1e6}}
			white := show.Parts[0]
			white.Name, white.Order, white.Dies = "w", "GRWB", 4
			show.Parts = append(show.Parts, white)
			show.Lines = nil
			for i := range 2 + r.IntN(7) {
				show.Lines = append(show.Lines, fmt.Sprint(i))
			}
			dead := []string{}
			first := 0
			for i := range len(show.Lines) + r.IntN(4) {
				st := table.Strip{Name: fmt.Sprint(i), Pixels: 1 + r.IntN(25), Part: r.IntN(2), Line: i % len(show.Lines), Supply: r.IntN(2)}
				if i >= len(show.Lines) {
					st.Line = r.IntN(len(show.Lines))
				}
				if r.IntN(3) == 0 {
					st.Missing = []int{r.IntN(st.Pixels)}
				} else if len(dead) < 10 {
					dead = append(dead, fmt.Sprint(first+r.IntN(st.Pixels)))
				}
				first += st.Pixels
				show.Strips = append(show.Strips, st)
			}
			got, _ := filled(t, show, "T_MIXED=1", "T_DEAD="+strings.Join(dead, ","))
			require.Equal(t, 6, got.Section(6).Count, "six pictures of the test")
		})
	}
}
