package attach

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/controller/linetest"
	"paneglow/controller/link"
)

// Somebody else's device, or the wrong rate: said so, and soon.
func TestNobody(t *testing.T) {
	for _, c := range []struct{ to, says string }{
		{"exec:cat >/dev/null", "nobody answered within 4s: check the cable"},
		{"exec:while sleep 0.05; do printf 'U\\000\\377xyz\\000'; done", "none of them an answer: the rate may be another"},
		{"exec:exit 7", "the command ended with exit status 7"},
	} {
		_, err := (&Target{To: c.to, Baud: 115200}).Connect(t.Context(), link.Options{})
		require.ErrorContains(t, err, c.says)
		require.ErrorContains(t, err, c.to, "where")
	}
}

func TestTargets(t *testing.T) {
	_, err := (&Target{}).Connect(t.Context(), link.Options{})
	require.ErrorIs(t, err, ErrUsage)
	dir := t.TempDir()
	_, err = (&Target{To: filepath.Join(dir, "tty*"), Baud: 115200}).Connect(t.Context(), link.Options{})
	require.ErrorContains(t, err, "plug the controller in")
	for _, n := range []string{"tty1", "tty2"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, n), nil, 0o600))
	}
	_, err = (&Target{To: filepath.Join(dir, "tty*"), Baud: 115200}).Connect(t.Context(), link.Options{})
	require.ErrorIs(t, err, ErrUsage)
	require.ErrorContains(t, err, "2 devices are called")
	_, err = (&Target{To: filepath.Join(dir, "tty*"), Board: "cabinet", Baud: 115200}).Connect(t.Context(), link.Options{})
	require.ErrorContains(t, err, "tty1: it is no serial device")
	require.ErrorContains(t, err, "tty2: it is no serial device")
	near, _ := linetest.Pair(t)
	_, err = (&Target{To: near, Baud: 110}).Connect(t.Context(), link.Options{})
	require.ErrorContains(t, err, "the rates are")
}
