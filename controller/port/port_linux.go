package port

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

var errBusy = unix.EBUSY

// hold locks a device for this program until release is called, and tells the
// system to leave "data terminal ready" up when a program closes it: the next
// opening is no edge, and the board no restart. The lock is needed beside the
// system's own exclusive opening, which does not stop an administrator's program.
func hold(name string) (release func(), err error) {
	fd, err := unix.Open(name, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	release = func() { unix.Close(fd) }
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		release()
		return nil, fmt.Errorf("%w: %w", errNotSerial, err)
	}
	if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {
		release()
		if errors.Is(err, unix.EWOULDBLOCK) {
			err = errBusy
		}
		return nil, err
	}
	if t.Cflag&unix.HUPCL != 0 {
		t.Cflag &^= unix.HUPCL
		if err := unix.IoctlSetTermios(fd, unix.TCSETS, t); err != nil {
			release()
			return nil, err
		}
	}
	return release, nil
}

// holders names the programs that have a device open, as far as this user may
// see.
func holders(name string) string {
	want, err := filepath.EvalSymlinks(name)
	if err != nil {
		return ""
	}
	var out []string
	files, _ := filepath.Glob("/proc/[0-9]*/fd/*")
	seen := map[int]bool{os.Getpid(): true}
	for _, f := range files {
		to, err := os.Readlink(f)
		if err != nil || to != want {
			continue
		}
		pid, err := strconv.Atoi(strings.Split(f, "/")[2])
		if err != nil || seen[pid] {
			continue
		}
		seen[pid] = true
		b, err := os.ReadFile(fmt.Sprintf("/proc/%d/comm", pid))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		out = append(out, fmt.Sprintf("%s (process %d)", strings.TrimSpace(string(b)), pid))
	}
	return strings.Join(out, ", ")
}

func shell(text string) *exec.Cmd { return exec.Command("sh", "-c", text) }
