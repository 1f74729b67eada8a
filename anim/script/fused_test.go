package script

import (
	"os"
	"os/exec"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
)

// Go may fuse x*y + z on processors that can, which moves the last bit. The
// compiler's own listing for one of them shows whether it found a place.
func TestNothingIsFused(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the package for arm64")
	}
	cmd := exec.Command("go", "build", "-gcflags=-S", ".")
	cmd.Env = append(os.Environ(), "GOARCH=arm64", "CGO_ENABLED=0")
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%.2000s", out)
	require.Contains(t, string(out), "FMULS", "the listing shows products")
	require.Empty(t, regexp.MustCompile(`\([^)]*\)\tFN?M(ADD|SUB).*`).FindAllString(string(out), -1),
		"write float32(x*y) or float64(x*y)")
}
