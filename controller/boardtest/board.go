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

// New builds the controller for a panel, with the sanitizers; builtIn is the table
// in its firmware, nil: none. Further flags go to the compiler.
func New(t testing.TB, panel *table.Show, builtIn []byte, flags ...string) *Board {
	cc, err := exec.LookPath("cc")
	if err != nil {
		t.Skip("NOT TRIED: there is no C compiler (cc) to build the controller with")
	}
	dir := t.TempDir()
	b := &Board{Store: filepath.Join(dir, "store"), Shown: filepath.Join(dir, "shown"), builtIn: "-"}
	var h bytes.Buffer
	require.NoError(t, table.WriteConfig(&h, panel, table.Config{Work: 8192, Dead: 4, Still: [4]uint8{9, 7, 5, 3}, Service: 100, Keys: 1}))
	b.Program = build(t, cc, h.String(), flags)
	if builtIn != nil {
		b.builtIn = filepath.Join(dir, "built-in.table")
		require.NoError(t, os.WriteFile(b.builtIn, builtIn, 0o666))
	}
	return b
}

// programs are built once for all tests of a process; they stay in the system's
// folder for temporary files until CleanUp.
var (
	mu       sync.Mutex
	programs = map[string]string{}
)

func build(t testing.TB, cc, config string, flags []string) string {
	mu.Lock()
	defer mu.Unlock()
	key := fmt.Sprintf("%s%q", config, flags)
	if p := programs[key]; p != "" {
		return p
	}
	dir, err := os.MkdirTemp("", "paneglow-board-")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), []byte(config), 0o666))
	_, here, _, _ := runtime.Caller(0)
	player := filepath.Join(filepath.Dir(filepath.Dir(here)), "player")
	sources, err := filepath.Glob(filepath.Join(player, "*.c"))
	require.NoError(t, err)
	program := filepath.Join(dir, "board")
	args := append([]string{"-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all",
		"-I", dir, "-I", filepath.Join(player, "port", "host"), "-I", player, "-o", program, filepath.Join(player, "port", "host", "board.c")}, sources...)
	out, err := exec.Command(cc, append(args, flags...)...).CombinedOutput()
	require.NoError(t, err, string(out))
	programs[key] = program
	return program
}

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
