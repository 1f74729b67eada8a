package seen

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/anim/color"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/drive"
	"paneglow/render/power"
)

// rows is a panel of rows of pixels 16.7 mm apart behind a glass.
func rows(tb testing.TB, count, each int, law show.Law) (*show.Machine, *layout.Layout, *Canvas, *power.Meter) {
	m := &show.Machine{Parts: []show.Part{{
		Name: "p", Order: "RGB", LEDsPerPixel: 1, HalfAngle: 60, Law: law, Fitted: true, Idle: 1000,
		Channel: [4]unit.Current{12_000, 12_000, 12_000}, Ceiling: 20_000,
		Light: [4]show.Die{{Wavelength: 622, Intensity: 400}, {Wavelength: 523, Intensity: 690}, {Wavelength: 466, Intensity: 190}},
	}}}
	m.Panel.Depth, m.Panel.Glass = 30, show.Glass{Scatter: 40, Lambertian: 0.15, Haze: 1, Transmittance: [3]float64{0.8, 0.8, 0.8}, Reflectance: 0.15}
	l := &layout.Layout{Width: float64(each)*16.7 + 60, Height: float64(count)*60 + 40}
	m.Panel.Size = [2]unit.Length{unit.Length(l.Width), unit.Length(l.Height)}
	for r := range count {
		name := fmt.Sprintf("row%d", r)
		m.Strips = append(m.Strips, show.Strip{Name: name, Part: "p", Pixels: each})
		l.Strips = append(l.Strips, layout.Strip{Name: name, First: r * each, Count: each, Dies: 3, Order: "RGB", LEDPitch: 16.7, PixelPitch: 16.7})
		for i := range each {
			n := len(l.Pixels)
			x, y := 38+16.7*float64(i), 50+60*float64(r)
			l.Pixels = append(l.Pixels, layout.Pixel{Strip: r, Index: i, X: x, Y: y, U: x / l.Width, V: y / l.Height, Offset: 3 * n})
			l.LEDs = append(l.LEDs, layout.LED{X: x, Y: y, Pixel: int32(n)})
		}
	}
	meter, err := power.NewMeter(m, l)
	require.NoError(tb, err)
	d, err := drive.NewMap(m, l)
	require.NoError(tb, err)
	c, err := New(m, l, meter, d)
	require.NoError(tb, err)
	return m, l, c, meter
}

// ring is a bright ring of a radius around a place, on a dark ground.
func ring(w, h int, x, y, radius float64, c color.Light) []color.Light {
	out := make([]color.Light, w*h)
	for j := range h {
		for i := range w {
			d := math.Abs(math.Hypot(float64(i)-x, float64(j)-y) - radius)
			for k := range c {
				out[j*w+i][k] = c[k] * float32(math.Max(0, 1-d/4))
			}
		}
	}
	return out
}

// What the strips can make is found again: the light of any duties, taken as a
// target, is reached within a hundredth of white.
func TestReachable(t *testing.T) {
	_, _, c, _ := rows(t, 3, 20, show.Sum)
	duties := make([]float32, c.Channels())
	for i := range duties {
		duties[i] = float32((i*37)%19) / 19
	}
	target := c.Light(duties)
	p := c.NewPainter(1 << 60)
	got := make([]float32, len(duties))
	p.Paint(got, target)
	miss := Compare(c.Light(got), target)
	t.Logf("%d rounds, rms %.5f, dark %.4f, over %.4f", p.Rounds(), miss.RMS, miss.Dark, miss.Over)
	require.Less(t, miss.RMS, 0.01)
	require.Less(t, miss.Dark+miss.Over, 0.03)
}

// The panel all white is white over its pixels; a black target is black.
func TestWhiteAndBlack(t *testing.T) {
	m, l, c, _ := rows(t, 3, 20, show.Sum)
	white, err := drive.White(&m.Parts[0])
	require.NoError(t, err)
	duties := make([]float32, c.Channels())
	for i := range duties {
		duties[i] = white[i%3]
	}
	light := c.Light(duties)
	var mean [3]float64
	for i := range l.Pixels {
		at := int(l.Pixels[i].Y/c.Step)*c.W + int(l.Pixels[i].X/c.Step)
		for k := range mean {
			mean[k] += float64(light[at][k]) / float64(len(l.Pixels))
		}
	}
	for k := range mean {
		require.InDelta(t, 1, mean[k], 1e-3, "channel %d", k)
	}
	p := c.NewPainter(1 << 60)
	p.Paint(duties, make(Target, c.W*c.H))
	for _, v := range duties {
		require.Zero(t, v)
	}
}

// Under every law the rounded codes fit the budget by the meter's recount, a
// tighter one comes less close, and where it bites nearly all of it is used.
func TestPainterKeepsTheBudget(t *testing.T) {
	bites := 0
	for _, law := range []show.Law{show.Sum, show.Largest, show.Ceiling} {
		_, _, c, meter := rows(t, 3, 20, law)
		picture := ring(140, 100, 70, 50, 30, color.Light{0.9, 0.6, 0.8})
		target := c.Target(picture, 140, 100)
		last, free := 0.0, int64(0) // what it draws when nothing limits it
		for _, limit := range []int64{3_000_000, 700_000, 200_000, 100_000, 75_000, 30_000} {
			p := c.NewPainter(limit)
			duties := make([]float32, c.Channels())
			p.Paint(duties, target)
			codes := make([]uint8, len(duties))
			drive.Round(codes, duties, drive.FullGain)
			draws := meter.Current(codes)
			if limit >= meter.Idle() {
				require.LessOrEqual(t, draws, limit, "law %v", law)
			} else {
				require.Equal(t, meter.Idle(), draws)
			}
			miss := Compare(c.Light(duties), target)
			t.Logf("law %d, limit %d mA: draws %d mA, rms %.4f", law, limit/1000, draws/1000, miss.RMS)
			require.GreaterOrEqual(t, miss.RMS, last-1e-4)
			if limit == 3_000_000 {
				free = draws
			}
			if limit < free && limit > meter.Idle() {
				bites++
				require.Greater(t, float64(draws-meter.Idle()), 0.9*float64(limit-meter.Idle()), "law %v", law)
			}
			last = miss.RMS
		}
	}
	require.GreaterOrEqual(t, bites, 6)
}

// A picture's mean light is kept when it is laid on the canvas, coarse or fine.
func TestTargetKeepsLight(t *testing.T) {
	_, l, c, _ := rows(t, 2, 12, show.Sum)
	for _, size := range [][2]int{{1, 1}, {3, 2}, {25, 16}, {261, 161}} {
		w, h := size[0], size[1]
		picture := make([]color.Light, w*h)
		want := 0.0
		for i := range picture {
			picture[i][1] = float32((i*7)%11) / 11
			want += float64(picture[i][1]) / float64(w*h)
		}
		got, area := 0.0, 0.0
		for j, v := range c.Target(picture, w, h) {
			// The last column and row reach over the panel's edge.
			x, y := float64(j%c.W)*c.Step, float64(j/c.W)*c.Step
			a := math.Min(c.Step, l.Width-x) * math.Min(c.Step, l.Height-y)
			got, area = got+a*float64(v[1]), area+a
		}
		require.InDelta(t, want, got/area, 1e-4, "%d x %d", w, h)
	}
	// Upper rows of the picture are the upper points of the canvas.
	top := c.Target([]color.Light{{1, 1, 1}, {0, 0, 0}}, 1, 2)
	require.Zero(t, top[0][0])
	require.InDelta(t, 1, top[len(top)-1][0], 1e-6)
}

func TestRefusals(t *testing.T) {
	m, l, _, meter := rows(t, 1, 3, show.Sum)
	d, err := drive.NewMap(m, l)
	require.NoError(t, err)
	m.Panel.Glass.Haze = 0
	_, err = New(m, l, meter, d)
	require.ErrorContains(t, err, "clear glass")
	m.Panel.Glass.Haze = 1
	for range MostPixels {
		l.Pixels = append(l.Pixels, l.Pixels[0])
	}
	_, err = New(m, l, meter, d)
	require.ErrorContains(t, err, "over the 4000")
}

// One frame of a ring that grows over 200 pixels, solved from where the last one
// ended, and with a budget that bites.
func BenchmarkSeen(b *testing.B) {
	for _, c := range []struct {
		name  string
		limit int64
	}{{"seen_ms", 1 << 60}, {"seen_capped_ms", 400_000}} {
		b.Run(c.name, func(b *testing.B) {
			start := time.Now()
			_, _, canvas, _ := rows(b, 4, 50, show.Sum)
			built := time.Since(start)
			var targets []Target
			for i := range 40 {
				targets = append(targets, canvas.Target(ring(300, 100, 150, 50, 5+float64(i), color.Light{0.9, 0.5, 0.2}), 300, 100))
			}
			p := canvas.NewPainter(c.limit)
			duties := make([]float32, canvas.Channels())
			i, rounds := 0, 0
			for b.Loop() {
				p.Paint(duties, targets[i%40])
				rounds += p.Rounds()
				i++
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e6, c.name)
			b.ReportMetric(float64(rounds)/float64(i), "rounds")
			b.ReportMetric(float64(built.Milliseconds()), "build_ms")
		})
	}
}
