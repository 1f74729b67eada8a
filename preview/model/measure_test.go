package model

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
)

// Widths are those of golang.org/x/image/font with the same fonts.
func TestMeasureIsTheFontLibrarys(t *testing.T) {
	for _, bold := range []bool{false, true} {
		ttf := goregular.TTF
		if bold {
			ttf = gobold.TTF
		}
		f, err := opentype.Parse(ttf)
		require.NoError(t, err)
		for _, size := range []float64{9, 12.5, 14, 40} {
			face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72})
			require.NoError(t, err)
			for _, s := range []string{"", "rest", "12.4 A", "AVATAR To", "µ° · —", "\x00"} {
				want := float64(font.MeasureString(face, s)) / 64
				for range 2 { // measured, then remembered
					require.Equal(t, want, Measure(s, size, bold), "%q at %g", s, size)
				}
			}
		}
	}
}

func TestMeasureOddSizes(t *testing.T) {
	require.Zero(t, Measure("x", 0, false))
	require.Zero(t, Measure("x", -3, true))
}

// Numbers that run, in many sizes, do not fill the memory.
func TestMeasureForgets(t *testing.T) {
	for i := range keptTexts + 100 {
		Measure(fmt.Sprint(i), 11, false)
	}
	for i := range keptRulers + 10 {
		Measure("x", 50+float64(i), false)
	}
	rulers.Lock()
	defer rulers.Unlock()
	require.LessOrEqual(t, len(rulers.of), keptRulers)
	for _, r := range rulers.of {
		require.LessOrEqual(t, len(r.known), keptTexts)
	}
}

func BenchmarkMeasureKnown(b *testing.B) {
	for b.Loop() {
		Measure("12.4 A of 6.6 A", 14, false)
	}
}
