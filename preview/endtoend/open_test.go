package endtoend

import (
	"image"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// lit counts pixels that are not dark.
func lit(img *image.NRGBA) (n int) {
	for i := 0; i < len(img.Pix); i += 4 {
		if max(img.Pix[i], img.Pix[i+1], img.Pix[i+2]) > 100 {
			n++
		}
	}
	return n
}

// The window opens, shows something other than black, and closes on its key.
func TestOpensAndQuits(t *testing.T) {
	d := newDisplay(t, "1280x800")
	w := open(t, d, root+"/examples/umbrella")
	w.point(600, 400)
	require.Eventually(t, func() bool { return lit(d.shot(t)) > 200 }, 20*time.Second, 100*time.Millisecond)
	w.key("q")
	require.Zero(t, w.ended(), w.errs.String())
}
