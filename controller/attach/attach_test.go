package attach

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
)

// Somebody else's device, or the wrong rate: said so, and soon.
func TestNobody(t *testing.T) {
	for _, c := range []struct{ to, says string }{
		{"exec:cat >/dev/null", "nobody answered within 4s: check the cable"},
		{"exec:while sleep 0.05; do printf 'U\\000\\377xyz\\000'; done", "none of them an answer: the rate may be another"},
		{"exec:exit 7", "the command ended with exit status 7"},
		{"exec:echo Ready.", "the line ended before the controller had answered"},
		{"exec:cat", "what is sent comes back"},
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
	require.NotContains(t, err.Error(), "\n", "one sentence")
}

// A rate that no line has is told before anything is opened. Where no rate is the
// line's own, none has to be given.
func TestRates(t *testing.T) {
	for _, c := range []struct {
		to    string
		baud  int
		usage bool
	}{
		{"/dev/ttyACM0", 115200, false}, {"/dev/ttyACM0", 110, true}, {"/dev/ttyACM0", 0, true},
		{"tcp:there:1", 0, false}, {"exec:cat", 250000, false}, {"exec:cat", -5, true}, {"tcp:there:1", -1, true},
	} {
		err := (&Target{To: c.to, Baud: c.baud}).Said()
		if !c.usage {
			require.NoError(t, err, c)
			continue
		}
		require.ErrorIs(t, err, ErrUsage, c)
		require.ErrorContains(t, err, "the rates are")
	}
	_, err := (&Target{To: "exec:touch opened", Baud: -5}).Connect(t.Context(), link.Options{})
	require.ErrorIs(t, err, ErrUsage)
	require.NoFileExists(t, "opened")
}
