package photo

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/unit"
	"paneglow/render/panel"
)

// Between its nodes the model is panel's lobe within 2e-4.
func TestModelIsThePanels(t *testing.T) {
	radii := []float64{0, 0.1, 0.3, 0.7, 1.5, 3}
	m, err := newModel(radii, 1, 0, 0)
	require.NoError(t, err)
	got := make([]float64, len(radii))
	worst := 0.0
	for _, scatter := range []unit.Angle{1.5, 3.3, 8, 14.7, 20, 33, 60, 95, 119} {
		l, err := panel.NewLobe(scatter)
		require.NoError(t, err)
		m.lobe(got, math.Log(widthOf(scatter)))
		for i, r := range radii {
			b := r / math.Sqrt(1+r*r)
			want := math.Pow(1+r*r, -2) * l.Balance(0) * l.Balance(b) * math.Exp(-b*b/(2*l.Width()*l.Width()))
			if want < 1e-9 {
				continue
			}
			worst = math.Max(worst, math.Abs(got[i]/want-1))
		}
		require.InDelta(t, float64(scatter), float64(scatterOf(widthOf(scatter))), 1e-9)
	}
	t.Logf("off by at most %.1e", worst)
	require.Less(t, worst, 2e-4)
	// cos^4 over pi, the identity for an ideal diffuser.
	for i, r := range radii {
		require.InEpsilon(t, math.Pow(1+r*r, -2)/math.Pi, m.lambert[i], 1e-12)
	}
}

// An LED with a face spreads its spot by the face's variance.
func TestModelOfAFace(t *testing.T) {
	var radii []float64
	for r := 0.0; r < 1; r += 0.002 {
		radii = append(radii, r)
	}
	variance := func(emitter float64) float64 {
		m, err := newModel(radii, 1, emitter, 0)
		require.NoError(t, err)
		v := make([]float64, len(radii))
		m.lobe(v, math.Log(widthOf(12)))
		top, bottom := 0.0, 0.0
		for i, r := range radii {
			top += r * r * r * v[i]
			bottom += r * v[i]
		}
		return top / bottom / 2 // along one axis
	}
	require.InEpsilon(t, variance(0)+0.15*0.15/12, variance(0.15), 0.01)
}

// Rays, one by one, from an LED through a pane into a picture: no formula for
// luminance stands between the glass and the photo. Light is gathered in a beam
// around the normal, which widens the lobe by a known bit.
func TestTracedPhoto(t *testing.T) {
	const depth, scale, side, beam, rays = 30.0, 1.5, 140, 0.09, 8_000_000
	for i, c := range []struct{ fwhm, q float64 }{{25, 0}, {35, 0.3}} {
		if raced && i == 0 {
			continue
		}
		rnd := rand.New(rand.NewPCG(uint64(c.fwhm), 3))
		s := widthOf(unit.Angle(c.fwhm))
		bal := balanced(s)
		most := 0.0
		for _, u := range bal.u {
			most = math.Max(most, u)
		}
		counts := make([]float64, side*side)
		for range rays {
			sin := math.Sqrt(rnd.Float64()) // of a cosine emitter: flux goes with sin^2
			turn := 2 * math.Pi * rnd.Float64()
			inX, inY := sin*math.Cos(turn), sin*math.Sin(turn)
			var outX, outY float64
			if rnd.Float64() < c.q {
				radius, angle := math.Sqrt(rnd.Float64()), 2*math.Pi*rnd.Float64()
				outX, outY = radius*math.Cos(angle), radius*math.Sin(angle)
			} else {
				for {
					outX, outY = inX+s*rnd.NormFloat64(), inY+s*rnd.NormFloat64()
					if b := math.Hypot(outX, outY); b < 1 && rnd.Float64()*most < bal.at(b) {
						break
					}
				}
			}
			if outX*outX+outY*outY > beam*beam {
				continue
			}
			reach := depth / math.Sqrt(1-sin*sin)
			x, y := int(math.Round(inX*reach/scale+side/2)), int(math.Round(inY*reach/scale+side/2))
			if x >= 0 && y >= 0 && x < side && y < side {
				counts[y*side+x]++
			}
		}
		img := image.NewGray16(image.Rect(0, 0, side, side))
		for i, n := range counts {
			// A camera's pedestal and read noise, without which the median of few
			// photons would lie below their mean.
			v := uint16(40*(n+20+4*rnd.NormFloat64()) + 0.5)
			img.Pix[2*i], img.Pix[2*i+1] = uint8(v>>8), uint8(v)
		}
		p, err := Read("traced.png", encoded(t, img), Encoding{Gamma: 1})
		require.NoError(t, err)
		r, err := Fit(p, Settings{Depth: depth, Scale: scale})
		require.NoError(t, err)
		want := float64(scatterOf(math.Sqrt(s*s + beam*beam/4))) // a disc's variance along an axis is radius^2/4
		t.Logf("%v deg, share %v: %.2f (%.2f to %.2f) of %.2f deg, %.3f", c.fwhm, c.q, r.Scatter.Value, r.Scatter.Low, r.Scatter.High, want, r.Lambertian.Value)
		require.InEpsilon(t, want, r.Scatter.Value, 0.03)
		require.InDelta(t, c.q, r.Lambertian.Value, 0.06)
	}
}
