package panel

// Fields between the points of a grid are cubic B-splines: smooth to the second
// derivative, local, and, with the coefficients of prefilter, through the
// samples. Source: M. Unser, "Splines: a perfect fit for signal and image
// processing", IEEE Signal Processing Magazine 16 (1999).

// splinePole is the pole of the cubic B-spline's inverse filter, sqrt(3) - 2.
const splinePole = -0.26794919243112270647

// splineWeights are the four weights at t, 0..1, between the second and the
// third of four points.
func splineWeights(t float64) [4]float64 {
	s := 1 - t
	return [4]float64{s * s * s / 6, 2.0/3 - t*t*(2-t)/2, 2.0/3 - s*s*(2-s)/2, t * t * t / 6}
}

// refineWeights are the weights that turn coefficients of a coarse grid into
// coefficients of a finer one: the value less a sixth of the second derivative
// over the fine step, which undoes the smoothing of the fine grid's spline to
// second order. ratio is the fine step over the coarse one.
func refineWeights(t, ratio float64) [4]float64 {
	w := splineWeights(t)
	k := ratio * ratio / 6
	for i, bend := range [4]float64{1 - t, 3*t - 2, 1 - 3*t, t} {
		w[i] -= k * bend
	}
	return w
}

// prefilter replaces n samples, stride apart, by spline coefficients. Samples
// beyond both ends count as zero, so a patch needs a dark margin; each step of
// margin leaves 0.27 of the error of cutting there.
func prefilter(v []float64, n, stride int) {
	for i := 1; i < n; i++ {
		v[i*stride] += splinePole * v[(i-1)*stride]
	}
	// Past the end the forward pass decays as pole^k, whose backward sum is this.
	last := v[(n-1)*stride]
	v[(n-1)*stride] = -6 * splinePole / (1 - splinePole*splinePole) * last
	for i := n - 2; i >= 0; i-- {
		v[i*stride] = splinePole * (v[(i+1)*stride] - 6*v[i*stride])
	}
}

// prefilterPatch filters a patch of w by h samples in both directions.
func prefilterPatch(v []float64, w, h int) {
	for y := range h {
		prefilter(v[y*w:], w, 1)
	}
	for x := range w {
		prefilter(v[x:], h, w)
	}
}
