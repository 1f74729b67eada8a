package sim

import (
	"fmt"
	"hash/crc32"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A table that lies across 64 KiB and 128 KiB is read as it stands: the sums are
// those of the standard library's CRC-32.
func TestFarReads(t *testing.T) {
	ready(t)
	t.Parallel()
	const from, far = 0xff00, 80_000
	blob := make([]byte, far)
	r := rand.New(rand.NewPCG(1, 2))
	for i := range blob {
		blob[i] = byte(r.Uint32())
	}
	path := filepath.Join(t.TempDir(), "blob")
	require.NoError(t, os.WriteFile(path, blob, 0o644))
	s := &Script{}
	s.Peek("sum")
	s.Peek("step")
	got := run(t, Firmware{
		Sources: []string{"sim/testdata/store.c", "player/example/table.S"},
		Include: []string{"player/port/avr"},
		Define:  []string{fmt.Sprintf("FAR=%dUL", far), fmt.Sprintf("FROM=%dUL", from), "TABLE=\"" + path + "\""},
		Flags:   []string{fmt.Sprintf("-Wl,--section-start=.panel_table=%#x", from), "-Wl,--undefined=panel_table"},
	}, s)
	require.EqualValues(t, crc32.ChecksumIEEE(blob), got.Uint("sum"))
	edge := 0x20000 - from
	require.EqualValues(t, crc32.ChecksumIEEE(blob[edge-40:edge+40]), got.Uint("step"))
}
