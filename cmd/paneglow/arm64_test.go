package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/examples"
)

// The demo's table must have the same bytes from an arm64 processor, where the
// compiler fuses products and sums unless told not to. qemu-user runs the
// cross-built command.
func TestSameBytesOnArm64(t *testing.T) {
	if runtime.GOARCH == "arm64" {
		t.Skip("this is arm64: the comparison needs the other architecture")
	}
	qemu, err := exec.LookPath("qemu-aarch64")
	if err != nil {
		qemu, err = exec.LookPath("qemu-aarch64-static")
	}
	if err != nil {
		t.Skip("qemu-user is not installed: apt-get install qemu-user")
	}
	dir := t.TempDir()
	require.NoError(t, copyShow(examples.Umbrella(), filepath.Join(dir, "show")))
	exe := filepath.Join(dir, "paneglow-arm64")
	build := exec.Command("go", "build", "-o", exe, ".")
	build.Env = append(os.Environ(), "GOARCH=arm64", "GOOS=linux", "CGO_ENABLED=0")
	out, err := build.CombinedOutput()
	require.NoError(t, err, string(out))
	table := filepath.Join(dir, "arm64.table")
	out, err = exec.Command(qemu, exe, "export", filepath.Join(dir, "show"), "-o", table).CombinedOutput()
	require.NoError(t, err, string(out))
	there, err := os.ReadFile(table)
	require.NoError(t, err)

	here := filepath.Join(dir, "here.table")
	var stdout, stderr bytes.Buffer
	require.Zero(t, run([]string{"export", filepath.Join(dir, "show"), "-o", here}, &stdout, &stderr), stderr.String())
	want, err := os.ReadFile(here)
	require.NoError(t, err)
	require.True(t, bytes.Equal(want, there), "the tables differ: %d and %d bytes", len(want), len(there))
}

// The same show gives the same bytes twice and for any number of workers.
func TestSameBytesForAnyWorkers(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, copyShow(examples.Umbrella(), dir))
	var first []byte
	for _, n := range []int{1, 1, 2, 7} {
		p := open(dir, "")
		p.finish(n, nil)
		p.pack(0, n)
		require.NoError(t, p.found.Err())
		if first == nil {
			first = p.bytes
		}
		require.True(t, bytes.Equal(first, p.bytes), "%d workers", n)
	}
}
