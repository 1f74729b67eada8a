package color

import (
	"fmt"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Little CMS goes from sRGB to Lab by ICC profiles and shares no constant with
// this package; its 16-bit D50 is rounded, hence 0.02.
func TestAgainstLittleCMS(t *testing.T) {
	exe, err := exec.LookPath("transicc")
	if err != nil {
		t.Skip("transicc is not installed: apt-get install liblcms2-utils")
	}
	in := [][3]int{{255, 0, 0}, {0, 255, 0}, {0, 0, 255}, {118, 84, 205}, {10, 11, 12}, {255, 191, 0}, {128, 128, 128}, {1, 2, 250}}
	var text strings.Builder
	for _, c := range in {
		fmt.Fprintf(&text, "%d %d %d\n", c[0], c[1], c[2])
	}
	cmd := exec.Command(exe, "-n", "-i*sRGB", "-o*Lab", "-t1")
	cmd.Stdin = strings.NewReader(text.String())
	out, err := cmd.Output()
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	require.Len(t, lines, len(in))
	for i, line := range lines {
		var want [3]float64
		_, err := fmt.Sscan(line, &want[0], &want[1], &want[2])
		require.NoError(t, err, line)
		c := Color{Alpha: 1, C: vec{float64(in[i][0]) / 255, float64(in[i][1]) / 255, float64(in[i][2]) / 255}}
		got := c.In(Lab).C
		for k := range got {
			require.InDelta(t, want[k], got[k], 0.02, "%v: %v, Little CMS %v", in[i], got, want)
		}
	}
}
