package sim

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/controller/upload"
	"paneglow/render/table"
)

// A table that stands in the firmware, where a stock boot loader put its pages, is read
// back over the line by the chip itself and compared byte for byte; a bit that is another
// one is found where it is.
func TestABuiltInTableIsCompared(t *testing.T) {
	ready(t)
	const builtIn = 0x3d000
	memories(t, func(t *testing.T, nor bool) {
		t.Parallel()
		tab := noise(t, 20, 24, 3)
		// The loader writes what the file of pages says, where it says so.
		var records bytes.Buffer
		require.NoError(t, table.WriteHex(&records, table.Pages(tab.ForController()), builtIn))
		loaded, err := table.ReadHex(&records)
		require.NoError(t, err)
		require.Len(t, loaded, 1)
		pages := filepath.Join(t.TempDir(), "pages")
		require.NoError(t, os.WriteFile(pages, loaded[0].Bytes, 0o644))
		k := keep(t, nor, 250000, 2, &tab.Show)
		for _, wrong := range []int{-1, len(tab.Bytes()) / 2} {
			k.script = func(s *Script) {
				s.Load(int(loaded[0].At), pages)
				if wrong >= 0 {
					s.Flip(0, builtIn+wrong, 0x10)
				}
			}
			var r upload.Compared
			k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
				time.Sleep(500 * time.Millisecond)
				var err error
				r, err = upload.Compare(ctx, c, tab, nil)
				require.NoError(t, err)
			})
			require.Equal(t, wrong, r.Differs)
			if wrong < 0 {
				require.Equal(t, r.All, r.Bytes)
				require.Greater(t, r.All, 1000)
				require.Greater(t, k.frames(tab), 5)
			} else {
				require.Equal(t, tab.Bytes()[wrong]^0x10, r.Is)
			}
		}
	})
}
