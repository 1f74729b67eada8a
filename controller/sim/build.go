package sim

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
)

// ErrMissing is wrapped by errors that name a tool which this machine lacks.
var ErrMissing = errors.New("not installed")

// Ready tells whether firmware can be built and run here: nil, or an error that
// wraps ErrMissing and says what is to be installed.
func Ready() error {
	for _, t := range []struct{ program, packages string }{
		{"avr-gcc", "gcc-avr and avr-libc"},
		{"cc", "gcc and libc6-dev"},
	} {
		if _, err := exec.LookPath(t.program); err != nil {
			return fmt.Errorf("sim: %s: %w: install %s", t.program, ErrMissing, t.packages)
		}
	}
	for _, h := range []struct{ file, packages string }{
		{"simavr/sim_avr.h", "libsimavr-dev"},
		{"gelf.h", "libelf-dev"},
	} {
		cmd := exec.Command("cc", "-E", "-")
		cmd.Stdin = strings.NewReader("#include <" + h.file + ">\n")
		if err := cmd.Run(); err != nil {
			return fmt.Errorf("sim: %s: %w: install %s", h.file, ErrMissing, h.packages)
		}
	}
	return nil
}

// Folder is the controller folder of this source tree: firmware is built from
// what stands beside this package.
func Folder() string {
	_, file, _, _ := runtime.Caller(0)
	return filepath.Dir(filepath.Dir(file))
}

// Firmware says what is built. Paths are absolute or relative to Folder.
type Firmware struct {
	Sources []string
	Include []string // folders of headers, tried in order
	Define  []string // NAME or NAME=VALUE
	Flags   []string // further flags of the compiler and linker, after Optimise
	// Optimise is the level; when it is empty -Os with Small, as docs/player.md
	// recommends.
	Optimise string
}

// Small are the flags that make the player smallest, beside -Os.
var Small = []string{"-mcall-prologues", "-mrelax", "-mstrict-X", "-fno-move-loop-invariants", "-fno-jump-tables",
	"-fno-shrink-wrap", "-fno-tree-dominator-opts"}

// Build compiles and links a firmware for the ATmega2560 into an ELF file.
func Build(f Firmware, elf string) error {
	args := []string{"-mmcu=atmega2560", "-std=gnu99", "-DF_CPU=16000000UL", "-Wall", "-Wextra", "-Werror",
		"-ffunction-sections", "-fdata-sections", "-Wl,--gc-sections"}
	if f.Optimise == "" {
		args = append(append(args, "-Os"), Small...)
	} else {
		args = append(args, f.Optimise)
	}
	for _, i := range f.Include {
		args = append(args, "-I"+i)
	}
	for _, d := range f.Define {
		args = append(args, "-D"+d)
	}
	args = append(append(append(args, f.Flags...), "-o", elf), f.Sources...)
	cmd := exec.Command("avr-gcc", args...)
	cmd.Dir = Folder()
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("sim: building %s: %w\n%s", filepath.Base(elf), err, bytes.TrimSpace(out))
	}
	return nil
}

// Size is what a firmware takes, in bytes.
type Size struct{ Flash, RAM int }

// SizeOf asks avr-size.
func SizeOf(elf string) (Size, error) {
	out, err := exec.Command("avr-size", elf).Output()
	if err != nil {
		return Size{}, fmt.Errorf("sim: avr-size %s: %w", elf, err)
	}
	var text, data, bss int
	_, line, _ := strings.Cut(string(out), "\n")
	if _, err := fmt.Sscan(line, &text, &data, &bss); err != nil {
		return Size{}, fmt.Errorf("sim: avr-size %s: %w", elf, err)
	}
	return Size{Flash: text + data, RAM: data + bss}, nil
}

// harness is built once a process.
var harness = sync.OnceValues(func() ([]byte, error) {
	dir, err := os.MkdirTemp("", "paneglow-harness-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	sources, err := filepath.Glob(filepath.Join(Folder(), "sim", "harness", "*.c"))
	if err != nil || len(sources) == 0 {
		return nil, fmt.Errorf("sim: no sources of the harness beside the package: %w", err)
	}
	program := filepath.Join(dir, "harness")
	args := append([]string{"-std=gnu99", "-O2", "-Wall", "-Wextra", "-Werror", "-o", program}, sources...)
	if out, err := exec.Command("cc", append(args, "-lsimavr", "-lelf", "-lm")...).CombinedOutput(); err != nil {
		return nil, fmt.Errorf("sim: building the harness: %w\n%s", err, bytes.TrimSpace(out))
	}
	return os.ReadFile(program)
})

// Harness writes the simulator's program into a folder and gives its path.
func Harness(dir string) (string, error) {
	b, err := harness()
	if err != nil {
		return "", err
	}
	path := filepath.Join(dir, "harness")
	// A program that another test starts meanwhile would hold the file open for
	// writing until it runs, and then this one could not be started.
	syscall.ForkLock.RLock()
	defer syscall.ForkLock.RUnlock()
	return path, os.WriteFile(path, b, 0o755)
}
