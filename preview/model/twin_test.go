package model

import (
	"image"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// flat is a light of one value everywhere.
func flat(v, most float64) *Light {
	l := &Light{W: 5, H: 4, Codes: make([]uint16, 60), Most: float32(most), SpanX: 4, SpanY: 3, Exposure: 1}
	for i := range l.Codes {
		l.Codes[i] = uint16(math.Round(v / most * math.MaxUint16))
	}
	return l
}

// mean is the mean code of a channel, which is what the dither leaves as it was.
func mean(img *image.RGBA, channel int) float64 {
	sum, n := 0, 0
	for i := channel; i < len(img.Pix); i += 4 {
		sum += int(img.Pix[i])
		n++
	}
	return float64(sum) / float64(n)
}

// Codes of linear light by IEC 61966-2-1, worked out by hand: 255 (1.055 x^(1/2.4)
// - 0.055), and 255 x 12.92 x below 0.0031308.
func TestTwinEncodes(t *testing.T) {
	for _, c := range []struct{ light, code float64 }{
		{0, 0}, {0.001, 3.2946}, {0.002, 6.5892}, {0.0031308, 10.3148}, {0.01, 25.4616}, {0.18, 117.6558}, {0.5, 187.516}, {1, 255}, {3, 255},
	} {
		img := Twin(flat(c.light, max(1, c.light)), 16, 16)
		require.InDelta(t, c.code, mean(img, 1), 0.04, // sixteen ranks
			"light %g", c.light)
		for i := 3; i < len(img.Pix); i += 4 {
			require.EqualValues(t, 255, img.Pix[i])
		}
	}
}

// One coefficient of 1 among zeros gives the cubic B-spline: 2/3 at its point, 1/6
// at its neighbours, 23/48 and 1/48 half-way (M. Unser, IEEE Signal Processing
// Magazine 16, 1999).
func TestTwinIsTheCubicSpline(t *testing.T) {
	l := &Light{W: 9, H: 9, Codes: make([]uint16, 3*81), Most: 1, Exposure: 1}
	l.Codes[3*(4*9+4)] = math.MaxUint16
	for _, c := range []struct{ x, y, want float64 }{
		{4, 4, 4.0 / 9}, {5, 4, 1.0 / 9}, {3, 4, 1.0 / 9}, {4.5, 4, 23.0 / 72}, {5.5, 4, 1.0 / 72}, {4.5, 5.5, 23.0 / 48 / 48}, {6, 4, 0}, {1.2, 7, 0},
	} {
		require.InDelta(t, c.want, l.at(c.x, c.y)[0], 1e-9, "at %g, %g", c.x, c.y)
	}
}

// A constant stays one, far outside the grid too, and a slope stays one inside.
func TestTwinKeepsConstantsAndSlopes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(0, 1).Draw(t, "v")
		l := flat(v, 1)
		x, y := rapid.Float64Range(-20, 20).Draw(t, "x"), rapid.Float64Range(-20, 20).Draw(t, "y")
		require.InDelta(t, v, l.at(x, y)[2], 1e-5)
		l = &Light{W: 12, H: 3, Codes: make([]uint16, 108), Most: 3, Least: 1, Exposure: 0.5, Room: [3]float32{0.25, 0, 0}}
		for i := range l.Codes {
			l.Codes[i] = uint16(i / 3 % 12 * 5000)
		}
		x = rapid.Float64Range(1, 10).Draw(t, "inside")
		require.InDelta(t, (x*5000/math.MaxUint16*3-1+0.25)/0.5, l.at(x, 1)[0], 1e-6)
	})
}

// Light over white keeps its luminance until that is white too, and its order of
// channels.
func TestTwinDrawsTowardsWhite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var c [3]float64
		for i := range c {
			c[i] = rapid.Float64Range(0, 4).Draw(t, "c")
		}
		got := toScreen(c)
		lum := func(c [3]float64) float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }
		require.InDelta(t, min(lum(c), 1), lum(got), 1e-9)
		for i := range got {
			require.GreaterOrEqual(t, got[i], 0.0)
			require.LessOrEqual(t, got[i], 1.0)
			if j := (i + 1) % 3; c[i] >= c[j] {
				require.GreaterOrEqual(t, got[i], got[j]-1e-9)
			}
		}
		if max(c[0], c[1], c[2]) <= 1 {
			require.Equal(t, c, got)
		}
	})
	require.Equal(t, [3]float64{0, 0.5, 1}, toScreen([3]float64{-3, 0.5, 1}))
}

// The dither's sixteen ranks are each there once in a square, and none is close to
// its successor: Bayer's matrix.
func TestOrderedDither(t *testing.T) {
	want := [4][4]float64{{0, 8, 2, 10}, {12, 4, 14, 6}, {3, 11, 1, 9}, {15, 7, 13, 5}}
	for y := range 8 {
		for x := range 8 {
			require.Equal(t, want[y&3][x&3], ordered(x, y))
		}
	}
}

func TestTwinOfNothing(t *testing.T) {
	img := Twin(&Light{Exposure: 1}, 3, 2)
	require.Equal(t, []uint8{0, 0, 0, 255}, img.Pix[:4])
	require.Empty(t, Twin(flat(1, 1), 0, 5).Pix)
}
