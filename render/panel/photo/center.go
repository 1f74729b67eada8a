package photo

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// window is the part of a photo around the spot at a size that is quick to work
// with: the spot's half width is ten of its pixels or more where the photo has
// them.
type window struct {
	*plane
	n      int     // photo pixels to one of these, along a side
	off    float64 // of one of these from the first of its photo pixels
	x0, y0 int     // of its corner in the photo
	cx, cy float64 // the spot's middle in it
	slopeX float64 // of the background, per pixel
	slopeY float64
	longer float64 // by which the spot is longer than wide
	reach  float64 // radius that is looked at
}

// newWindow cuts out what is within a radius, in pixels of the photo. Where the
// dark is cut off it takes single pixels instead of means.
func newWindow(p *plane, s *spot, reach float64, black bool) *window {
	n := max(1, int(s.half/10))
	x0, x1 := max(0, int(s.x-reach)), min(p.w, int(s.x+reach)+2)
	y0, y1 := max(0, int(s.y-reach)), min(p.h, int(s.y+reach)+2)
	w := &window{n: n, x0: x0, y0: y0, reach: reach / float64(n)}
	w.plane = p.binned(x0, y0, x1, y1, n, black)
	if !black {
		w.off = float64(n-1) / 2
	}
	w.cx, w.cy = (s.x-float64(x0)-w.off)/float64(n), (s.y-float64(y0)-w.off)/float64(n)
	return w
}

// photo turns a place of the window into one of the photo.
func (w *window) photo(x, y float64) (float64, float64) {
	return float64(w.x0) + float64(w.n)*x + w.off, float64(w.y0) + float64(w.n)*y + w.off
}

// profile is the median of rings one pixel wide, slope taken off. Rings without
// an unclipped pixel are NaN.
func (w *window) profile() []float64 {
	rings := make([][]float64, int(w.reach)+2)
	w.each(func(_, _ int, _, _, r, v float64) {
		if i := int(r + 0.5); i < len(rings) {
			rings[i] = append(rings[i], v)
		}
	})
	out := make([]float64, len(rings))
	for i := range out {
		out[i] = quantile(rings[i], 0.5)
	}
	if math.IsNaN(out[0]) && len(out) > 1 {
		out[0] = out[1] // no pixel's middle lies within half a pixel: the top is flat
	}
	return out
}

// each visits the unclipped pixels within reach: their place, their place from
// the middle, radius, and light less the slope.
func (w *window) each(visit func(x, y int, dx, dy, r, v float64)) {
	for y := range w.h {
		dy := float64(y) - w.cy
		for x, v := range w.v[y*w.w : (y+1)*w.w] {
			dx := float64(x) - w.cx
			r := math.Hypot(dx, dy)
			if r > w.reach || clipped(v) {
				continue
			}
			visit(x, y, dx, dy, r, float64(v)-w.slopeX*dx-w.slopeY*dy)
		}
	}
}

// curve is a profile between its rings.
type curve []float64

func (c curve) at(r float64) (value, slope float64) {
	i := min(int(r), len(c)-2)
	t := r - float64(i)
	value = c[i] + t*(c[i+1]-c[i])
	lo, hi := max(i-1, 0), min(i+2, len(c)-1)
	slope = (c[hi] - c[lo]) / float64(hi-lo)
	return value, slope
}

// center moves the middle and the background's slope until no ring has a first
// harmonic left, and finds how much longer than wide the spot is from its
// second. A step is weighted least squares over the pixels: a shift by d along
// an angle changes a pixel's light by -slope d cos, a stretch by e along it by
// -slope r e/2 cos 2.
func (w *window) center() {
	const terms = 6
	for range 6 {
		c := curve(w.profile())
		// Pixels far off the profile count less (Huber): noise and whatever
		// lies beside the spot.
		var left []float64
		every, n := max(1, len(w.v)/20000), 0
		w.each(func(_, _ int, _, _, r, v float64) {
			if n++; n%every != 0 {
				return
			}
			if value, _ := c.at(r); !math.IsNaN(value) {
				left = append(left, math.Abs(v-value))
			}
		})
		limit := 2*1.4826*quantile(left, 0.5) + 1e-9
		var sum [terms][terms]float64
		var right [terms]float64
		w.each(func(_, _ int, dx, dy, r, v float64) {
			value, slope := c.at(r)
			if math.IsNaN(value) || math.IsNaN(slope) || r == 0 {
				return
			}
			e := v - value
			weight := 1.0
			if math.Abs(e) > limit {
				weight = limit / math.Abs(e)
			}
			cos, sin := dx/r, dy/r
			f := [terms]float64{-slope * cos, -slope * sin, dx / w.reach, dy / w.reach, -slope * r / 2 * (cos*cos - sin*sin), -slope * r * cos * sin}
			for i := range f {
				g := weight * f[i]
				right[i] += g * e
				for j := i; j < terms; j++ {
					sum[i][j] += g * f[j]
				}
			}
		})
		a := mat.NewSymDense(terms, nil)
		b := mat.NewVecDense(terms, right[:])
		for i := range sum {
			for j := i; j < terms; j++ {
				a.SetSym(i, j, sum[i][j])
			}
		}
		var chol mat.Cholesky
		var x mat.VecDense
		if !chol.Factorize(a) || chol.SolveVecTo(&x, b) != nil {
			return
		}
		most := 0.3 * w.reach
		sx, sy := math.Min(math.Max(x.AtVec(0), -most), most), math.Min(math.Max(x.AtVec(1), -most), most)
		w.cx, w.cy = w.cx+sx, w.cy+sy
		w.slopeX += x.AtVec(2) / w.reach
		w.slopeY += x.AtVec(3) / w.reach
		w.longer = math.Hypot(x.AtVec(4), x.AtVec(5))
		if math.Hypot(sx, sy) < 0.002 {
			return
		}
	}
}

// clippedWithin is the share of pixels within a radius that are clipped.
func (w *window) clippedWithin(r float64) float64 {
	n, all := 0, 0
	for y := range w.h {
		for x, v := range w.v[y*w.w : (y+1)*w.w] {
			if math.Hypot(float64(x)-w.cx, float64(y)-w.cy) <= r {
				all++
				if clipped(v) {
					n++
				}
			}
		}
	}
	if all == 0 {
		return 0
	}
	return float64(n) / float64(all)
}
