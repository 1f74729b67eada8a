package sim

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// ready skips, and says so, where the tools are missing.
func ready(t testing.TB) {
	t.Helper()
	if err := Ready(); err != nil {
		require.ErrorIs(t, err, ErrMissing)
		t.Skip("NOT TRIED: the simulated controller. ", err)
	}
}

// part writes the times of a part as the port reads them, and gives the folder.
func part(t testing.TB, bit, gap string) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), []byte("#define PG_BIT_NS "+bit+"\n#define PG_GAP_NS "+gap+"\n"), 0o644))
	return dir
}

// run builds a firmware and runs it until it writes 255 to GPIOR0, for a minute
// at most.
func run(t testing.TB, f Firmware, s *Script) *Result {
	t.Helper()
	r, err := try(t, f, s)
	require.NoError(t, err)
	require.Equal(t, "mark", r.Why, "the firmware did not come to its end")
	return r
}

func try(t testing.TB, f Firmware, s *Script) (*Result, error) {
	t.Helper()
	dir := t.TempDir()
	harness, err := Harness(dir)
	require.NoError(t, err)
	elf := filepath.Join(dir, "firmware.elf")
	require.NoError(t, Build(f, elf))
	s.Stop(255)
	return Run(harness, elf, s, time.Minute)
}

// The simulator's own cycle counts against the AVR instruction set manual
// (timings for a program counter of 22 bits, from memory of the manual's table).
func TestCyclesOfInstructions(t *testing.T) {
	ready(t)
	t.Parallel()
	r := run(t, Firmware{Sources: []string{"sim/testdata/instructions.S"}, Optimise: "-O2"}, &Script{})
	for number, c := range map[int]struct {
		what string
		want Cycles
	}{
		1: {"NOP", 1}, 2: {"MUL", 2}, 3: {"LD X+", 2}, 4: {"ELPM Z+", 3}, 5: {"LDS", 2}, 6: {"PUSH", 2}, 7: {"POP", 2}, 8: {"RJMP", 2},
		9: {"TST, BRNE not taken", 1 + 1}, 10: {"TST, BRNE taken", 1 + 2}, 11: {"SBRS not skipping, NOP", 1 + 1},
		12: {"SBRC skipping two words", 3}, 13: {"ADIW", 2}, 14: {"SBI", 2}, 15: {"CALL and RET", 5 + 5}, 16: {"RCALL and RET", 4 + 5},
		17: {"IJMP", 2}, 18: {"STS", 2}, 19: {"LPM Z+", 3}, 20: {"LDD", 2},
	} {
		s := r.Section(number)
		require.Equal(t, 1, s.Count, c.what)
		require.Equal(t, c.want, s.Most, c.what)
	}
	// Data sheet, reset and interrupt handling: the instruction after SEI runs
	// before an interrupt that waits is taken, and so does one after RETI.
	var seen []byte
	for _, m := range r.Marks {
		seen = append(seen, m.Value)
	}
	require.Equal(t, []byte{1, 1, 2, 255}, seen)
	// Entry takes 5 cycles, the jump of the vector 3, MOV 1, RETI 5.
	require.EqualValues(t, 5+3+1+5, r.InterruptLongest)
}

func TestRunsAreEqualToTheCycle(t *testing.T) {
	ready(t)
	t.Parallel()
	f := pixels(t, 10, 3, "0x21", "T_REFRESHES=3", "T_ISR_CYCLES=50", "T_ISR_EVERY=997")
	var runs []*Result
	for range 2 {
		s := &Script{}
		s.Watch("B7", Common)
		runs = append(runs, run(t, f, s))
	}
	require.Positive(t, runs[0].Interrupts)
	require.Equal(t, runs[0], runs[1])
}

func TestHarnessRefuses(t *testing.T) {
	ready(t)
	t.Parallel()
	dir := t.TempDir()
	harness, err := Harness(dir)
	require.NoError(t, err)
	elf := filepath.Join(dir, "firmware.elf")
	require.NoError(t, Build(Firmware{Sources: []string{"sim/testdata/instructions.S"}}, elf))
	for _, c := range []struct{ elf, line, want string }{
		{elf, "dance", "no such line"},
		{elf, "peek nowhere", "no symbol nowhere"},
		{elf, "send 0 0q", "pairs of hexadecimal digits"},
		{elf, "stop 255\nrecord Q9", "no pin"},
		{filepath.Join(dir, "nothing"), "", "cannot be read as ELF"},
	} {
		s := &Script{}
		s.add("%s", c.line)
		s.Stop(255)
		_, err := Run(harness, c.elf, s, time.Minute)
		require.ErrorContains(t, err, c.want)
	}
	loop := filepath.Join(dir, "loop.S")
	require.NoError(t, os.WriteFile(loop, []byte(".global main\nmain: rjmp main\n"), 0o644))
	require.NoError(t, Build(Firmware{Sources: []string{loop}}, elf))
	s := &Script{}
	s.Until(1000 * time.Hour)
	_, err = Run(harness, elf, s, 200*time.Millisecond)
	require.Error(t, err)
	require.True(t, errors.Is(err, os.ErrDeadlineExceeded) || strings.Contains(err.Error(), "deadline"), err)
}
