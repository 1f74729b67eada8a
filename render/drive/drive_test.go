package drive

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/color"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
)

// Values from the CIE's 1 nm table (CIE 018:2019), which the 5 nm table here
// only samples.
func TestChromaticity(t *testing.T) {
	for _, c := range []struct{ nm, x, y float64 }{
		{465, 0.135503, 0.039879}, {467, 0.131371, 0.045876}, {470, 0.124118, 0.057803},
		{515, 0.038852, 0.812016}, {520, 0.074302, 0.833803}, {522, 0.089942, 0.833289},
		{525, 0.114161, 0.826207}, {620, 0.691504, 0.308342}, {622, 0.695389, 0.304479},
		{625, 0.700606, 0.299301}, {630, 0.707918, 0.292027},
	} {
		x, y, err := Chromaticity(c.nm)
		require.NoError(t, err)
		require.InDelta(t, c.x, x, 2e-4, "%v nm x", c.nm)
		require.InDelta(t, c.y, y, 2e-4, "%v nm y", c.nm)
	}
	// 466 and 523 nm lie between rows of the published extract; they must lie
	// between their neighbours' values.
	for _, c := range [][3]float64{{466, 465, 467}, {523, 522, 525}} {
		x, y, err := Chromaticity(c[0])
		require.NoError(t, err)
		xa, ya, _ := Chromaticity(c[1])
		xb, yb, _ := Chromaticity(c[2])
		require.Equal(t, xa < xb, xa < x && x < xb)
		require.Equal(t, ya < yb, ya < y && y < yb || ya > y && y > yb && ya < yb)
	}
	for _, nm := range []float64{379, 781, math.NaN()} {
		_, _, err := Chromaticity(nm)
		require.Error(t, err)
	}
}

// CIE 15: daylight of 6504 K; Kim et al. 2002 (colour-science kang2002 tests)
// for 3000 K is not in our table, so the join at 4000 K stands for it.
func TestDaylight(t *testing.T) {
	x, y, err := Daylight(6504)
	require.NoError(t, err)
	require.InDelta(t, 0.312714, x, 2e-6)
	require.InDelta(t, 0.329119, y, 2e-6)
	_, _, err = Daylight(1000)
	require.Error(t, err)
}

func part(order string) show.Part {
	p := show.Part{Name: "p", Order: order, LEDsPerPixel: 1, Pitch: 60}
	p.Light[0] = show.Die{Wavelength: 622.5, Intensity: 405}
	p.Light[1] = show.Die{Wavelength: 523.5, Intensity: 690}
	p.Light[2] = show.Die{Wavelength: 466, Intensity: 190}
	if len(order) == 4 {
		p.Light[3] = show.Die{Temperature: 6500, Intensity: 1500}
	}
	return p
}

// The data-sheet mid values of a WS2812B need about 0.82 : 1 : 0.31 for D65
// (computed from the CIE 1 nm table).
func TestDesignWhite(t *testing.T) {
	p := part("GRB")
	w, err := White(&p)
	require.NoError(t, err)
	require.InDeltaSlice(t, []float64{0.82, 1, 0.31}, []float64{float64(w[0]), float64(w[1]), float64(w[2])}, 0.006)
}

// The mix of dies at the drives must have the light's own XYZ, up to one
// factor: recomputed from the dies, not from the matrix.
func TestMixMatchesLight(t *testing.T) {
	for _, order := range []string{"GRB", "RGBW"} {
		p := part(order)
		l := flat(t, &p, 1)
		m, err := NewMap(&show.Machine{Parts: []show.Part{p}}, l)
		require.NoError(t, err)
		mixed := func(in color.Light) (x [3]float64) {
			d := make([]float32, m.Channels())
			m.Apply(d, []color.Light{in})
			for c, v := range d {
				die, err := DieXYZ(p.Light[c])
				require.NoError(t, err)
				for i := range x {
					x[i] += float64(v) * die[i]
				}
			}
			return x
		}
		white := mixed(color.Light{1, 1, 1})
		rapid.Check(t, func(t *rapid.T) {
			f := rapid.Float32Range(0, 1)
			in := color.Light{f.Draw(t, "r"), f.Draw(t, "g"), f.Draw(t, "b")}
			got, want := mixed(in), color.FromLight(in).In(color.XYZ).C
			for i := range got {
				d65 := [3]float64{0.95045593, 1, 1.08905775}
				if math.Abs(got[i]/white[1]-want[i]) > 2e-5 {
					t.Fatalf("%v: component %d is %v, want %v (white %v)", in, i, got[i]/white[1], want[i], d65)
				}
			}
		})
		require.InDelta(t, 0.95045593, white[0]/white[1], 1e-5)
		require.InDelta(t, 1.08905775, white[2]/white[1], 1e-5)
	}
}

func flat(t *testing.T, p *show.Part, n int) *layout.Layout {
	t.Helper()
	l := &layout.Layout{Strips: []layout.Strip{{Name: "s", Count: n, Dies: p.Dies(), Order: p.Order}}}
	for i := range n {
		l.Pixels = append(l.Pixels, layout.Pixel{Index: i, Place: i, Offset: i * p.Dies()})
	}
	return l
}

func TestStretchesAndDarkPixels(t *testing.T) {
	p := part("GRB")
	l := flat(t, &p, 4)
	l.Pixels[1].Hidden = true
	l.Pixels[2].Missing = true
	m := &show.Machine{Parts: []show.Part{p}, Strips: []show.Strip{{Name: "s", Stretches: []show.Stretch{{From: 3, To: 3, White: [3]float64{1, 0.5, 1}, Gain: 0.5}}}}}
	d, err := NewMap(m, l)
	require.NoError(t, err)
	out := make([]float32, d.Channels())
	w := color.Light{1, 1, 1}
	require.Zero(t, d.Apply(out, []color.Light{w, w, w, w}))
	require.Equal(t, make([]float32, 6), out[3:9])
	require.InDelta(t, out[0]*0.5, out[9], 1e-7)
	require.InDelta(t, out[1]*0.25, out[10], 1e-7)
	require.Equal(t, 4, d.Apply(out, []color.Light{{2, 2, 2}, {2, 2, 2}, {2, 2, 2}, {2, 2, 2}}), "clipped pixels are counted")
	require.Zero(t, testing.AllocsPerRun(10, func() { d.Apply(out, []color.Light{w, w, w, w}) }))
}

func TestBadDies(t *testing.T) {
	p := part("GRB")
	p.Light[1].Wavelength = 622.5
	p.Light[2].Wavelength = 622.5
	_, err := White(&p)
	require.ErrorContains(t, err, "one line")
	p = part("GRB")
	p.Light[0].Intensity = 0
	_, err = White(&p)
	require.ErrorContains(t, err, "lights nothing")
	p = part("GRB")
	p.Light[0].Wavelength = unit.Wavelength(200)
	_, err = White(&p)
	require.ErrorContains(t, err, "380 to 780")
}

// A worked example: exponent 2.2 with one rounding, then white 255:176:100.
func TestExponentTable(t *testing.T) {
	table := color.DecodeTable(2.2)
	out := make([]uint8, 256)
	Round(out, table[:], FullGain)
	zeros, distinct, first := 0, map[uint8]bool{}, -1
	for i, v := range out {
		require.Equal(t, uint8(math.Floor(255*math.Pow(float64(i)/255, 2.2)+0.5)), v, "input %d", i)
		distinct[v] = true
		if v == 0 {
			zeros++
		} else if first < 0 {
			first = i
		}
	}
	require.Equal(t, 15, zeros)
	require.Equal(t, 15, first)
	require.Equal(t, 184, len(distinct))
	require.Equal(t, []uint8{12, 56, 137}, []uint8{out[64], out[128], out[192]})

	// All three channels of the white lit from k = 2; both ratios within 5 %
	// from k = 20 and within 10 % from k = 10.
	white := []float32{1, 176.0 / 255, 100.0 / 255}
	code := make([]uint8, 3)
	for k := 1; k <= 255; k++ {
		scaled := make([]float32, 3)
		for c := range scaled {
			scaled[c] = white[c] * float32(k) / 255
		}
		Round(code, scaled, FullGain)
		require.Equal(t, k >= 2, code[0] > 0 && code[1] > 0 && code[2] > 0, "k = %d", k)
		if k >= 10 {
			limit := 0.10
			if k >= 20 {
				limit = 0.05
			}
			for c, want := range []float64{1: 176.0 / 255, 2: 100.0 / 255} {
				if c > 0 {
					require.LessOrEqual(t, math.Abs(float64(code[c])/float64(code[0])/want-1), limit, "k = %d", k)
				}
			}
		}
	}
}

func TestRound(t *testing.T) {
	dst := make([]uint8, 6)
	Round(dst, []float32{-1, 0, 0.5 / 255, 0.5, 1, 7}, FullGain)
	require.Equal(t, []uint8{0, 0, 1, 128, 255, 255}, dst)
	Round(dst, []float32{-1, 0, 0.5 / 255, 0.5, 1, 7}, FullGain/2)
	require.Equal(t, []uint8{0, 0, 0, 64, 128, 128}, dst)
	// Never rises when the gain falls, and black stays black.
	rapid.Check(t, func(t *rapid.T) {
		d := []float32{rapid.Float32Range(-0.1, 1.1).Draw(t, "d"), 0}
		g := rapid.Uint32Range(0, FullGain).Draw(t, "g")
		a, b := make([]uint8, 2), make([]uint8, 2)
		Round(a, d, g)
		Round(b, d, g/2)
		if b[0] > a[0] || a[1] != 0 {
			t.Fatalf("drive %v: %v at gain %d, %v at half", d, a, g, b)
		}
	})
}
