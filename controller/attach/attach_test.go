package attach

import (
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
)

// Somebody else's device, or the wrong rate: said so, and soon.
func TestNobody(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ to, says string }{
		{"exec:cat >/dev/null", "nobody answered within 4s: check the cable"},
		{"exec:while sleep 0.05; do printf 'U\\000\\377xyz\\000'; done", "none of them an answer: the rate may be another"},
		{"exec:exit 7", "the command ended with exit status 7"},
		{"exec:echo Ready.", "the line ended before the controller had answered"},
		{"exec:cat", "what is sent comes back"},
	} {
		t.Run(c.to, func(t *testing.T) {
			t.Parallel() // four seconds each
			_, err := (&Target{To: c.to, Baud: 115200}).Connect(t.Context(), link.Options{})
			require.ErrorContains(t, err, c.says)
			require.ErrorContains(t, err, c.to, "where")
		})
	}
}

// A keeper's own socket is no line to a controller.
func TestAnotherLanguage(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", ":0")
	require.NoError(t, err)
	defer l.Close()
	go func() {
		c, err := l.Accept()
		if err != nil {
			return
		}
		defer c.Close()
		fmt.Fprintln(c, "prove 00112233445566778899aabbccddeeff")
		_, _ = io.Copy(io.Discard, c)
	}()
	_, err = (&Target{To: fmt.Sprintf("tcp::%d", l.Addr().(*net.TCPAddr).Port)}).Connect(t.Context(), link.Options{})
	require.ErrorContains(t, err, "39 bytes came within 4s, and none of them an answer")
	require.ErrorContains(t, err, "stream --listen serves is another language")
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
