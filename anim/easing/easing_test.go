package easing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func must(t *testing.T, s string) Func {
	t.Helper()
	f, err := Parse(s)
	require.NoError(t, err)
	return f
}

// Values agree with the npm package bezier-easing 3.2.0 to 1e-7.
func TestBezierValues(t *testing.T) {
	at := []float64{0.1, 0.25, 0.5, 0.75, 0.9}
	for s, want := range map[string][5]float64{
		"ease":                        {0.0947963, 0.4085106, 0.8024034, 0.9604590, 0.9943165},
		"ease-in":                     {0.0170266, 0.0934647, 0.3153568, 0.6218619, 0.8394278},
		"ease-out":                    {0.1605722, 0.3781381, 0.6846432, 0.9065353, 0.9829734},
		"ease-in-out":                 {0.0197225, 0.1291619, 0.5, 0.8708381, 0.9802775},
		"cubic-bezier(0,1.5, 1, 1.5)": {0.7160874, 1.0240667, 1.25, 1.2950112, 1.2286871},
	} {
		f := must(t, s)
		for i, p := range at {
			require.InDelta(t, want[i], f.At(p, false), 1e-7, "%s at %v", s, p)
		}
	}
}

// web-platform-tests css/css-easing/cubic-bezier-timing-functions-output.html.
func TestBezierOutside(t *testing.T) {
	f := must(t, "cubic-bezier(0.5, 1, 0.5, 0)")
	require.InDelta(t, 1+2*0.3, f.At(1.3, false), 1e-12)
	require.InDelta(t, -0.8, f.At(-0.4, false), 1e-12)
	g := must(t, "cubic-bezier(0, 1.5, 1, 1.5)")
	require.Less(t, g.At(0.23368793, false), 1.0)
	require.Greater(t, g.At(0.23368795, false), 1.0)
	h := must(t, "cubic-bezier(0, -0.5, 1, -0.5)")
	require.Less(t, h.At(0.76631205, false), 0.0)
	require.Greater(t, h.At(0.76631207, false), 0.0)
	for _, s := range []string{"ease", "ease-in", "cubic-bezier(0,1,1,0)"} {
		require.Equal(t, 0.0, must(t, s).At(0, false))
		require.Equal(t, 1.0, must(t, s).At(1, false))
	}
}

// web-platform-tests css/css-easing/step-timing-functions-output.html, and the
// standard's algorithm by hand.
func TestSteps(t *testing.T) {
	for _, c := range []struct {
		s      string
		p      float64
		before bool
		want   float64
	}{
		{"step-start", 1.5, false, 2}, {"step-start", 2.2, false, 3}, {"step-start", -0.3, false, 0},
		{"step-end", 1.5, false, 1}, {"step-end", 2.2, false, 2}, {"step-end", -0.3, false, -1},
		{"steps(1, jump-both)", 0, false, 0.5}, {"steps(1, jump-both)", 1.5, false, 1}, {"steps(1, jump-both)", 2.2, false, 1.5}, {"steps(1, jump-both)", -0.3, false, 0},
		{"steps(2, jump-none)", 0.7, false, 1}, {"steps(2, jump-none)", 1.2, false, 2}, {"steps(2, jump-none)", 1.7, false, 3}, {"steps(2, jump-none)", -0.3, false, -1},
		{"steps(4)", 0.24, false, 0}, {"steps(4)", 0.25, false, 0.25}, {"steps(4)", 0.99, false, 0.75}, {"steps(4)", 1, false, 1},
		{"steps(4, jump-start)", 0, false, 0.25}, {"steps(4, start)", 0, true, 0}, {"steps(4, start)", 0.99, false, 1},
		{"steps(3, jump-none)", 0.5, false, 0.5}, {"steps(2, jump-both)", 0.5, false, 2.0 / 3},
	} {
		require.InDelta(t, c.want, must(t, c.s).At(c.p, c.before), 1e-12, "%s at %v", c.s, c.p)
	}
}

// CSS Easing 2, computed by hand.
func TestLinearStops(t *testing.T) {
	f := must(t, "linear(0, 0.25, 1)")
	for p, want := range map[float64]float64{0.25: 0.125, 0.5: 0.25, 0.75: 0.625, 1.5: 1.75} {
		require.InDelta(t, want, f.At(p, false), 1e-12)
	}
	g := must(t, "linear(0, 0.5 25% 75%, 1)")
	for p, want := range map[float64]float64{0.125: 0.25, 0.5: 0.5, 0.875: 0.75} {
		require.InDelta(t, want, g.At(p, false), 1e-12)
	}
	h := must(t, "linear(0, 0.2 50%, 0.8 50%, 1)")
	require.InDelta(t, 0.8, h.At(0.5, false), 1e-12)
	require.InDelta(t, 0.1, h.At(0.25, false), 1e-12)
}

func TestRefused(t *testing.T) {
	for s, part := range map[string]string{
		"easy":                       "no easing function",
		"cubic-bezier(1.2, 0, 0, 1)": "within 0 and 1",
		"cubic-bezier(0, 0, 1)":      "takes 4 numbers",
		"steps(0)":                   "number of steps",
		"steps(1, jump-none)":        "at least 2",
		"steps(2, middle)":           "no step position",
		"linear(1)":                  "at least 2 stops",
		"linear(0, 1% 2%)":           "not a stop",
		"cubic-bezier(nan,0,0,0)":    "not a number",
		"bounce(1)":                  "no easing function",
	} {
		_, err := Parse(s)
		require.ErrorContains(t, err, part, s)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"ease", "steps(3,jump-none)", "linear(0, 1 5% 6%)", "cubic-bezier(0,1,0,1)", "linear(,)"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		g, err := Parse(s)
		if err != nil {
			return
		}
		for _, p := range []float64{-1, 0, 0.3, 1, 2} {
			if v := g.At(p, false); math.IsNaN(v) {
				t.Fatalf("%q at %v is NaN", s, p)
			}
		}
	})
}
