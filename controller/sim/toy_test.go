package sim

import (
	"bytes"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

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
