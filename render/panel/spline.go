package panel

import "math"

// Fields between the points of a grid are B-splines: smooth, local, and, with
// the coefficients of prefilter, through the samples. The near grid's are
// quintic: at 0.8 spot widths a step they are as close to a Gaussian as cubic
// ones at 0.6, with little more than half the points. The coarse grids' are
// cubic. Source: M. Unser, "Splines: a perfect fit for signal and image
// processing", IEEE Signal Processing Magazine 16 (1999), table of poles.
var (
	cubicPoles   = []float64{-0.26794919243112270647}
	quinticPoles = []float64{-0.43057534709997379185, -0.04309628820326465382}
)

// A spline's smoothing to second order, in steps squared: (degree+1)/24.
const (
	cubicSmoothing   = 1.0 / 6
	quinticSmoothing = 1.0 / 4
)

// splineWeights are the four cubic weights at t, 0..1, between the second and
// the third of four points.
func splineWeights(t float64) [4]float64 {
	s := 1 - t
	return [4]float64{s * s * s / 6, 2.0/3 - t*t*(2-t)/2, 2.0/3 - s*s*(2-s)/2, t * t * t / 6}
}

// quinticWeights are the six quintic weights at t, 0..1, between the third and
// the fourth of six points.
func quinticWeights(t float64) (w [6]float64) {
	for i := range w {
		w[i] = quintic(math.Abs(t + 2 - float64(i)))
	}
	return w
}

// quintic is the centred quintic B-spline at x >= 0 by truncated powers.
func quintic(x float64) float64 {
	power := func(v float64) float64 {
		if v <= 0 {
			return 0
		}
		return v * v * v * v * v
	}
	return (power(3-x) - 6*power(2-x) + 15*power(1-x)) / 120
}

// refineWeights are the weights that turn coefficients of a coarse grid into
// coefficients of a finer one: the value less a share of the second derivative
// over the fine step, which undoes the smoothing of the fine grid's spline to
// second order. ratio is the fine step over the coarse one.
func refineWeights(t, ratio, smoothing float64) [4]float64 {
	w := splineWeights(t)
	k := ratio * ratio * smoothing
	for i, bend := range [4]float64{1 - t, 3*t - 2, 1 - 3*t, t} {
		w[i] -= k * bend
	}
	return w
}

// prefilter replaces n samples, stride apart, by spline coefficients. Samples
// beyond both ends count as zero, so a patch needs a dark margin; each step of
// margin leaves the pole's share of the error of cutting there.
func prefilter(v []float64, n, stride int, poles []float64) {
	for _, z := range poles {
		gain := (1 - z) * (1 - 1/z)
		for i := 1; i < n; i++ {
			v[i*stride] += z * v[(i-1)*stride]
		}
		// Past the end the forward pass decays as z^k, whose backward sum is this.
		v[(n-1)*stride] *= -z / (1 - z*z) * gain
		for i := n - 2; i >= 0; i-- {
			v[i*stride] = z * (v[(i+1)*stride] - gain*v[i*stride])
		}
	}
}

// prefilterPatch filters a patch of w by h samples in both directions.
func prefilterPatch(v []float64, w, h int, poles []float64) {
	for y := range h {
		prefilter(v[y*w:], w, 1, poles)
	}
	for x := range w {
		prefilter(v[x:], h, w, poles)
	}
}
