package panel

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The simple lobe f = G/N(b) is no part of the product: it keeps energy but is
// not reciprocal. Its published values check the integrals that the lobe in use
// rests on.

// discIntegral is N(b, s) = integral of exp(-|o - b|^2 / 2 s^2) over the unit disc.
func discIntegral(b, s float64) float64 {
	const n = 4000
	sum := 0.0
	for i := range n {
		c := (float64(i) + 0.5) / n
		d := (b - c) / s
		sum += 2 * math.Pi * c / n * math.Exp(-d*d/2) * besselI0e(b*c/(s*s))
	}
	return sum
}

func TestDiscIntegral(t *testing.T) {
	for sigma, want := range map[float64][]float64{20: {.724761, .652554, .478755, .357795}, 40: {1.822030, 1.555386, 1.203308, 1.006410}} {
		for i, b := range []float64{0, .5, .8, .95} {
			require.InEpsilon(t, want[i], discIntegral(b, sine(sigma)), 1e-5, "sigma %v, b %v", sigma, b)
		}
	}
}

func TestSimpleLobe(t *testing.T) {
	for sigma, want := range map[float64][]float64{
		10: {5.27813, 1.76286, .122709, 3.508e-4, 5.25e-7},
		20: {1.37977, .967235, .405918, .0541205, .00324312},
		40: {.548839, .469712, .312828, .103328, .0140705},
	} {
		s := sine(sigma)
		for i, r := range []float64{0, .25, .5, 1, 2} {
			cos := 1 / math.Sqrt(1+r*r)
			b := r * cos
			got := math.Pow(cos, 4) * math.Exp(-b*b/(2*s*s)) / discIntegral(b, s)
			require.InEpsilon(t, want[i], got, 1e-3, "sigma %v, r %v", sigma, r)
		}
	}
}

// First harmonic over mean of a row, gathered in a band |y| < 0.08 d, as traced
// with 1e8 rays. At 10 degrees the simple lobe and the reciprocal one agree.
func TestFirstHarmonic(t *testing.T) {
	ten := newLobe(sine(10))
	for _, c := range []struct {
		name        string
		q, dp, want float64
	}{
		{"ideal", 1, .5, .3571}, {"ideal", 1, .75, .1022}, {"ideal", 1, 1, .0271},
		{"10 deg", 0, .5, 1.702}, {"10 deg", 0, .75, 1.399}, {"10 deg", 0, 1, 1.0728},
	} {
		p := 1 / c.dp
		re, mean := 0.0, 0.0
		const h = 0.002
		for x := h / 2; x < 40; x += h {
			for j := range 8 {
				y := (float64(j) + 0.5) / 8 * 0.08
				v := kernelAt(ten, 1, c.q, math.Hypot(x, y))
				re += v * math.Cos(2*math.Pi*x/p)
				mean += v
			}
		}
		limit := 0.01
		if c.q == 0 {
			limit = 0.02 // two lobes that differ a little
		}
		require.InEpsilon(t, c.want, 2*re/mean, limit, "%s, d/p %v", c.name, c.dp)
	}
}
