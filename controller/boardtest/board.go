// Package boardtest builds a whole controller as a program for this computer,
// controller/player/port/host/board.c, for the tests of what talks to one.
package boardtest

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/table"
)

// Board is a controller's program and its memory.
type Board struct {
	Program, Store, Shown string
	builtIn               string
}

// sanitizers make the compiler watch every step of the program.
var sanitizers = []string{"-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all"}

// Build compiles the controller for a panel into a folder; flags go to the
// compiler.
func Build(dir string, panel *table.Show, flags ...string) (program string, err error) {
	cc, err := exec.LookPath("cc")
	if err != nil {
		return "", err
	}
	var h bytes.Buffer
	if err := table.WriteConfig(&h, panel, table.Config{Work: 8192, Dead: 4, Still: [4]uint8{9, 7, 5, 3}, Service: 100, Keys: 1}); err != nil {
		return "", err
	}
	if err := os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o666); err != nil {
		return "", err
	}
	_, here, _, _ := runtime.Caller(0)
	player := filepath.Join(filepath.Dir(filepath.Dir(here)), "player")
	sources, err := filepath.Glob(filepath.Join(player, "*.c"))
	if err != nil {
		return "", err
	}
	program = filepath.Join(dir, "board")
	args := append([]string{"-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-DPG_STREAMS=1",
		"-I", dir, "-I", filepath.Join(player, "port", "host"), "-I", player, "-o", program, filepath.Join(player, "port", "host", "board.c")}, sources...)
	if out, err := exec.Command(cc, append(args, flags...)...).CombinedOutput(); err != nil {
		return "", fmt.Errorf("building the controller: %w: %s", err, out)
	}
	return program, nil
}

// In is a board whose memory stands in a folder; builtIn is the file of the table
// in its firmware, "" for none.
func In(dir, program, builtIn string) *Board {
	if builtIn == "" {
		builtIn = "-"
	}
	return &Board{Program: program, Store: filepath.Join(dir, "store"), Shown: filepath.Join(dir, "shown"), builtIn: builtIn}
}

// New builds a controller for a panel, with the sanitizers, once a process; builtIn is the table in its
// firmware, nil: none.
func New(t testing.TB, panel *table.Show, builtIn []byte, flags ...string) *Board {
	if _, err := exec.LookPath("cc"); err != nil {
		t.Skip("NOT TRIED: there is no C compiler (cc) to build the controller with")
	}
	dir := t.TempDir()
	path := ""
	if builtIn != nil {
		path = filepath.Join(dir, "built-in.table")
		require.NoError(t, os.WriteFile(path, builtIn, 0o666))
	}
	mu.Lock()
	defer mu.Unlock()
	key := fmt.Sprintf("%08x %q", panel.PanelSum(), flags)
	if programs[key] == "" {
		in, err := os.MkdirTemp("", "paneglow-board-")
		require.NoError(t, err)
		programs[key], err = Build(in, panel, append(flags, sanitizers...)...)
		require.NoError(t, err)
	}
	return In(dir, programs[key], path)
}

// programs stay in the system's folder for temporary files until CleanUp.
var (
	mu       sync.Mutex
	programs = map[string]string{}
)

// CleanUp removes what was built; a package's TestMain calls it last.
func CleanUp() {
	for _, p := range programs {
		os.RemoveAll(filepath.Dir(p))
	}
}

// Target is what opens a line to it: a process that begins with the opening and
// ends with the closing, as power comes and goes. Its memory stays.
func (b *Board) Target() string {
	return fmt.Sprintf("exec:exec '%s' '%s' '%s' '%s'", b.Program, b.Store, b.builtIn, b.Shown)
}

// Refreshes are what the strips have latched so far, in order.
func (b *Board) Refreshes(t testing.TB) []string {
	text, err := os.ReadFile(b.Shown)
	if os.IsNotExist(err) {
		return nil
	}
	require.NoError(t, err)
	lines := strings.Split(string(text), "\n")
	return lines[:len(lines)-1] // the last one is empty, or being written
}
