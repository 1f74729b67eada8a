package twin

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/controller/sim"
	"paneglow/render/power"
	"paneglow/render/table"
)

// doorway is a panel of 240 pixels in three strips, under a supply that is too
// small while its load runs, with a part of a law.
func doorway(t testing.TB, law show.Law) *table.Table {
	s := &table.Show{Title: "doorway", FPS: 30, Steady: 4_000_000, Surge: 5_000_000, Least: 600_000, Raise: 5000, Slew: 60_000, Then: table.None,
		Lines:  []string{"a"},
		Parts:  []table.Part{{Name: "p", Part: power.Part{Dies: 3, Law: law, Idle: 1000, Channel: [4]int64{12_960, 12_960, 12_960}}, Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000}},
		Strips: []table.Strip{{Name: "left", Pixels: 80}, {Name: "top", Pixels: 80}, {Name: "right", Pixels: 80}},
		Loads:  []table.Load{{Name: "carousel", Run: 3_200_000, Start: 3_900_000}},
		States: []table.State{
			{Name: "drift", HandOver: show.Crossfade, Fade: 400, Then: table.None, Budget: 4_000_000, Loads: 1},
			{Name: "noise", Clip: 1, HandOver: show.Crossfade, Fade: 400, Then: table.None, Budget: 4_000_000},
			{Name: "lift", Clip: 2, Then: table.None, Budget: 4_000_000},
		},
		Levels: []table.Level{{From: 22 * 3600, Days: 0x7f, Lightness: 400}},
	}
	if law == show.Ceiling {
		s.Parts[0].Ceiling = 20_000
	}
	n := s.Channels()
	paint := func(frames int, code func(f, i, c int) int) []byte {
		var b []byte
		for f := range frames {
			for i := range n {
				b = append(b, uint8(min(max(code(f, i/3, i%3), 0), 255)))
			}
		}
		return b
	}
	clips := []table.Clip{
		{Name: "drift", Frames: 90, Channels: n, Loop: true, Bytes: paint(90, func(f, i, c int) int { return abs((f*3+i*(1+c))%200 - 100) })},
		{Name: "noise", Frames: 30, Channels: n, Loop: true, Bytes: paint(30, func(f, i, c int) int { return (f*f*7 + i*i*13 + c*i*f*5) % 151 })},
		{Name: "lift", Frames: 256, Channels: n, Value: true, Bytes: paint(256, func(f, i, c int) int { return (f - i) * (10 + c) })},
	}
	var out bytes.Buffer
	_, err := table.Write(&out, s, clips, table.Options{})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

// No call takes longer than a millisecond of a 16 MHz controller; the stack stays
// in its reserve.
// Simulated; nothing here was measured on silicon.
func TestEveryCallIsShort(t *testing.T) {
	if err := sim.Ready(); err != nil {
		t.Skipf("the player's cycles were not measured: %v", err)
	}
	dir := t.TempDir()
	harness, err := sim.Harness(dir)
	require.NoError(t, err)
	for _, law := range []show.Law{show.Sum, show.Ceiling} {
		t.Run(law.String(), func(t *testing.T) {
			t.Parallel()
			tab := doorway(t, law)
			dir := t.TempDir()
			var h bytes.Buffer
			c := table.DefaultConfig(max(tab.Work(), 1))
			require.NoError(t, table.WriteConfig(&h, &tab.Show, c))
			require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o666))
			path := filepath.Join(dir, "table.bin")
			require.NoError(t, os.WriteFile(path, tab.ForController(), 0o666))
			asm := filepath.Join(dir, "panel_table.S")
			require.NoError(t, os.WriteFile(asm, []byte(fmt.Sprintf(".section .text.zz_table,\"ax\",@progbits\n.global panel_table\npanel_table:\n.incbin \"%s\"\n.balign 2\n", path)), 0o666))
			elf := filepath.Join(dir, "player.elf")
			f := sim.Firmware{Sources: []string{"twin/testdata/cycles.c"}, Include: []string{dir, "player/port/avr", "player"}}
			for _, name := range []string{"player", "table", "budget", "service", "decode", "clip", "count", "gain", "plan", "told", "verify", "walk"} {
				f.Sources = append(f.Sources, "player/"+name+".c")
			}
			f.Sources = append(f.Sources, "player/port/avr/pg_stretch.S", "player/port/avr/pg_wide.S", asm)
			require.NoError(t, sim.Build(f, elf))
			var s sim.Script
			s.Until(30 * time.Second)
			s.Stop(255)
			for _, v := range []string{"refreshes", "trouble", "gain_fell"} {
				s.Peek(v)
			}
			r, err := sim.Run(harness, elf, &s, time.Minute)
			require.NoError(t, err)
			require.Equal(t, "mark", r.Why)
			require.Zero(t, r.Uint("trouble"))
			require.EqualValues(t, 130, r.Uint("refreshes"))
			require.EqualValues(t, 1, r.Uint("gain_fell"), "a budget held the light back")
			names := map[int]string{1: "header", 2: "background", 3: "old frame", 4: "freezing", 5: "fetching", 6: "counting", 9: "begin", 10: "a pixel goes out", 11: "told"}
			for _, x := range r.Sections {
				t.Logf("%-18s %6d calls, longest %6d cycles = %4.0f us, %9d in all", names[x.Number], x.Count, x.Most, float64(x.Most)/16, x.Cycles)
				assert.LessOrEqual(t, int64(x.Most), int64(16_000), names[x.Number])
			}
			t.Logf("stack %d bytes; memory %+v", r.Stack, c.Memory(&tab.Show))
			perRefresh := int64(r.Section(6).Cycles) / 130
			t.Logf("counting: %d cycles a refresh, %d a pixel", perRefresh, perRefresh/240)
			require.LessOrEqual(t, r.Stack, table.Stack)
		})
	}
}
