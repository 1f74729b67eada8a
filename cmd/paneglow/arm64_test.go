package main

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math"
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
// cross-built command. A picture of the light on the glass is among its clips:
// the glass rests on exponentials that differ between processors.
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
	addSeen(t, filepath.Join(dir, "show"))
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

// addSeen adds a clip of a ring that sinks over the glass, and a state for it.
func addSeen(t *testing.T, dir string) {
	const w, h, n = 28, 71, 6
	img := image.NewRGBA(image.Rect(0, 0, w, n*h))
	for i := range n {
		for y := range h {
			for x := range w {
				d := math.Abs(math.Hypot(float64(x-14), float64(y-10-8*i)) - 10)
				v := math.Max(0, 1-d/3)
				img.Set(x, i*h+y, color.NRGBA{uint8(250 * v), uint8(190 * v), uint8(120 * v), 255})
			}
		}
	}
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, img))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "ring.png"), b.Bytes(), 0o644))
	file := filepath.Join(dir, "show.toml")
	old, err := os.ReadFile(file)
	require.NoError(t, err)
	more := "\n[[clip]]\nname = \"ring\"\nlength = \"1 s\"\n[[clip.layer]]\npicture = \"ring.png\"\nas = \"seen\"\ntargets = 6\n\n[[state]]\nname = \"ring\"\nclip = \"ring\"\n"
	require.NoError(t, os.WriteFile(file, append(old, more...), 0o644))
}

// The same show gives the same bytes twice and for any number of workers.
func TestSameBytesForAnyWorkers(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, copyShow(examples.Umbrella(), dir))
	addSeen(t, dir)
	var first []byte
	for _, n := range []int{1, 1, 2, 7} {
		p := open(dir, "")
		p.Finish(n, nil)
		p.Pack(0, n)
		require.NoError(t, p.Found.Err())
		if first == nil {
			first = p.Bytes
		}
		require.True(t, bytes.Equal(first, p.Bytes), "%d workers", n)
	}
}
