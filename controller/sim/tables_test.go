package sim

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/controller/upload"
	"paneglow/render/power"
	"paneglow/render/table"
)

// Times of the memories, by their data sheets: serial NOR flash of the W25Q64
// family (page 0.7 and 3 ms, sector 45 and 400 ms; from memory), the ATmega2560's
// own flash (3.7 to 4.5 ms for erasing and for writing a page).
const (
	norPage, norSector         = 700 * time.Microsecond, 45 * time.Millisecond
	norPageMost, norSectorMost = 3 * time.Millisecond, 400 * time.Millisecond
	ownPage                    = 4500 * time.Microsecond
)

// noise is a table of a small panel whose one clip cannot be packed.
func noise(t testing.TB, pixels, frames int, seed uint64) *table.Table {
	s := &table.Show{Title: "noise", FPS: 30, Then: table.None, Lines: []string{"a"}, Steady: 4_000_000, Surge: 4_000_000, Least: 4_000_000, Raise: 4000,
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
			Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}},
		Strips: []table.Strip{{Name: "s", Pixels: pixels}},
		States: []table.State{{Name: "rest", Clip: 0, Then: table.None, Budget: 4_000_000}}}
	r := rand.New(rand.NewPCG(seed, 1))
	b := make([]uint8, frames*pixels*3)
	for i := range b {
		b[i] = uint8(r.Uint32())
	}
	var out bytes.Buffer
	_, err := table.Write(&out, s, []table.Clip{{Name: "noise", Frames: frames, Channels: pixels * 3, Bytes: b, Loop: true}}, table.Options{Workers: 1})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

// keeping is a firmware that keeps tables, in a memory of a kind.
type keeping struct {
	t            testing.TB
	nor          bool
	rate         int
	elf, harness string
	boot         string // the boot section's bytes
	memory       string // the file that survives
	page, sector time.Duration
	script       func(*Script)
	ended        Result
}

// keep builds it for the panel of a table. pages wait to be written.
func keep(t testing.TB, nor bool, rate, pages int, panel *table.Show, define ...string) *keeping {
	t.Helper()
	dir := t.TempDir()
	k := &keeping{t: t, nor: nor, rate: rate, elf: filepath.Join(dir, "tables.elf"), memory: filepath.Join(dir, "memory"),
		page: norPage, sector: norSector, boot: filepath.Join(dir, "boot.bin")}
	var h bytes.Buffer
	require.NoError(t, table.WriteConfig(&h, panel, table.DefaultConfig(0)))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o644))
	divisor := map[int]int{115200: 16, 250000: 7, 500000: 3}[rate]
	f := Firmware{
		Sources: append([]string{"sim/testdata/tables.c", "player/line.c", "player/link.c", "player/slots.c", "player/upload.c", "player/fits.c",
			"player/port/avr/pg_serial.c"}, player...),
		Include: []string{dir, "player/port/avr", "player"},
		Define:  append([]string{fmt.Sprintf("BAUD_DIVISOR=%d", divisor), fmt.Sprintf("PG_UPLOAD_PAGES=%d", pages), "BUILT_IN=0x3d000ul"}, define...),
	}
	if nor {
		f.Sources = append(f.Sources, "player/port/avr/pg_nor.c")
		f.Define = append(f.Define, "PG_TABLES_IN_NOR")
	} else {
		f.Sources = append(f.Sources, "player/port/avr/pg_bootstore.c")
		f.Define = append(f.Define, "PG_TABLES_IN_FLASH")
		bootSection(t, dir, k.boot)
	}
	require.NoError(t, Build(f, k.elf))
	var err error
	k.harness, err = Harness(dir)
	require.NoError(t, err)
	return k
}

// bootSection is built as its own Makefile builds it.
func bootSection(t testing.TB, dir, binary string) {
	t.Helper()
	cmd := exec.Command("make", "-C", filepath.Join(Folder(), "player/port/avr/boot"), "BUILD="+dir)
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	require.Less(t, int(sizeOf(t, filepath.Join(dir, "boot.elf"))), 8192)
	out, err = exec.Command("avr-objcopy", "-O", "binary", filepath.Join(dir, "boot.elf"), binary).CombinedOutput()
	require.NoError(t, err, string(out))
}

func sizeOf(t testing.TB, elf string) int {
	s, err := SizeOf(elf)
	require.NoError(t, err)
	return s.Flash
}

const slots = 0x10000 // where the chip's own flash keeps tables

// on switches the board on and gives a program a line to it, until the program
// ends; the memory survives. An answer is late by a millisecond.
func (k *keeping) on(program func(ctx context.Context, c *link.Conn, l *Live)) {
	k.t.Helper()
	s := &Script{}
	s.Until(10 * time.Minute)
	s.Baud(k.rate)
	s.Watch("B7", Common)
	s.Peek("store")
	if k.nor {
		s.NOR(k.memory, k.page, k.sector)
		s.Peek("pg_nor_early")
		s.Peek("pg_nor_given_up")
	} else {
		s.SelfProgram(ownPage, ownPage)
		s.Load(0x3e000, k.boot)
		s.Keep(slots, k.memory)
		s.Peek("pg_bootstore_refused")
	}
	s.Peek("pg_serial_lost")
	if k.script != nil {
		k.script(s)
	}
	synctest.Test(k.t.(*testing.T), func(t *testing.T) {
		l, err := Start(k.harness, k.elf, s, time.Millisecond)
		require.NoError(t, err)
		time.Sleep(20 * time.Millisecond) // the receiver is switched on
		program(t.Context(), link.NewConn(l, link.Options{Baud: k.rate}), l)
		require.NoError(t, l.Close())
		k.ended = l.Result
	})
	require.Zero(k.t, k.ended.UART.Lost)
	require.Zero(k.t, k.ended.Uint("store"))
	require.Zero(k.t, k.ended.Uint("pg_serial_lost"))
	require.Zero(k.t, k.ended.Uint("pg_nor_early")+k.ended.Uint("pg_nor_given_up")+k.ended.Uint("pg_bootstore_refused"))
	require.Zero(k.t, k.ended.NOR.Early+k.ended.NOR.Ignored)
}

// A table comes over the line into both memories, plays from there, is there after
// power was off, and is followed by another one.
func TestUploadIntoMemories(t *testing.T) {
	ready(t)
	a, b := noise(t, 20, 40, 1), noise(t, 20, 40, 2)
	for _, nor := range []bool{true, false} {
		t.Run(strings.TrimPrefix(fmt.Sprintf("nor %v", nor), " "), func(t *testing.T) {
			k := keep(t, nor, 115200, 2, &a.Show)
			k.on(func(ctx context.Context, c *link.Conn, l *Live) {
				r, err := upload.Upload(ctx, c, a, upload.Options{})
				require.NoError(t, err)
				require.Equal(t, uint32(1), r.Installed)
				time.Sleep(400 * time.Millisecond)
			})
			t.Logf("%d bytes; NOR %+v, own flash %+v, %d bytes of stack", len(a.Bytes()), k.ended.NOR, k.ended.SelfProg, k.ended.Stack)
		})
	}
	_ = b
}
