package port

import (
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.bug.st/serial"

	"paneglow/controller/linetest"
)

// exchange sends all bytes one way and back.
func exchange(t *testing.T, a, b io.ReadWriter) {
	var all []byte
	for i := range 256 {
		all = append(all, byte(i))
	}
	for _, way := range [][2]io.ReadWriter{{a, b}, {b, a}} {
		_, err := way[0].Write(all)
		require.NoError(t, err)
		got := make([]byte, len(all))
		_, err = io.ReadFull(way[1], got)
		require.NoError(t, err)
		require.Equal(t, all, got, "every byte passes as it is")
	}
}

func TestSerial(t *testing.T) {
	near, far := linetest.Pair(t)
	a, err := Open(t.Context(), near, 115200)
	require.NoError(t, err)
	b, err := Open(t.Context(), far, 500000)
	require.NoError(t, err)
	exchange(t, a, b)
	require.NoError(t, a.Close())
	_, err = a.Write([]byte{1})
	require.ErrorContains(t, err, near)
	require.NoError(t, b.Close())
}

// A device that is opened again is not shaken: the system leaves "data terminal
// ready" as it is when a program closes it.
func TestOpeningAgainIsNoReset(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("NOT TRIED: what closing does to the line is known for Linux only")
	}
	near, _ := linetest.Pair(t)
	out, err := exec.Command("stty", "-F", near, "hupcl").CombinedOutput()
	require.NoError(t, err, string(out))
	p, err := Open(t.Context(), near, 115200)
	require.NoError(t, err)
	require.NoError(t, p.Close())
	out, err = exec.Command("stty", "-F", near, "-a").CombinedOutput()
	require.NoError(t, err, string(out))
	require.Contains(t, string(out), "-hupcl")
}

func TestTCP(t *testing.T) {
	l, err := net.Listen("tcp", ":0")
	require.NoError(t, err)
	defer l.Close()
	peer := make(chan net.Conn, 1)
	go func() {
		c, err := l.Accept()
		if err == nil {
			peer <- c
		}
	}()
	a, err := Open(t.Context(), fmt.Sprintf("tcp::%d", l.Addr().(*net.TCPAddr).Port), 0)
	require.NoError(t, err)
	defer a.Close()
	b := <-peer
	defer b.Close()
	exchange(t, a, b)
	l.Close()
	_, err = Open(t.Context(), fmt.Sprintf("tcp::%d", l.Addr().(*net.TCPAddr).Port), 0)
	require.ErrorContains(t, err, "opening tcp:")
	require.ErrorContains(t, err, "does a program there pass the controller's line on")
}

func TestCommand(t *testing.T) {
	a, err := Open(t.Context(), "exec:cat", 0)
	require.NoError(t, err)
	exchange(t, a, a)
	require.NoError(t, a.Close())
	a, err = Open(t.Context(), "exec:exit 3", 0)
	require.NoError(t, err)
	_, err = a.Read(make([]byte, 1))
	require.ErrorIs(t, err, io.EOF)
	require.ErrorContains(t, a.Close(), "exit status 3")
}

func TestRefusals(t *testing.T) {
	dir := t.TempDir()
	plain := filepath.Join(dir, "plain")
	require.NoError(t, os.WriteFile(plain, nil, 0o644))
	for _, c := range []struct {
		target string
		baud   int
		kind   error
		says   string
	}{
		{"", 115200, ErrTarget, "tcp:HOST:PORT"},
		{"exec:  ", 0, ErrTarget, "without a command"},
		{"tcp:nowhere", 0, ErrTarget, "tcp:HOST:PORT"},
		{"tcp:there:99999", 0, ErrTarget, "tcp:HOST:PORT"},
		{"tcp://there:4000", 0, ErrTarget, "no slashes"},
		{plain, 110, ErrTarget, "500000"},
		{filepath.Join(dir, "gone"), 115200, ErrMissing, "port"},
		{plain, 115200, errNotSerial, "port"}, // which ones are there
	} {
		_, err := Open(t.Context(), c.target, c.baud)
		require.Error(t, err, c.target)
		if c.kind != nil {
			require.ErrorIs(t, err, c.kind)
		}
		require.ErrorContains(t, err, c.says)
	}
}

// A port that somebody else holds: told who.
func TestBusy(t *testing.T) {
	near, _ := linetest.Pair(t)
	cmd := exec.Command("sleep", "60")
	f, err := os.OpenFile(near, os.O_RDWR, 0)
	require.NoError(t, err)
	cmd.Stdin = f
	require.NoError(t, cmd.Start())
	f.Close()
	t.Cleanup(func() { cmd.Process.Kill(); _ = cmd.Wait() })
	// A second program of ours, even an administrator's.
	if runtime.GOOS == "linux" {
		other, _ := linetest.Pair(t)
		one, err := Open(t.Context(), other, 115200)
		require.NoError(t, err)
		_, err = Open(t.Context(), other, 115200)
		require.ErrorIs(t, err, ErrBusy)
		require.NoError(t, one.Close())
		one, err = Open(t.Context(), other, 115200)
		require.NoError(t, err, "let go")
		require.NoError(t, one.Close())
	}
	for _, cause := range []error{errBusy, fmt.Errorf("opening: %w", errBusy)} {
		err = explain(near, cause)
		require.ErrorIs(t, err, ErrBusy)
		if runtime.GOOS == "linux" {
			require.ErrorContains(t, err, fmt.Sprintf("sleep (process %d)", cmd.Process.Pid))
		}
	}
	require.ErrorIs(t, explain(near, os.ErrPermission), ErrDenied)
	require.ErrorIs(t, explain(near, os.ErrNotExist), ErrMissing)
	require.True(t, strings.HasPrefix(explain(near, errors.New("odd")).Error(), "opening "+near))
	var pe serial.PortError
	require.ErrorContains(t, explain(near, &pe), near)
}
