package twin

import (
	"bytes"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/table"
	"paneglow/render/table/tabletest"
)

// The memory plan is what the compiler lays out, byte for byte.
// Source: sizeof by avr-gcc for the ATmega2560.
func TestMemoryPlanIsSizeof(t *testing.T) {
	cc, err := exec.LookPath("avr-gcc")
	if err != nil {
		t.Skip("no avr-gcc here: the memory plan was not held against the compiler")
	}
	nm, err := exec.LookPath("avr-nm")
	require.NoError(t, err)
	for _, seed := range panels[:3] {
		s := tabletest.Panel(rand.New(rand.NewPCG(seed, 9)))
		c := config()
		c.Work, c.Dead, c.Keys = int(100*seed), int(seed), int(seed%2)
		if seed%2 == 0 {
			c.Only = &table.Needs{Slew: seed%4 == 0, Fades: seed%4 != 0}
		}
		dir := t.TempDir()
		var h bytes.Buffer
		require.NoError(t, table.WriteConfig(&h, s, c))
		require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o666))
		require.NoError(t, os.WriteFile(filepath.Join(dir, "size.c"), []byte("#include \"paneglow.h\"\nstruct pg_player player;\n"), 0o666))
		obj := filepath.Join(dir, "size.o")
		out, err := exec.Command(cc, "-mmcu=atmega2560", "-std=c99", "-Os", "-I", dir, "-I", "../player/port/avr", "-I", "../player",
			"-c", filepath.Join(dir, "size.c"), "-o", obj).CombinedOutput()
		require.NoError(t, err, string(out))
		out, err = exec.Command(nm, "-S", obj).Output()
		require.NoError(t, err)
		size := int64(-1)
		for line := range strings.Lines(string(out)) {
			if f := strings.Fields(line); len(f) == 4 && f[3] == "player" {
				size, err = strconv.ParseInt(f[1], 16, 64)
				require.NoError(t, err)
			}
		}
		m := c.Memory(s)
		require.EqualValues(t, size, m.Sum()-m.Stack, "panel %d", seed)
	}
}
