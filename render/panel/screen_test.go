package panel

import (
	"image"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The three channels of middle, one by one.
func TestMiddle(t *testing.T) {
	channel := rapid.Uint64Range(0, trioMost)
	rapid.Check(t, func(t *rapid.T) {
		var in [4]trio
		var want trio
		for k := range 3 {
			var v [4]uint64
			for i := range v {
				v[i] = channel.Draw(t, "v")
				in[i] |= trio(v[i]) << (k * trioBits)
			}
			m := (9*int64(v[1]+v[2]) - int64(v[0]+v[3])) >> 4
			want |= trio(max(m, 0)) << (k * trioBits)
		}
		require.Equal(t, want, middle(in[0], in[1], in[2], in[3]))
	})
}

// exposure is the 99.5th percentile of the largest channel, as in pictures.
func exposure(f *Field) float64 {
	var v []float64
	for _, x := range f.XYZ {
		r := 3.24096994*x[0] - 1.53738318*x[1] - 0.49861076*x[2]
		g := -0.96924364*x[0] + 1.87596750*x[1] + 0.04155506*x[2]
		b := 0.05563008*x[0] - 0.20397696*x[1] + 1.05697151*x[2]
		v = append(v, float64(max(r, g, b)))
	}
	slices.Sort(v)
	return v[len(v)*995/1000]
}

// A picture against its twin: the direct sum at every image pixel, encoded by
// the formula of IEC 61966-2-1. Dither and rounding are a code; the field's
// stated error, up to 3.3 times larger through the matrix, adds to it in light.
func TestScreenTwin(t *testing.T) {
	t.Parallel()
	g, codes := wall(t, 20)
	for i := range codes {
		codes[i] = uint8(i * i * 31 / 7)
		if i > 3000 || i/3%9 != 0 { // the twin is slow
			codes[i] = 0
		}
	}
	for _, size := range [][3]int{{320, 200, 2}, {61, 33, 10}} { // pixels between; every pixel
		w, h, fine := size[0], size[1], size[2]
		f := &Field{W: fine*w + 1, Step: 800 / float64(fine*w)}
		f.H = int(500/f.Step) + 2
		f.XYZ = make([][3]float32, f.W*f.H)
		g.Direct(f, codes)
		white := exposure(f)
		s, err := g.NewScreen(w, h, white, 40)
		require.NoError(t, err)
		img := image.NewRGBA(image.Rect(0, 0, w, h))
		require.NoError(t, s.Draw(img, codes))
		room := g.Room(40)
		mean, worst, saturated, most := 0.0, 0.0, 0, 0.0
		for i := range f.XYZ {
			most = math.Max(most, float64(f.XYZ[i][1])/white)
		}
		for y := range h {
			// Rows of a picture are 500/h mm: the twin's field is read between points.
			up := (float64(h-1-y) + 0.5) * 500 / float64(h)
			for x := range w {
				v := f.At((float64(x)+0.5)*800/float64(w), up)
				var c [3]float64
				for k := range c {
					c[k] = (float64(v[k]) + room[k]) / white
				}
				r := 3.24096994*c[0] - 1.53738318*c[1] - 0.49861076*c[2]
				gr := -0.96924364*c[0] + 1.87596750*c[1] + 0.04155506*c[2]
				b := 0.05563008*c[0] - 0.20397696*c[1] + 1.05697151*c[2]
				if math.Max(r, math.Max(gr, b)) > 1 {
					saturated++
					continue
				}
				for k, lin := range []float64{r, gr, b} {
					curve := func(l float64) float64 {
						if l <= 0.0031308 {
							return 255 * 12.92 * math.Max(l, 0)
						}
						return 255 * (1.055*math.Pow(l, 1/2.4) - 0.055)
					}
					got := float64(img.Pix[img.PixOffset(x, y)+k])
					slack := 0.0025 * 3.3 * most
					mean += math.Abs(curve(lin)-got) / float64(3*w*h)
					worst = math.Max(worst, math.Max(got-1-curve(lin+slack), curve(lin-slack)-1-got))
				}
			}
		}
		t.Logf("%d x %d: mean %.2f codes, worst %.2f over the slack, %d of %d pixels over white", w, h, mean, worst, saturated, w*h)
		require.LessOrEqual(t, worst, 0.3) // the twin itself is read between its points
		require.Less(t, mean, 0.7)
		require.Less(t, saturated, w*h/50)
	}
}

// Bradford's change from D50 to D65 is the matrix that CSS Color 4 prints.
func TestAdaptation(t *testing.T) {
	d50 := [3]float64{0.3457 / 0.3585, 1, (1 - 0.3457 - 0.3585) / 0.3585}
	want := [9]float64{
		0.955473421488075, -0.02309845494876471, 0.06325924320057072,
		-0.0283697093338637, 1.0099953980813041, 0.021041441191917323,
		0.012314014864481998, -0.020507649298898964, 1.330365926242124,
	}
	for i, v := range adaptation(d50) {
		require.InDelta(t, want[i], v, 2e-4)
	}
	// A white of any strength comes out as D65 of its luminance.
	got := times(adaptation([3]float64{30, 40, 90}), [3]float64{30, 40, 90})
	for i, v := range d65 {
		require.InDelta(t, 40*v, got[i], 1e-9)
	}
}

// A bluish glass: adapted, the white that passes it is grey on the screen.
func TestAdapt(t *testing.T) {
	m, l := machine(9, 10, 30, scatterOf(40), 0)
	m.Panel.Glass.Transmittance = [3]float64{0.5, 0.6, 0.9}
	g, err := New(m, l)
	require.NoError(t, err)
	codes := full(l)
	s, err := g.NewScreen(98, 80, 1, 0)
	require.NoError(t, err)
	img := image.NewRGBA(image.Rect(0, 0, 98, 80))
	cast := func() int {
		s.Expose(codes)
		require.NoError(t, s.Draw(img, codes))
		c := img.RGBAAt(45, 30)
		return int(c.B) - int(c.R)
	}
	require.Greater(t, cast(), 40)
	s.Adapt(g.Through(codes))
	require.InDelta(t, 0, cast(), 3)
	s.Adapt([3]float64{})
	require.Greater(t, cast(), 40, "no white, no adaptation")
}

// Exposure follows the 99.5th percentile and the room, and is 1 on a black panel.
func TestExpose(t *testing.T) {
	g, codes := wall(t, 20)
	s, err := g.NewScreen(64, 40, 5, 0)
	require.NoError(t, err)
	s.Expose(codes)
	f := field()
	g.Shine(f, codes)
	require.InEpsilon(t, exposure(f), s.Exposure, 0.02)
	s.Expose(make([]uint8, len(codes)))
	require.InDelta(t, 1, s.Exposure, 1e-12)
	s.Room = 1000
	s.Expose(make([]uint8, len(codes)))
	require.InEpsilon(t, g.Room(1000)[1], s.Exposure, 0.01)
}

// Through clear glass an LED is a sharp square of the picture, as bright as its
// share of each pixel, and the rows beside it do not change.
func TestSharpOnScreen(t *testing.T) {
	m, l := machine(1, 10, 30, scatterOf(20), 0)
	m.Parts[0].Emitter = unitMM(6)
	m.Panel.Glass.Haze = 0
	g, err := New(m, l)
	require.NoError(t, err)
	s, err := g.NewScreen(410, 400, 2*3/36e-6, 0) // half of the face's luminance is white
	require.NoError(t, err)
	img := image.NewRGBA(image.Rect(0, 0, 410, 400))
	require.NoError(t, s.Draw(img, []uint8{255, 255, 255}))
	lit := 0
	for y := range 400 {
		for x := range 410 {
			c := img.RGBAAt(x, y)
			inside := x >= 202 && x < 208 && y >= 197 && y < 203
			require.Equal(t, inside, int(c.R)+int(c.G)+int(c.B) > 0, "%d, %d", x, y)
			if inside {
				lit++
			}
		}
	}
	require.Equal(t, 36, lit)
}

func TestScreenRefuses(t *testing.T) {
	g, codes := wall(t, 20)
	for _, c := range []struct {
		w, h           int
		exposure, room float64
		want           string
	}{
		{1, 100, 1, 0, "2 to 8192"}, {100, 9000, 1, 0, "2 to 8192"}, {10, 10, 0, 0, "exposure"}, {10, 10, math.NaN(), 0, "exposure"}, {10, 10, 1, -1, "room light"},
	} {
		_, err := g.NewScreen(c.w, c.h, c.exposure, c.room)
		require.ErrorContains(t, err, c.want)
	}
	s, err := g.NewScreen(64, 40, 500, 0)
	require.NoError(t, err)
	require.ErrorContains(t, s.Draw(image.NewRGBA(image.Rect(0, 0, 64, 39)), codes), "cannot hold")
}
