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

// keepReady tells the system to leave "data terminal ready" up when a program
// closes the device: the next opening is no edge, and the board no restart.
func keepReady(name string) error {
	fd, err := unix.Open(name, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return err
	}
	defer unix.Close(fd)
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return fmt.Errorf("it is no serial device: %w", err)
	}
	if t.Cflag&unix.HUPCL == 0 {
		return nil
	}
	t.Cflag &^= unix.HUPCL
	return unix.IoctlSetTermios(fd, unix.TCSETS, t)
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
