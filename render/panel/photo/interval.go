package photo

import "math"

// Confidence is the level of the intervals.
const Confidence = 0.95

// student is the 97.5 % point of Student's t for sectors-1 = 11 degrees of
// freedom: 2.201 (any table of the t distribution).
const student = 2.201

// What a camera does that neither sectors nor residuals show.
const (
	curveError = 0.01  // standard deviation of the exponent by which its curve differs from the encoding
	darkError  = 0.003 // of full scale, in black, at 8 bits: noise is averaged as codes, or cut off
	darkLight  = 0.01  // of full scale, where that fades
)

// intervals says how sure the two values are: by how the sectors differ or by
// what the fit leaves over, whichever is larger, and by what a lens and a camera
// may do unseen.
func (r *Result) intervals(d *data, f *fitted, rings []ring, at []int, coarse bool) {
	r.Scatter.Low, r.Scatter.High = float64(leastScatter), float64(mostScatter)
	r.Lambertian.Low, r.Lambertian.High = 0, 1
	g := d.influence(f)
	if g == nil {
		return
	}
	left := d.left(f)
	half := func(row int) float64 {
		one := func(i int) float64 { return g.At(row, i) }
		v := math.Max(bySector(one, rings, at, d.contrast), byRadius(one, left))
		v = math.Hypot(v, g.At(row, len(left)))
		return student * math.Hypot(v, d.byCamera(one, f, coarse))
	}
	if f.free[lnWidth] {
		h := half(lnWidth)
		r.Scatter.Low = math.Max(float64(scatterOf(math.Exp(f.x[lnWidth]-h))), float64(leastScatter))
		r.Scatter.High = math.Min(float64(scatterOf(math.Exp(math.Min(f.x[lnWidth]+h, 0)))), float64(mostScatter))
		r.Determined = math.Max(r.Scatter.High-r.Scatter.Value, r.Scatter.Value-r.Scatter.Low) < r.Scatter.Value/4
	}
	h := half(unknowns)
	r.Lambertian.Low, r.Lambertian.High = math.Max(r.Lambertian.Value-h, 0), math.Min(r.Lambertian.Value+h, 1)
}

// bySector is the standard error of an unknown by how the sectors' profiles
// differ: noise, a slope, a shadow, a spot that is not round. g is how the
// unknown answers to each ring. Rings too small for sectors count by their noise.
func bySector(g func(int) float64, rings []ring, at []int, contrast float64) float64 {
	var parts [sectors]float64
	small := 0.0
	for k, i := range at {
		q := &rings[i]
		if !q.whole {
			v := g(k) * q.sigma / contrast
			small += v * v
			continue
		}
		for s := range parts {
			parts[s] += g(k) * q.parts[s] / contrast
		}
	}
	mean, sum := 0.0, 0.0
	for _, v := range parts {
		mean += v / sectors
	}
	for _, v := range parts {
		sum += (v - mean) * (v - mean)
	}
	return math.Sqrt(sum/(sectors*(sectors-1)) + small)
}

// byRadius is the standard error of an unknown by what the fit leaves over along
// the radius, in blocks, so that neighbours that err alike count as one: a
// covariance that allows for clusters. It sees what all sectors share.
func byRadius(g func(int) float64, left []float64) float64 {
	const blocks, used = 10, 4 // four unknowns take most of the freedom; the rim is held
	var sums [blocks]float64
	for i, v := range left {
		sums[i*blocks/len(left)] += g(i) * v
	}
	sum := 0.0
	for _, v := range sums {
		sum += v * v
	}
	return math.Sqrt(sum * blocks / (blocks - used))
}

// byCamera is the standard error of an unknown by the camera's curve: an
// exponent, and at 8 bits what happens in black.
func (d *data) byCamera(g func(int) float64, f *fitted, coarse bool) float64 {
	light := d.light(f)
	peak := light[0].all - f.x[ofBase]
	curve, dark := 0.0, 0.0
	for i := range d.value {
		if v := light[i+1].all - f.x[ofBase]; v > 0 {
			curve += g(i) * v * math.Log(v/peak)
		}
		dark += g(i) * math.Exp(-math.Max(d.whole[i]*d.contrast, 0)/darkLight)
	}
	if !coarse {
		dark = 0
	}
	return math.Hypot(curveError*curve, darkError/d.contrast*dark)
}
