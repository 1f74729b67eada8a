package paneglow_test

import (
	"os"
	"os/exec"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
)

// Go may fuse x*y + z into one instruction, even across statements, which moves
// the last bit and with it a code. The compiler's own listing for a processor
// that can fuse shows whether it found a place, in every package whose numbers
// end in a frame table. Color differences never do, so their file is excepted.
func TestNothingIsFused(t *testing.T) {
	fused := regexp.MustCompile(`\(([^)]*/(?:anim|render)/[^)]*\.go:\d+)\)\tFN?M(?:ADD|SUB)[SD]`)
	excepted := regexp.MustCompile(`anim/color/difference\.go`)
	for _, pkg := range []string{"anim", "anim/portable", "anim/color", "anim/easing", "anim/blend", "anim/layout", "anim/script", "render", "render/drive", "render/power", "render/table", "render/play", "render/seen", "render/prove"} {
		t.Run(pkg, func(t *testing.T) {
			cmd := exec.Command("go", "build", "-gcflags=-S", "./"+pkg)
			cmd.Env = append(os.Environ(), "GOARCH=arm64", "CGO_ENABLED=0")
			out, err := cmd.CombinedOutput()
			require.NoError(t, err, "%.2000s", out)
			require.Contains(t, string(out), "TEXT", "the listing is there")
			for _, m := range fused.FindAllStringSubmatch(string(out), -1) {
				if !excepted.MatchString(m[1]) {
					t.Errorf("%s: fused; write float64(x*y) or float32(x*y)", m[1])
				}
			}
		})
	}
}
