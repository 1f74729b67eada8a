package corpus

import (
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
)

// The corpus stays what it was: figures measured on it can be compared.
func TestAlwaysTheSame(t *testing.T) {
	for i, clips := range [][]Clip{First(), Second()} {
		require.Len(t, clips, 26)
		sum, bytes := uint32(0), 0
		for _, c := range clips {
			codes := c.Codes(30)
			require.Len(t, codes, c.Frames(30)*c.Layout.Pixels()*3)
			sum = crc32.Update(sum, crc32.IEEETable, codes)
			bytes += len(codes)
		}
		t.Logf("set %d: %d bytes at 30 frames a second, %08x", i+1, bytes, sum)
		if runtime.GOARCH == "amd64" {
			// Other processors may round a product and a sum together.
			require.Equal(t, []uint32{0xddf85422, 0x9c7c4979}[i], sum)
		}
	}
}

// Clips are lit, stay under the cap, and close: the last frame is as near to the
// first as to the one before.
func TestClips(t *testing.T) {
	for _, c := range append(First(), Second()...) {
		codes := c.Codes(30)
		size := c.Layout.Pixels() * 3
		most := uint8(0)
		for _, x := range codes {
			most = max(most, x)
		}
		require.LessOrEqual(t, most, uint8(90), c.Name)
		require.Greater(t, most, uint8(20), c.Name)
		step := func(a, b int) (d int) {
			for k := range size {
				x := int(codes[a*size+k]) - int(codes[b*size+k])
				d += max(x, -x)
			}
			return d
		}
		n := c.Frames(30)
		worst := 0
		for f := 1; f < n; f++ {
			worst = max(worst, step(f-1, f))
		}
		if c.Kind != "progress" {
			require.LessOrEqual(t, step(n-1, 0), worst*3/2+3, "%s does not close", c.Name)
		}
	}
}

// The mean of what is dithered is what was meant.
func TestDithered(t *testing.T) {
	c := First()[20]
	size := c.Layout.Pixels() * 3
	d, codes := c.Duties(30), c.Dithered(30)
	for k := range size {
		sum := 0.0
		for f := range c.Frames(30) {
			sum += float64(codes[f*size+k]) - d[f*size+k]*255
		}
		require.InDelta(t, 0, sum, 0.5001)
	}
}

// For eyes: every clip as time (right) by pixel (down), when a folder is named.
func TestPictures(t *testing.T) {
	dir := os.Getenv("PANEGLOW_PICTURES")
	if dir == "" {
		return
	}
	for i, clips := range [][]Clip{First(), Second()} {
		const wide, high = 420, 240
		img := image.NewNRGBA(image.Rect(0, 0, 2*wide, 13*(high+6)))
		for k, c := range clips {
			codes := c.Codes(30)
			n := c.Layout.Pixels()
			for f := range min(c.Frames(30), wide-6) {
				for p := range n {
					at := (f*n + p) * 3
					bright := func(x uint8) uint8 { return uint8(min(int(x)*28/10, 255)) }
					img.SetNRGBA(k%2*wide+f, k/2*(high+6)+p, color.NRGBA{bright(codes[at]), bright(codes[at+1]), bright(codes[at+2]), 255})
				}
			}
		}
		f, err := os.Create(filepath.Join(dir, fmt.Sprintf("corpus-%d.png", i+1)))
		require.NoError(t, err)
		require.NoError(t, png.Encode(f, img))
		require.NoError(t, f.Close())
	}
}
