package blend

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/color"
)

// Values computed by hand from the rules of W3C Compositing and Blending 1.
func TestSeparable(t *testing.T) {
	in := [][2]float32{{.2, .6}, {.6, .2}, {.8, .9}, {.25, .75}, {0, 1}, {1, 0}}
	for name, want := range map[string][6]float32{
		"multiply":    {.12, .12, .72, .1875, 0, 0},
		"screen":      {.68, .68, .98, .8125, 1, 1},
		"overlay":     {.24, .36, .96, .375, 0, 1},
		"darken":      {.2, .2, .8, .25, 0, 0},
		"lighten":     {.6, .6, .9, .75, 1, 1},
		"color-dodge": {.5, .75, 1, 1, 0, 1},
		"color-burn":  {0, 0, .777778, 0, 0, 1},
		"hard-light":  {.36, .24, .96, .625, 1, 0},
		"soft-light":  {.2496, .456, .875542, .375, 0, 1},
		"difference":  {.4, .4, .1, .5, 1, 1},
		"exclusion":   {.56, .56, .26, .625, 1, 1},
	} {
		m, err := Parse(name)
		require.NoError(t, err)
		for i, p := range in {
			got := Mix(color.Light{p[0], p[0], p[0]}, color.Light{p[1], p[1], p[1]}, m)
			require.InDelta(t, want[i], got[0], 1e-5, "%s of %v", name, p)
		}
	}
}

func TestNonSeparable(t *testing.T) {
	cb, cs := color.Light{.2, .4, .6}, color.Light{.9, .3, .1}
	for name, want := range map[string]color.Light{
		"hue":        {.583, .283, .183},
		"saturation": {.038, .438, .838},
		"color":      {.804, .204, .004},
		"luminosity": {.296, .496, .696},
	} {
		m, err := Parse(name)
		require.NoError(t, err)
		got := Mix(cb, cs, m)
		for i := range got {
			require.InDelta(t, want[i], got[i], 6e-4, name)
		}
	}
}

func TestOver(t *testing.T) {
	d := color.Light{0.2, 0.2, 0.2}
	Over(&d, color.Light{1, 0, 3}, 0.5, Normal)
	require.InDeltaSlice(t, []float32{0.6, 0.1, 1.6}, d[:], 1e-6)
	d = color.Light{0.2, 0.2, 0.2}
	Over(&d, color.Light{1, 0, 3}, 0.5, PlusLighter)
	require.InDeltaSlice(t, []float32{0.7, 0.2, 1.7}, d[:], 1e-6)
	_, err := Parse("dodge")
	require.ErrorContains(t, err, "color-dodge")
}

// Whatever the mode, opacity 0 changes nothing and inputs in 0..1 stay there.
func TestModesStayInRange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := func(n string) color.Light {
			f := rapid.Float32Range(0, 1)
			return color.Light{f.Draw(t, n), f.Draw(t, n), f.Draw(t, n)}
		}
		b, s := l("b"), l("s")
		m := Mode(rapid.IntRange(0, int(PlusLighter)-1).Draw(t, "mode"))
		d := b
		Over(&d, s, 0, m)
		if d != b {
			t.Fatalf("%s at opacity 0 changed %v to %v", m, b, d)
		}
		for _, v := range Mix(b, s, m) {
			if !(v >= -1e-5 && v <= 1+1e-5) {
				t.Fatalf("%s of %v, %v = %v", m, b, s, v)
			}
		}
	})
}
