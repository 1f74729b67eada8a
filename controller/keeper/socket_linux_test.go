package keeper

import (
	"net"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// A socket whose program is alive and too busy to take another client is not taken
// away from it.
func TestSocketOfABusyProgram(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s")
	fd, err := syscall.Socket(syscall.AF_UNIX, syscall.SOCK_STREAM|syscall.SOCK_CLOEXEC, 0)
	require.NoError(t, err)
	defer syscall.Close(fd)
	require.NoError(t, syscall.Bind(fd, &syscall.SockaddrUnix{Name: path}))
	require.NoError(t, syscall.Listen(fd, 0))
	first, err := net.Dial("unix", path)
	require.NoError(t, err)
	defer first.Close()
	_, err = Socket(path)
	require.ErrorIs(t, err, ErrListen)
	require.ErrorContains(t, err, "another program may serve it")
	require.FileExists(t, path)
}
