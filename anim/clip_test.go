package anim

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/finding"
	"paneglow/anim/layout"
	"paneglow/anim/show"
)

// two is a layout of two strips of 3 and 2 pixels; the last one is hidden.
func two() *layout.Layout {
	l := &layout.Layout{Width: 100, Height: 100, Strips: []layout.Strip{{Name: "a", Count: 3, Dies: 3}, {Name: "b", First: 3, Count: 2, Dies: 3}}}
	for i := range 5 {
		s := i / 3
		l.Pixels = append(l.Pixels, layout.Pixel{Strip: s, Index: i - 3*s, Place: i - 3*s, X: float64(10 * i), Y: 50, U: float64(i) / 10, V: 0.5, Offset: 3 * i, Hidden: i == 4})
	}
	return l
}

const second = 1_000_000_000

func build(t *testing.T, files map[string]string, c show.Clip, gamma float64) (*Clip, finding.List) {
	t.Helper()
	for i := range c.Layers {
		if c.Layers[i].Opacity == 0 {
			c.Layers[i].Opacity = 1
		}
	}
	s := &show.Show{File: "show.toml", FPS: 10, Encoding: show.Encoding{Gamma: gamma}, Clips: []show.Clip{c}}
	clips, found := Build(s, two(), Options{
		Pattern:  func(string) ([]byte, bool) { return nil, false },
		Patterns: []string{"eaves"},
		ReadFile: func(p string) ([]byte, error) {
			if f, ok := files[p]; ok {
				return []byte(f), nil
			}
			return nil, fmt.Errorf("no such file")
		},
	})
	return clips[0], found
}

// ramp shines its own progress: frame f of n is f/n.
const ramp = `"""A ramp in time."""
def light(at, now):
    return now.progress * color("color(srgb-linear 1 1 1)")
`

func levels(t *testing.T, c *Clip) []float64 {
	t.Helper()
	var out []float64
	cur := c.Start()
	dst := make([]Light, 5)
	for range c.Frames() {
		require.NoError(t, cur.Next(dst))
		out = append(out, math.Round(float64(dst[0][0])*1e4)/1e4)
	}
	return out
}

func rampClip(change func(c *show.Clip)) show.Clip {
	c := show.Clip{Name: "c", Length: second / 2, Iterations: 1, Layers: []show.Layer{{Pattern: "ramp.star"}}}
	change(&c)
	return c
}

// Directions as in Web Animations: alternate reverses odd iterations.
func TestIterationsAndDirection(t *testing.T) {
	up := []float64{0, 0.2, 0.4, 0.6, 0.8}
	down := []float64{0.8, 0.6, 0.4, 0.2, 0}
	cat := func(v ...[]float64) (out []float64) {
		for _, x := range v {
			out = append(out, x...)
		}
		return out
	}
	for dir, want := range map[show.Direction][]float64{
		show.Normal: cat(up, up, up), show.Reverse: cat(down, down, down),
		show.Alternate: cat(up, down, up), show.AlternateReverse: cat(down, up, down),
	} {
		c, found := build(t, map[string]string{"ramp.star": ramp}, rampClip(func(c *show.Clip) { c.Direction, c.Iterations = dir, 3 }), 0)
		require.NoError(t, found.Err())
		require.Equal(t, want, levels(t, c))
		// Seek lands on the same light as walking there.
		cur := c.Start()
		dst := make([]Light, 5)
		for _, f := range []int{7, 0, 14, 3} {
			require.NoError(t, cur.Seek(f))
			require.NoError(t, cur.Next(dst))
			require.InDelta(t, want[f], float64(dst[0][0]), 1e-4)
		}
		require.Error(t, cur.Seek(15))
	}
}

// An eased clip is the unbent one at the eased place, mixed in light.
func TestEasing(t *testing.T) {
	c, found := build(t, map[string]string{"ramp.star": ramp}, rampClip(func(c *show.Clip) { c.Easing = "linear(0, 0.25, 1)" }), 0)
	require.NoError(t, found.Err())
	// Inputs 0, .2 .. .8; outputs 0, .1, .2, .4, .7 of a ramp that is linear.
	require.InDeltaSlice(t, []float64{0, 0.1, 0.2, 0.4, 0.7}, levels(t, c), 1e-3)
}

func pngOf(t *testing.T, rows [][]color.NRGBA) string {
	t.Helper()
	img := image.NewNRGBA(image.Rect(0, 0, len(rows[0]), len(rows)))
	for y := range rows {
		for x := range rows[y] {
			img.SetNRGBA(x, y, rows[y][x])
		}
	}
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, img))
	return b.String()
}

func row(v ...uint8) (out []color.NRGBA) {
	for _, x := range v {
		out = append(out, color.NRGBA{x, x, x, 255})
	}
	return out
}

// A picture is one row a frame, one column a pixel, decoded by the show's
// encoding; sRGB 188 is 0.502886 (IEC 61966-2-1), exponent 2 of it 0.543545.
func TestPicture(t *testing.T) {
	files := map[string]string{"p.png": pngOf(t, [][]color.NRGBA{row(0, 188, 255, 0, 188), row(1, 2, 3, 4, 5)})}
	clip := show.Clip{Name: "c", Length: second / 5, Layers: []show.Layer{{Picture: "p.png", As: "srgb"}}}
	for gamma, want := range map[float64]float32{0: 0.502886, 2: 0.543545} {
		c, found := build(t, files, clip, gamma)
		require.NoError(t, found.Err())
		dst := make([]Light, 5)
		require.NoError(t, c.Start().Next(dst))
		require.InDelta(t, want, dst[1][0], 1e-6)
		require.Equal(t, Light{1, 1, 1}, dst[2])
	}
	// The same exponent decodes 8-bit colors in scripts, and only those.
	files["s.star"] = `"""Two colors."""
def light(at, now):
    return color("#bcbcbc") * (1 - on("b")) + color("color(srgb 0.5 0.5 0.5)") * on("b")
`
	c, found := build(t, files, show.Clip{Name: "c", Length: second, Layers: []show.Layer{{Pattern: "s.star"}}}, 2)
	require.NoError(t, found.Err())
	dst := make([]Light, 5)
	require.NoError(t, c.Start().Next(dst))
	require.InDelta(t, 0.543545, dst[0][0], 1e-5)
}

func TestExactPicture(t *testing.T) {
	files := map[string]string{"p.png": pngOf(t, [][]color.NRGBA{row(1, 2, 3, 4, 5)})}
	c, found := build(t, files, show.Clip{Name: "c", Length: second / 10, Layers: []show.Layer{{Picture: "p.png", As: "exact"}}}, 0)
	require.NoError(t, found.Err())
	require.NotNil(t, c.Exact)
	_, found = build(t, files, show.Clip{Name: "c", Length: second / 10, Layers: []show.Layer{{Picture: "p.png", As: "exact", Opacity: 0.5}}}, 0)
	require.ErrorContains(t, found.Err(), "only layer")
}

// Layers: strips mask, opacity and blend modes in linear light.
func TestLayers(t *testing.T) {
	plain := func(v string) string {
		return "\"\"\"Plain light.\"\"\"\ndef light(at, now):\n    return color(\"color(srgb-linear " + v + ")\")\n"
	}
	files := map[string]string{"low.star": plain("0.2 0.2 0.2"), "high.star": plain("0.6 0.4 1")}
	for _, c := range []struct {
		layer show.Layer
		a, b  float32
	}{
		{show.Layer{Pattern: "high.star"}, 0.6, 0.6},
		{show.Layer{Pattern: "high.star", Strips: []string{"b"}}, 0.2, 0.6},
		{show.Layer{Pattern: "high.star", Opacity: 0.5}, 0.4, 0.4},
		{show.Layer{Pattern: "high.star", Blend: "multiply"}, 0.12, 0.12},
		{show.Layer{Pattern: "high.star", Blend: "screen", Strips: []string{"a"}}, 0.68, 0.2},
		{show.Layer{Pattern: "high.star", Blend: "plus-lighter", Opacity: 0.25}, 0.35, 0.35},
	} {
		clip, found := build(t, files, show.Clip{Name: "c", Length: second, Layers: []show.Layer{{Pattern: "low.star"}, c.layer}}, 0)
		require.NoError(t, found.Err())
		dst := make([]Light, 5)
		require.NoError(t, clip.Start().Next(dst))
		require.InDelta(t, c.a, dst[0][0], 1e-6, "%+v", c.layer)
		require.InDelta(t, c.b, dst[3][0], 1e-6, "%+v", c.layer)
	}
}

// Walking a clip of layers allocates nothing.
func TestNoAllocation(t *testing.T) {
	files := map[string]string{"ramp.star": ramp}
	for _, easing := range []string{"linear", "ease"} {
		c, found := build(t, files, show.Clip{Name: "c", Length: second, Easing: easing, Layers: []show.Layer{{Pattern: "ramp.star"}, {Pattern: "ramp.star", Blend: "screen"}}}, 0)
		require.NoError(t, found.Err())
		cur, dst := c.Start(), make([]Light, 5)
		require.Zero(t, testing.AllocsPerRun(30, func() { _ = cur.Next(dst) }))
	}
}

func TestFollowsAValue(t *testing.T) {
	files := map[string]string{"v.star": "\"\"\"A bar.\"\"\"\ndef light(at, now):\n    return now.value * color(\"color(srgb-linear 1 1 1)\")\n"}
	c, found := build(t, files, show.Clip{Name: "c", Follow: "value", Layers: []show.Layer{{Pattern: "v.star"}}}, 0)
	require.NoError(t, found.Err())
	got := levels(t, c)
	require.Len(t, got, 256)
	require.Equal(t, 0.0, got[0])
	require.Equal(t, 1.0, got[255])
	require.InDelta(t, 128.0/255, got[128], 1e-4)
}

// Every fault of a clip's sources is told, with a place and the way out.
func TestRefused(t *testing.T) {
	at := show.Pos{File: "show.toml", Line: 7, Col: 3}
	files := map[string]string{
		"p.png": pngOf(t, [][]color.NRGBA{row(1, 2, 3)}), "no.png": "not a picture", "bad.star": "def light(at, now):\n    return 1 +\n",
		"fail.star": "fail('no')\n", "cut.png": pngOf(t, [][]color.NRGBA{row(1, 2, 3, 4, 5)})[:60],
	}
	for name, c := range map[string]struct {
		layer show.Layer
		want  string
	}{
		"unknown pattern": {show.Layer{Pattern: "eavse"}, "eaves"},
		"missing script":  {show.Layer{Pattern: "none.star"}, "cannot be read"},
		"broken script":   {show.Layer{Pattern: "bad.star"}, "bad.star:2"},
		"raises at load":  {show.Layer{Pattern: "fail.star"}, "fail.star:1"},
		"missing picture": {show.Layer{Picture: "none.png"}, "cannot be read"},
		"no picture":      {show.Layer{Picture: "no.png"}, "no PNG"},
		"cut picture":     {show.Layer{Picture: "cut.png"}, "damaged"},
		"wrong size":      {show.Layer{Picture: "p.png"}, "3 wide and 1 high"},
		"no such strip":   {show.Layer{Pattern: "bad.star", Strips: []string{"c"}}, `strip "c"`},
		"blend":           {show.Layer{Picture: "p.png", Blend: "dodge"}, "color-dodge"},
		"control":         {show.Layer{Pattern: "ramp.star", With: map[string]show.Control{"speed": {Text: "1", Kind: 'n', Pos: at}}}, "speed"},
	} {
		t.Run(name, func(t *testing.T) {
			files["ramp.star"] = ramp
			c.layer.Pos = at
			_, found := build(t, files, show.Clip{Name: "c", Length: second / 10, Layers: []show.Layer{c.layer}}, 0)
			require.ErrorContains(t, found.Err(), c.want)
			require.NotEmpty(t, found[0].Where)
		})
	}
}

// A ramp that jumps where its loop closes is told, but not when it plays to and
// fro an even number of times.
func TestSeamOfAlternatingClips(t *testing.T) {
	for iterations, told := range map[int]bool{1: true, 2: false, 3: true} {
		_, found := build(t, map[string]string{"ramp.star": ramp}, rampClip(func(c *show.Clip) { c.Direction, c.Iterations = show.Alternate, iterations }), 0)
		require.NoError(t, found.Err())
		require.Equal(t, told, len(found) > 0, "%d iterations: %v", iterations, found)
	}
}
