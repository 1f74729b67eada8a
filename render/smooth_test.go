package render_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/color"
	"paneglow/anim/show"
	"paneglow/render"
	"paneglow/render/drive"
	"paneglow/render/power"
)

// Light that goes through the dies and back is the light that was meant, so that
// its difference is that of the colours themselves; a gain changes nothing.
func TestDiffer(t *testing.T) {
	on := hardware(t, 5, show.Sum, "GRB")
	n := len(on.Layout.Pixels)
	lights := func(l color.Light) []float32 {
		src := make([]color.Light, n)
		for i := range src {
			src[i] = l
		}
		d := make([]float32, on.Drive.Channels())
		on.Drive.Apply(d, src)
		return d
	}
	a, b := color.Light{0.2, 0.3, 0.25}, color.Light{0.22, 0.28, 0.25}
	want := color.DeltaE2000(color.FromLight(a).LabD65(), color.FromLight(b).LabD65())
	require.Greater(t, want, 1.0)
	for _, gain := range []uint32{drive.FullGain, drive.FullGain / 4} {
		differ, err := on.Differ(gain)
		require.NoError(t, err)
		da, db := lights(a), lights(b)
		for i := range da {
			da[i] *= float32(gain) / drive.FullGain
			db[i] *= float32(gain) / drive.FullGain
		}
		for _, got := range differ(nil, da, db) {
			require.InDelta(t, want, got, 0.01)
		}
		for _, got := range differ(nil, da, da) {
			require.Zero(t, got)
		}
	}
}

// Only who asks gets duties, and codes do not change for it.
func TestFineOnRequest(t *testing.T) {
	on := hardware(t, 5, show.Sum, "GRB")
	src := frames{}
	for f := range 4 {
		src = append(src, make([]color.Light, 5))
		for i := range src[f] {
			src[f][i] = color.Light{0.3 + 0.02*float32(i), 0.2, 0.1 * float32(f)}
		}
	}
	budgets := []power.Budget{{Limit: 1 << 40}}
	plain, err := render.FinishItems([]render.Item{{Name: "c", Source: src}}, on, budgets, render.Plan{Window: 40}, 1, nil)
	require.NoError(t, err)
	fine, err := render.FinishItems([]render.Item{{Name: "c", Source: src, Smooth: true}}, on, budgets, render.Plan{Window: 40}, 1, nil)
	require.NoError(t, err)
	require.Nil(t, plain[0].Fine)
	require.Len(t, fine[0].Fine, len(fine[0].Bytes))
	require.Equal(t, plain[0].Bytes, fine[0].Bytes)
	require.Equal(t, plain[0].Current, fine[0].Current)
	lit := 0
	for i, v := range fine[0].Fine {
		require.InDelta(t, float64(fine[0].Bytes[i]), float64(v)/256, 0.503)
		if v%256 != 0 {
			lit++
		}
	}
	require.Positive(t, lit, "they are finer than codes")
}
