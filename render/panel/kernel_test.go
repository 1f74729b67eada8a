package panel

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/unit"
)

// The exported lobe is the one that fields are made of.
func TestLobeIsTheModels(t *testing.T) {
	const fwhm = 20 * 2.3548200450309493 // sigma 20
	l, err := NewLobe(fwhm)
	require.NoError(t, err)
	order, err := Order(60)
	require.NoError(t, err)
	require.InDelta(t, 1, order, 1e-12)
	for _, r := range []float64{0, .25, .5, 1, 2} {
		b := r / math.Sqrt(1+r*r)
		f := l.Balance(0) * l.Balance(b) * math.Exp(-b*b/(2*l.Width()*l.Width()))
		require.InEpsilon(t, kernelAt(newLobe(sine(20)), order, 0, r), f*math.Pow(1+r*r, -2), 1e-9)
	}
	for _, bad := range []unit.Angle{0, -1, 180, unit.Angle(math.NaN())} {
		_, err := NewLobe(bad)
		require.ErrorContains(t, err, "outside 0 to 180 deg")
		_, err = Order(bad)
		require.ErrorContains(t, err, "outside 0 to 90 deg")
	}
	// m of a half angle, from tables of LED optics: 45 deg is cos^2.
	order, err = Order(45)
	require.NoError(t, err)
	require.InDelta(t, 2, order, 1e-12)
}
