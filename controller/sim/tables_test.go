package sim

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
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
	t            *testing.T
	nor          bool
	rate         int
	elf, harness string
	boot         string // the boot section's bytes
	memory       string // the file that survives
	page, sector time.Duration
	takenAway    link.Kind // the line is, when a message of this kind is to be sent; 0: never
	tells        bool      // in a variable what the memory's start gave
	faulty       bool      // its memory: what the driver counts of that is the test's to look at
	script       func(*Script)
	heard        func([]byte)                      // the machine's own text
	late         time.Duration                     // the computer; 0: a millisecond
	between      func(io.ReadWriter) io.ReadWriter // what stands between line and computer; nil: nothing
	ended        Result
	line         *timed
}

// keep builds it for the panel of a table. pages wait to be written.
func keep(t *testing.T, nor bool, rate, pages int, panel *table.Show, define ...string) *keeping {
	t.Helper()
	k := keepBy(t, []string{"sim/testdata/tables.c"}, nor, rate, pages, panel, define...)
	k.tells = true
	return k
}

// keepBy is keep for firmware of other sources beside line and player.
func keepBy(t *testing.T, own []string, nor bool, rate, pages int, panel *table.Show, define ...string) *keeping {
	t.Helper()
	dir := t.TempDir()
	k := &keeping{t: t, nor: nor, rate: rate, elf: filepath.Join(dir, "tables.elf"), memory: filepath.Join(dir, "memory"),
		page: norPage, sector: norSector, boot: filepath.Join(dir, "boot.bin")}
	var h bytes.Buffer
	require.NoError(t, table.WriteConfig(&h, panel, table.DefaultConfig(0)))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o644))
	divisor := map[int]int{115200: 16, 250000: 7, 500000: 3}[rate]
	f := Firmware{
		Sources: slices.Concat(own, []string{"player/port/avr/pg_serial.c"}, onLine, player),
		Include: []string{dir, "player/port/avr", "player", "player/example"},
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
func (k *keeping) on(program func(t *testing.T, ctx context.Context, c *link.Conn, l *Live)) {
	k.t.Helper()
	s := &Script{}
	s.Until(10 * time.Minute)
	s.Baud(k.rate)
	s.Watch("B7", Common)
	if k.tells {
		s.Peek("store")
	}
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
	synctest.Test(k.t, func(t *testing.T) {
		l, err := Start(k.harness, k.elf, s, cmp.Or(k.late, time.Millisecond))
		require.NoError(t, err)
		closed := false
		defer func() { // a failed program ends the run too
			if !closed {
				l.Close()
			}
		}()
		time.Sleep(20 * time.Millisecond) // the receiver is switched on
		k.line = &timed{Live: l}
		line := io.ReadWriter(&breaks{k.line, k.takenAway, false})
		if k.between != nil {
			line = k.between(line)
		}
		program(t, t.Context(), link.NewConn(line, link.Options{Baud: k.rate, Text: k.heard}), l)
		closed = true
		require.NoError(t, l.Close())
		k.ended = l.Result
	})
	require.Zero(k.t, k.ended.UART.Lost)
	if k.tells {
		require.Zero(k.t, k.ended.Uint("store"))
	}
	require.Zero(k.t, k.ended.Uint("pg_serial_lost"))
	if k.faulty {
		return
	}
	require.Zero(k.t, k.ended.Uint("pg_nor_early"))
	require.Zero(k.t, k.ended.Uint("pg_nor_given_up"))
	require.Zero(k.t, k.ended.Uint("pg_bootstore_refused"))
	require.Zero(k.t, k.ended.NOR.Early+k.ended.NOR.Ignored)
}

// memories are the two kinds, each with what a test wants of it.
func memories(t *testing.T, test func(t *testing.T, nor bool)) {
	t.Run("serial NOR flash", func(t *testing.T) { test(t, true) })
	t.Run("the chip's own flash", func(t *testing.T) { test(t, false) })
}

// shows uploads nothing: it plays what is there for a time and wants all refreshes
// but those of the built-in still to be a table's frames, in order.
func (k *keeping) shows(want *table.Table, d time.Duration) (frames int) {
	k.t.Helper()
	k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) { time.Sleep(d) })
	return k.frames(want)
}

// frames counts the refreshes of the run that ended which are frames of a table; any
// that is neither that nor one color all over fails.
func (k *keeping) frames(want *table.Table) (n int) {
	k.t.Helper()
	pixels := want.Pixels()
	d := want.Clip(0).Start()
	codes := make([]byte, want.Channels())
	known := map[string]bool{}
	for range want.Clips[0].Frames {
		require.NoError(k.t, d.Next(codes))
		wire := make([]byte, len(codes))
		for i := 0; i+2 < len(codes); i += 3 { // GRB on the wire
			wire[i], wire[i+1], wire[i+2] = codes[i+1], codes[i], codes[i+2]
		}
		known[string(wire)] = true
	}
	for _, w := range k.ended.Waves[0].Refreshes {
		if w.Bits < 24*pixels {
			continue // cut off by the end
		}
		if known[string(w.Codes)] {
			n++
			continue
		}
		require.Equal(k.t, bytes.Repeat(w.Codes[:3], pixels), []byte(w.Codes), "neither a frame nor the built-in still")
	}
	return n
}

// A table comes over the line into both memories, plays from there, is there after
// power was off, and another one follows it.
func TestUploadIntoMemories(t *testing.T) {
	ready(t)
	memories(t, func(t *testing.T, nor bool) {
		t.Parallel()
		a, b := noise(t, 20, 24, 1), noise(t, 20, 24, 2)
		k := keep(t, nor, 250000, 2, &a.Show)
		for i, tab := range []*table.Table{a, b} {
			k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
				r, err := upload.Upload(ctx, c, tab, upload.Options{})
				require.NoError(t, err)
				require.Equal(t, uint32(i+1), r.Installed)
			})
			require.Greater(t, k.shows(tab, 700*time.Millisecond), 5)
		}
		t.Logf("%d bytes of a table, %d bytes of stack, longest stop of the processor %v", len(a.Bytes()), k.ended.Stack, k.ended.SelfProg.Longest.Of())
	})
}

// Power goes in the midst of an erasure, of a page and of the record, with any of the
// bits under way changed or not: the chip starts anew, and the old show plays or the
// new one, whole. The next upload goes on.
func TestPowerGoesInMemories(t *testing.T) {
	ready(t)
	memories(t, func(t *testing.T, nor bool) {
		t.Parallel()
		a, b := noise(t, 20, 12, 1), noise(t, 20, 12, 2)
		k := keep(t, nor, 250000, 2, &a.Show)
		k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
			_, err := upload.Upload(ctx, c, a, upload.Options{})
			require.NoError(t, err)
		})
		changes := k.ended.NOR.Pages + k.ended.NOR.Sectors + k.ended.SelfProg.Pages + k.ended.SelfProg.Erasures
		was, will, fell, new := a, b, 0, 0
		// The first, one in the middle, and the last three: the record is the last.
		for i, n := range []int{1, 2, changes / 2, changes - 1, changes} {
			k.script = func(s *Script) { s.Cut(n, uint32(i+3)) }
			k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
				_, err := upload.Upload(ctx, c, will, upload.Options{Whole: true})
				if err == nil {
					time.Sleep(time.Second) // it falls later, or never
				}
			})
			if k.ended.Why == "power" {
				fell++
			}
			k.script = nil
			var table uint32
			k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
				id, err := c.Hello(ctx)
				require.NoError(t, err)
				table = id.Table
				time.Sleep(500 * time.Millisecond)
			})
			if table == upload.Sum(will.Bytes()) {
				was, will, new = will, was, new+1
			}
			require.Equal(t, upload.Sum(was.Bytes()), table, "cut %d: neither the old nor the new table", n)
			require.Greater(t, k.frames(was), 3, "cut %d", n)
		}
		require.Equal(t, 5, fell, "of %d changes of an upload", changes)
		k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
			_, err := upload.Upload(ctx, c, will, upload.Options{})
			require.NoError(t, err)
		})
		require.Greater(t, k.shows(will, 500*time.Millisecond), 3)
		t.Logf("%d changes an upload; power fell 5 times, the new show played after %d of them", changes, new)
	})
}
