package sim

import (
	"context"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/controller/upload"
)

// The example with the line in it, as docs/player.md has it: the machine's own text is
// answered between frames, a table comes in and plays, from either memory.
func TestTheLinkedExample(t *testing.T) {
	ready(t)
	t.Parallel()
	tab := noise(t, 20, 30, 7)
	memories(t, func(t *testing.T, nor bool) {
		t.Parallel()
		k := keepBy(t, []string{"player/example/linked.c", "player/example/machine.c", "player/example/talk.c", "player/port/avr/pg_chip.c",
			"player/port/avr/pg_probe.c", "player/port/avr/pg_probing.c"}, nor, 115200, 2, &tab.Show)
		var mu sync.Mutex
		said := ""
		k.heard = func(b []byte) {
			mu.Lock()
			defer mu.Unlock()
			said += string(b)
		}
		k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
			ask := func(text, want string) {
				t.Helper()
				mu.Lock()
				said = ""
				mu.Unlock()
				require.NoError(t, c.WriteText([]byte(text)))
				time.Sleep(200 * time.Millisecond)
				mu.Lock()
				defer mu.Unlock()
				require.True(t, strings.HasPrefix(said, want), "%q to %q", said, text)
			}
			ask("count\n", "count ")
			id, err := c.Hello(ctx)
			require.NoError(t, err)
			require.Equal(t, "cabinet1", strings.TrimRight(string(id.Board[:]), "\x00"))
			_, err = upload.Upload(ctx, c, tab, upload.Options{})
			require.NoError(t, err)
			ask("count\n", "count ")
			time.Sleep(2 * time.Second)
			ask("panel\n", "panel 0 ")
		})
		require.Greater(t, k.frames(tab), 30)
		if nor {
			return
		}
		// A chip that was never given its boot section: said before anything is sent.
		require.NoError(t, os.Truncate(k.boot, 0))
		k.faulty = true
		k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
			time.Sleep(300 * time.Millisecond)
			_, err := upload.Upload(ctx, c, tab, upload.Options{})
			require.ErrorIs(t, err, upload.ErrNoSlots)
			_, err = c.Ask(ctx, link.Begin, make([]byte, 12))
			require.True(t, link.IsStatus(err, link.Storage), err)
		})
	})
}
