package sim

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/render/power"
	"paneglow/render/table"
	"paneglow/render/table/corpus"
)

// What is measured is held against a panel of 240 pixels at 30 frames a second,
// whose machine keeps 40 % of the processor.
const (
	benchPixels = 240
	benchFPS    = 30
	keeps       = 0.4
)

// showOf has one state for every clip, and cuts.
func showOf(l *corpus.Layout, clips []corpus.Clip) (*table.Show, []table.Clip) {
	s := &table.Show{Title: "corpus", FPS: benchFPS, Then: table.None, Lines: []string{"a"}, Steady: 1e9, Surge: 1e9, Least: 1e9, Raise: 1e6,
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
			Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}}}
	for i, n := range l.Strips {
		s.Strips = append(s.Strips, table.Strip{Name: fmt.Sprint(i), Pixels: n})
	}
	var out []table.Clip
	for i := range clips {
		c := &clips[i]
		s.States = append(s.States, table.State{Name: fmt.Sprint(i), Clip: i, Then: table.None, Budget: 1e9})
		out = append(out, table.Clip{Name: c.Name, Frames: c.Frames(benchFPS), Channels: l.Pixels() * 3, Bytes: c.Codes(benchFPS), Loop: true})
	}
	return s, out
}

// BenchmarkPlayer measures the player in C on the clips of the corpus that have
// 240 pixels: the costliest refresh, unpacking, recount and all other work of the
// player, against what the wire and the machine leave free; the longest call but
// output; memory and flash.
func BenchmarkPlayer(b *testing.B) {
	ready(b)
	for range b.N {
		measure(b)
	}
}

// phases are the player's, in its order.
var phases = []string{"dark", "header", "between refreshes", "old clip", "freeze", "unpack", "count", "send"}

func measure(b *testing.B) {
	byLayout := map[string][]corpus.Clip{}
	layouts := map[string]*corpus.Layout{}
	for _, c := range corpus.First() {
		if c.Layout.Pixels() == benchPixels {
			key := fmt.Sprint(c.Layout.Strips)
			byLayout[key] = append(byLayout[key], c)
			layouts[key] = c.Layout
		}
	}
	harness, err := Harness(b.TempDir())
	require.NoError(b, err)
	worst, call, ram, flash, full, refreshes := Cycles(0), Cycles(0), 0, 0, 0, 0
	longest, all := map[string]Cycles{}, map[string]Cycles{}
	keys := make([]string, 0, len(layouts))
	for key := range layouts {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	for _, key := range keys {
		show, clips := showOf(layouts[key], byLayout[key])
		var out bytes.Buffer
		_, err := table.Write(&out, show, clips, table.Options{Pack: table.Quick})
		require.NoError(b, err)
		tab, err := table.Read(out.Bytes(), table.Limits{})
		require.NoError(b, err)
		dir := b.TempDir()
		var h bytes.Buffer
		config := table.DefaultConfig(tab.Work())
		config.Only = tab.Needs()
		require.NoError(b, table.WriteConfig(&h, &tab.Show, config))
		require.NoError(b, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o644))
		path := filepath.Join(dir, "panel.table")
		require.NoError(b, os.WriteFile(path, tab.ForController(), 0o644))
		var frames []string
		for _, c := range clips {
			frames = append(frames, fmt.Sprint(c.Frames))
		}
		elf := filepath.Join(dir, "costs.elf")
		include := []string{dir, "player/port/avr", "player"}
		require.NoError(b, Build(Firmware{
			Sources: append([]string{"sim/testdata/costs.c", "player/example/table.S"}, core...), Include: include,
			Define: []string{"TABLE=\"" + path + "\"", "FRAMES=" + strings.Join(frames, ",")},
			Flags:  []string{"-Wl,--section-start=.panel_table=0x10000", "-Wl,--undefined=panel_table"},
		}, elf))
		s := &Script{}
		s.Stop(255)
		s.Until(time.Hour)
		s.Peek("panel")
		r, err := Run(harness, elf, s, 10*time.Minute)
		require.NoError(b, err)
		require.Equal(b, "mark", r.Why)
		for _, p := range r.Sections {
			call = max(call, p.Most)
			longest[phases[p.Number-1]] = max(longest[phases[p.Number-1]], p.Most)
			all[phases[p.Number-1]] += p.Cycles
		}
		ram = max(ram, len(r.Peeks["panel"])-tab.Channels())
		flash, full = max(flash, sizeOfPlayer(b, include)), max(full, sizeOfPlayer(b, include, "PG_WHOLE", "PG_KEYS_CLIPS=1"))

		// From one refresh sent to the next one ready; the first of a state stands
		// for what it costs to begin it, and for the checksum before it, in time that
		// the built-in still or the state before fills.
		clip, frame := 0, 0
		var since Cycles
		for _, m := range r.Marks {
			switch m.Value {
			case 2:
				since = m.Busy
			case 1:
				cost := m.Busy - since
				if frame > 1 {
					worst = max(worst, cost)
					refreshes++
				}
				if frame++; frame == clips[clip].Frames {
					clip, frame = clip+1, 0
				}
			}
		}
		require.Equal(b, len(clips), clip)
	}
	free := float64(Hz)/benchFPS*(1-keeps) - benchPixels*24*20
	b.ReportMetric(float64(worst)/free, "player_cycles_worst_share")
	b.ReportMetric(float64(ram), "player_ram")
	b.ReportMetric(float64(flash), "player_flash")
	b.ReportMetric(float64(full), "player_flash_full")
	b.ReportMetric(float64(call)/16, "player_call_us")
	b.ReportMetric(0, "ns/op")
	b.Logf("longest calls, cycles: %v", longest)
	b.Logf("cycles in all: %v", all)
	b.Logf("%d refreshes of %d layouts; the costliest %d cycles of %.0f free", refreshes, len(keys), worst, free)
}

// sizeOfPlayer is the flash of the player without its port and of what it needs of
// the compiler's own functions: a firmware that calls all of it, less an empty one.
func sizeOfPlayer(b *testing.B, include []string, define ...string) int {
	size := func(sources []string, define ...string) int {
		elf := filepath.Join(b.TempDir(), "size.elf")
		require.NoError(b, Build(Firmware{Sources: sources, Include: include, Define: define}, elf))
		size, err := SizeOf(elf)
		require.NoError(b, err)
		return size.Flash
	}
	return size(append([]string{"sim/testdata/calls.c"}, core...), define...) - size([]string{"sim/testdata/calls.c"}, "NOTHING")
}
