package sim

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/controller/upload"
	"paneglow/render/table"
)

// A serial flash may take as long as its data sheet lets it, and a third longer: the
// driver gives up at one and a half times the most, and no sooner. One that does not
// get ready is given up then: the upload ends with an error that names the memory,
// the line goes on answering, and the next start finds the old show.
func TestSlowMemory(t *testing.T) {
	ready(t)
	t.Parallel()
	const shown = 250 * time.Millisecond
	var was *table.Table
	k := keep(t, true, 500000, 2, &noise(t, 20, 12, 1).Show)
	send := func(tab *table.Table) (took time.Duration, err error) {
		k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
			begun := time.Now()
			_, err = upload.Upload(ctx, c, tab, upload.Options{})
			took = time.Since(begun)
			if was != nil && err != nil {
				id, err := c.Hello(ctx)
				require.NoError(t, err, "it still answers")
				require.Equal(t, upload.Sum(was.Bytes()), id.Table)
			}
		})
		return took, err
	}
	for i, times := range []float64{1, 1.4} {
		tab := noise(t, 20, 12, uint64(i+1))
		k.page, k.sector = time.Duration(times*float64(norPageMost)), time.Duration(times*float64(norSectorMost))
		took, err := send(tab)
		require.NoError(t, err)
		require.Greater(t, took, k.sector+3*k.page, "the memory's own time")
		t.Logf("%d bytes with a page of %v and a sector of %v: %v", len(tab.Bytes()), k.page, k.sector, took)
		was = tab
	}
	require.Greater(t, k.shows(was, shown), 3)
	// The page written first is one of the black box; the erasure after it is begun in
	// vain. Both are waited for.
	for _, never := range []string{"sector", "page"} {
		k.page, k.sector, k.faulty = norPage, norSector, true
		if never == "page" {
			k.page = time.Hour
		} else {
			k.sector = time.Hour
		}
		took, err := send(noise(t, 20, 12, 9))
		require.ErrorIs(t, err, upload.ErrMemory, never)
		require.Positive(t, k.ended.Uint("pg_nor_given_up"), never)
		require.Positive(t, k.ended.NOR.Early, "it was read while it was busy")
		require.Greater(t, took, 600*time.Millisecond, never)
		require.Less(t, took, 900*time.Millisecond, never)
		t.Logf("a %s that never ends: the upload fails after %v", never, took)
		k.page, k.sector, k.faulty = norPage, norSector, false
		require.Greater(t, k.shows(was, shown), 3, "after a %s that never ended", never)
	}
}

// errBroken is what a line gives that was taken away.
var errBroken = errors.New("the line was taken away")

// breaks is a line that is taken away when the first message of a kind is to be
// sent.
type breaks struct {
	io.ReadWriter
	at   link.Kind
	gone bool
}

func (l *breaks) Write(p []byte) (int, error) {
	if l.at != 0 && len(p) > 2 && link.Kind(p[2]) == l.at {
		l.gone = true
	}
	if l.gone {
		return 0, errBroken
	}
	return l.ReadWriter.Write(p)
}

// An upload that breaks off is resumed where it stopped: before the first block, in an
// erasure, in a page, before the record of the switch, and in it. What stood whole
// in the slot is not sent again, and what plays then is the table byte for byte.
func TestUploadsAreResumed(t *testing.T) {
	ready(t)
	memories(t, func(t *testing.T, nor bool) {
		t.Parallel()
		frames, records := 25, 16*256 // of the chip's own flash, a page is a unit
		if nor {
			frames, records = 80, 2*4096
		}
		first := noise(t, 20, frames, 1)
		pages := (len(first.Bytes()) + 255) / 256
		k := keep(t, nor, 500000, 4, &first.Show, "PG_LINE_WINDOW=255")
		k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
			_, err := upload.Upload(ctx, c, first, upload.Options{})
			require.NoError(t, err)
		})
		// Changes of the memory in the order in which they come: records of the black
		// box, one as a rule, the table, the record of the switch.
		const log = 1
		late, whole := log+2*4+1, 4*256 // the fifth page
		if nor {
			late, whole = log+1+16+1, 4096 // the second sector
		}
		all := log + pages + (pages*256+4095)/4096
		if !nor {
			all = log + 2*pages
		}
		was := first
		for i, place := range []struct {
			name string
			line link.Kind // the line is taken away before it
			cut  int       // or power goes in this change of the memory, or soon after it
			torn string    // that is one of this kind
			none bool      // nothing has to be sent again
		}{
			{"before the first block", link.Block, 0, "", false},
			{"in an erasure", 0, late, "erasure", false},
			{"in a page", 0, late + 1, "page", false},
			{"before the switch", link.Switch, 0, "", true},
			{"in the record of the switch", 0, all + 1, "page", true},
		} {
			tab := noise(t, 20, frames, uint64(i+2))
			k.takenAway = place.line
			for cut := place.cut; ; cut++ {
				was := k.records(records)
				if cut > 0 {
					k.script = func(s *Script) { s.Cut(cut, uint32(i+5)) }
				}
				var broke error
				k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
					_, broke = upload.Upload(ctx, c, tab, upload.Options{Whole: place.cut > 0})
					if place.line != 0 {
						time.Sleep(200 * time.Millisecond) // the power stays on
					}
				})
				if cut == 0 {
					require.ErrorIs(t, broke, errBroken, place.name)
					break
				}
				require.Equal(t, "power", k.ended.Why, place.name)
				if k.ended.Torn == place.torn && place.none != bytes.Equal(was, k.records(records)) {
					break
				}
				require.Less(t, cut, place.cut+3, "%s: no such change", place.name)
			}
			k.script, k.takenAway = nil, 0
			var r upload.Result
			k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
				id, err := c.Hello(ctx)
				require.NoError(t, err)
				require.Contains(t, []uint32{upload.Sum(was.Bytes()), upload.Sum(tab.Bytes())}, id.Table, place.name)
				r, err = upload.Upload(ctx, c, tab, upload.Options{})
				require.NoError(t, err, place.name)
				if place.none {
					same, err := upload.Compare(ctx, c, tab, nil)
					require.NoError(t, err, place.name)
					require.Equal(t, -1, same.Differs, place.name)
				}
			})
			t.Logf("broken off %s: %d of %d bytes sent again, %d found; switched to already: %v", place.name, r.Sent, len(tab.Bytes()), r.Found, r.Same)
			if !r.Same {
				require.Equal(t, len(tab.Bytes()), r.Sent+r.Found+r.Copied, place.name)
			}
			switch {
			case place.none:
				require.Zero(t, r.Sent, place.name)
			case place.cut > 0:
				require.Positive(t, r.Sent, place.name)
				require.GreaterOrEqual(t, r.Found, whole, "%s: so much stood there", place.name)
			default:
				require.Positive(t, r.Sent, place.name)
			}
			was = tab
		}
		require.Greater(t, k.shows(was, 350*time.Millisecond), 3)
	})
}

// records are the memory's bytes that say which table plays.
func (k *keeping) records(n int) []byte {
	b, err := os.ReadFile(k.memory)
	require.NoError(k.t, err)
	for len(b) < n {
		b = append(b, 0xff)
	}
	return b[:n]
}

// Coded clips are played out of the serial flash at their frame rate: what the strips
// latch is what the twin says, in every state of the demo, and no refresh is left
// out that is not left out of the chip's own flash.
func TestTheShowOutOfSerialFlash(t *testing.T) {
	ready(t)
	t.Parallel()
	p := umbrella()
	require.NotNil(t, p.Table, p.Found)
	tab := p.Table
	dir := t.TempDir()
	harness, err := Harness(dir)
	require.NoError(t, err)
	var h bytes.Buffer
	config := table.DefaultConfig(tab.Work())
	config.Only = tab.Needs()
	require.NoError(t, table.WriteConfig(&h, &tab.Show, config))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o644))
	memory := filepath.Join(dir, "memory")
	require.NoError(t, os.WriteFile(memory, tab.ForController(), 0o644))
	elf := filepath.Join(dir, "machine.elf")
	require.NoError(t, Build(Firmware{
		Sources: slices.Concat([]string{watched, "player/example/machine.c", "player/example/talk.c", "player/port/avr/pg_serial.c", "player/port/avr/pg_nor.c"}, player),
		Include: []string{dir, "player/port/avr", "player", "player/example"},
		Define:  []string{"PG_TABLES_IN_NOR", "PG_TABLE_AT=PG_NOR_AT"},
	}, elf))
	s := &Script{}
	s.Baud(115200)
	s.Watch("B7", Common)
	s.NOR(memory, norPage, norSector)
	s.Peek("pg_nor_early")
	at := time.Second
	for i := range tab.States {
		s.Send(at, fmt.Sprintf("alive\nstate %d\n", i))
		at += 900 * time.Millisecond
	}
	s.Until(at)
	r, err := Run(harness, elf, s, 2*time.Minute)
	require.NoError(t, err)
	require.Zero(t, r.UART.Lost)
	require.Zero(t, r.Uint("pg_nor_early"))
	seen, left := latched(t, tab, r, r.Waves[0].Refreshes)
	t.Logf("%d refreshes equal in %.1f s, left out %d times", seen, r.Cycles.Of().Seconds(), left)
	require.Greater(t, seen, 150)
	require.Zero(t, left)
}

// What a byte of a coded clip costs more out of the serial flash than out of the
// chip's own: the same clip unpacked whole by both, to the same codes.
func TestUnpackingOutOfSerialFlash(t *testing.T) {
	ready(t)
	t.Parallel()
	p := umbrella()
	require.NotNil(t, p.Table, p.Found)
	tab := p.Table
	clip := -1
	for i := range tab.Clips {
		if c := &tab.Clips[i]; c.Kind == table.Coded && c.Frames > 1 && (clip < 0 || c.Frames < tab.Clips[clip].Frames) {
			clip = i
		}
	}
	require.GreaterOrEqual(t, clip, 0, "the demo has no coded clip")
	c := &tab.Clips[clip]
	dir := t.TempDir()
	var h bytes.Buffer
	require.NoError(t, table.WriteConfig(&h, &tab.Show, table.DefaultConfig(tab.Work())))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o644))
	path := filepath.Join(dir, "panel.table")
	require.NoError(t, os.WriteFile(path, tab.ForController(), 0o644))
	unpack := func(nor bool) (took Cycles, sum uint64) {
		base := uint32(0x10000)
		s := &Script{}
		s.Until(time.Minute)
		s.Peek("sum")
		f := Firmware{
			Sources: []string{"sim/testdata/unpack.c", "player/decode.c", "player/keys.c", "player/blend.c", "player/port/avr/pg_stretch.S", "player/port/avr/pg_blend.S", "player/example/table.S"},
			Include: []string{dir, "player/port/avr", "player"},
			Define:  []string{"TABLE=\"" + path + "\"", "MOST=0xffff"},
			Flags:   []string{"-Wl,--section-start=.panel_table=0x10000", "-Wl,--undefined=panel_table"},
		}
		if nor {
			base = 0x800000
			s.NOR(path, norPage, norSector)
			f.Sources = slices.Concat(f.Sources[:1], []string{"player/port/avr/pg_nor.c", "player/example/table.S"}, player)
			f.Define = append(f.Define, "PG_TABLES_IN_NOR")
		}
		f.Define = append(f.Define, fmt.Sprintf("CLIPS={%d, %dUL, %dUL, %dUL}", c.Kind, base+uint32(c.Offset), c.Length, c.Frames))
		r := run(t, f, s)
		require.Equal(t, "mark", r.Why)
		return r.Section(1).Cycles, r.Uint("sum")
	}
	own, want := unpack(false)
	serial, got := unpack(true)
	require.Equal(t, want, got)
	more := float64(serial) - float64(own)
	t.Logf("%d frames of %d bytes in all: %d cycles out of the chip's own flash, %d out of the serial one: %.1f cycles a byte more, %.1f %%",
		c.Frames, c.Length, own, serial, more/float64(c.Length), 100*more/float64(own))
	require.Positive(t, more)
	require.Less(t, more, 0.06*float64(own), "docs/storage.md says 4 %%")
}
