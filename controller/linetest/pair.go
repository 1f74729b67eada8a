// Package linetest makes serial lines for tests.
package linetest

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Pair is a line with two ends, two pseudo-terminals joined by socat, until the
// test ends. Without socat the test is skipped, and says so.
func Pair(t *testing.T) (near, far string) {
	socat, err := exec.LookPath("socat")
	if err != nil {
		t.Skip("NOT TRIED: a line between two pseudo-terminals, there is no socat")
	}
	dir := t.TempDir()
	near, far = filepath.Join(dir, "near"), filepath.Join(dir, "far")
	ctx, cancel := context.WithCancel(context.Background())
	cmd := exec.CommandContext(ctx, socat, "pty,raw,echo=0,link="+near, "pty,raw,echo=0,link="+far)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { cancel(); _ = cmd.Wait() })
	require.Eventually(t, func() bool {
		_, a := os.Stat(near)
		_, b := os.Stat(far)
		return a == nil && b == nil
	}, 10*time.Second, 5*time.Millisecond)
	return near, far
}
