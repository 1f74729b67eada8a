package panel

import "math"

// plan says how a kernel is spread over grids, in units of the spot's width and
// of each other. The values are the cheapest of a search that keep the field
// within fieldError of the direct sum; TestFieldError holds them to it.
type plan struct {
	near  float64 // step of the near grid, in spot widths
	split float64 // where the near grid's share of the kernel ends, in spot widths
	grow  float64 // each coarser split over the one before
	cells float64 // steps of a coarser grid in the split below it
	reach float64 // the last split lies beyond this, in depths
	least float64 // weights below this share of the greatest are left out
}

var fieldPlan = plan{near: 0.6, split: 6, grow: 3, cells: 2.5, reach: 6, least: 2e-5}

// grids are a kernel, cut into a sharp short part and ever smoother, longer
// ones, each on a grid just fine enough for it:
//
//	kernel = near (0..R1) + coarse 1 (0..R2) + ... + coarse n (everywhere)
//
// At every split R the smoother part goes on inside R as the quadratic in r^2
// that keeps value, slope and curvature, so no part has an edge.
//
// The near part is kept as weights per LED. A coarse part works between the
// points of its own grid: LEDs are spread to 16 points each, one stencil that
// is the same everywhere carries light from point to point, and the result is
// refined into the next finer grid.
type grids struct {
	near   mesh
	spans  []span    // of all LEDs, row by row
	first  []int32   // LED i has rows spans[first[i]:first[i+1]]
	weight []float32 // of all spans
	coarse []coarse  // from fine to coarse
}

// mesh is a grid of points (x0+i, y0+j) * step, in millimetres.
type mesh struct {
	step   float64
	x0, y0 int
	w, h   int
}

// span is one row of an LED's weights on the near grid.
type span struct {
	at     int32 // first point in the grid
	n      int32
	weight int32 // of the first point
}

// coarse is one of the smooth parts.
type coarse struct {
	mesh
	stencil [][]float32 // [dy >= 0][2 reach + 1]: the same for -dy
	reach   []int       // of each stencil row
	cellX   []int32     // of every LED: the first of four columns
	cellY   []int32
	spread  [][8]float32 // four weights in x, four in y
	toFineX []taps       // of the finer grid's columns
	toFineY []taps
}

// taps are four weights from a first point on.
type taps struct {
	at int32
	w  [4]float32
}

// tail is a kernel that goes on as a quadratic in r^2 inside r0.
type tail struct {
	of      func(r float64) float64
	r0      float64
	a, b, c float64 // a + b q + c q^2, q = (r/r0)^2 - 1
}

func newTail(of func(float64) float64, r0 float64) tail {
	// Derivatives by r^2 from three values around r0, in units of r0^2.
	const e = 0.02
	lo, mid, hi := of(r0*math.Sqrt(1-e)), of(r0), of(r0*math.Sqrt(1+e))
	return tail{of: of, r0: r0, a: mid, b: (hi - lo) / (2 * e), c: (hi - 2*mid + lo) / (2 * e * e)}
}

func (t *tail) at(r float64) float64 {
	if r >= t.r0 {
		return t.of(r)
	}
	q := r*r/(t.r0*t.r0) - 1
	return t.a + q*(t.b+q*t.c)
}

// newGrids builds the grids of a panel. kernel is in any unit, r in mm; spot is
// its core's standard width and depth its tail's scale.
func newGrids(p plan, kernel func(r float64) float64, spot, depth, width, height float64, x, y []float64) *grids {
	g := &grids{}
	lox, hix, loy, hiy := 0.0, width, 0.0, height
	for i := range x {
		lox, hix = math.Min(lox, x[i]), math.Max(hix, x[i])
		loy, hiy = math.Min(loy, y[i]), math.Max(hiy, y[i])
	}
	g.near = newMesh(p.near*spot, 0, width, 0, height, 0)
	split := p.split * spot
	smooth := newTail(kernel, split)
	g.tabulateNear(p, func(r float64) float64 { return kernel(r) - smooth.at(r) }, split, x, y)
	fine := g.near
	for {
		c := coarse{mesh: newMesh(split/p.cells, lox, hix, loy, hiy, 2*fine.step)}
		next := newTail(kernel, split*p.grow)
		part, reach := func(r float64) float64 { return smooth.at(r) - next.at(r) }, next.r0
		last := split*p.grow >= p.reach*depth
		if last {
			part, reach = smooth.at, c.step*float64(c.w+c.h)
		}
		c.tabulate(p, part, reach)
		c.place(x, y)
		c.toFineX = c.refine(fine.x0, fine.w, c.x0, c.w, fine.step)
		c.toFineY = c.refine(fine.y0, fine.h, c.y0, c.h, fine.step)
		g.coarse = append(g.coarse, c)
		if last {
			return g
		}
		smooth, split, fine = next, split*p.grow, c.mesh
	}
}

// newMesh covers a rectangle, widened by a margin, with the four points that a
// spline needs around every place.
func newMesh(step, lox, hix, loy, hiy, margin float64) mesh {
	m := mesh{step: step}
	m.x0 = int(math.Floor((lox-margin)/step)) - 1
	m.y0 = int(math.Floor((loy-margin)/step)) - 1
	m.w = int(math.Floor((hix+margin)/step)) + 3 - m.x0
	m.h = int(math.Floor((hiy+margin)/step)) + 3 - m.y0
	return m
}

// margin is how many points of darkness a patch gets around its samples, so
// that the prefilter has died away: 0.27^5 is 0.0014 of a value that is itself
// near zero there.
const margin = 5

// tabulateNear samples the near part around every LED and keeps what matters.
func (g *grids) tabulateNear(p plan, part func(float64) float64, reach float64, x, y []float64) {
	h := g.near.step
	half := int(math.Ceil(reach/h)) + margin
	n := 2*half + 1
	least := p.least * part(0)
	patch := make([]float64, n*n)
	g.first = make([]int32, len(x)+1)
	for i := range x {
		ci, cj := int(math.Round(x[i]/h)), int(math.Round(y[i]/h))
		for b := range n {
			dy := float64(cj-half+b)*h - y[i]
			for a := range n {
				dx := float64(ci-half+a)*h - x[i]
				r := math.Sqrt(dx*dx + dy*dy)
				patch[b*n+a] = 0
				if r < reach {
					patch[b*n+a] = part(r)
				}
			}
		}
		prefilterPatch(patch, n, n)
		for b := range n {
			row := cj - half + b - g.near.y0
			if row < 0 || row >= g.near.h {
				continue
			}
			left := ci - half - g.near.x0 // column of the patch's first point
			lo, hi := max(0, -left), min(n, g.near.w-left)
			v := patch[b*n : (b+1)*n]
			for lo < hi && math.Abs(v[lo]) < least {
				lo++
			}
			for lo < hi && math.Abs(v[hi-1]) < least {
				hi--
			}
			if lo >= hi {
				continue
			}
			g.spans = append(g.spans, span{at: int32(row*g.near.w + left + lo), n: int32(hi - lo), weight: int32(len(g.weight))})
			for _, w := range v[lo:hi] {
				g.weight = append(g.weight, float32(w))
			}
		}
		g.first[i+1] = int32(len(g.spans))
	}
}

// tabulate makes the stencil: the kernel from point to point, filtered once for
// the spline that spreads the LEDs and once for the one that is read.
func (c *coarse) tabulate(p plan, part func(float64) float64, reach float64) {
	half := int(math.Ceil(reach/c.step)) + margin
	n := 2*half + 1
	patch := make([]float64, n*n)
	for b := range n {
		for a := range n {
			r := c.step * math.Hypot(float64(a-half), float64(b-half))
			if r < reach {
				patch[b*n+a] = part(r)
			}
		}
	}
	prefilterPatch(patch, n, n)
	prefilterPatch(patch, n, n)
	least := p.least * math.Abs(patch[half*n+half])
	for dy := 0; dy <= half && dy < c.h; dy++ {
		row := patch[(half+dy)*n : (half+dy+1)*n]
		k := min(half, c.w-1)
		for k >= 0 && math.Abs(row[half+k]) < least {
			k--
		}
		var s []float32
		for dx := -k; dx <= k; dx++ {
			s = append(s, float32(row[half+dx]))
		}
		c.stencil, c.reach = append(c.stencil, s), append(c.reach, k)
	}
}

// place finds the points that each LED spreads to.
func (c *coarse) place(x, y []float64) {
	c.cellX, c.cellY, c.spread = make([]int32, len(x)), make([]int32, len(x)), make([][8]float32, len(x))
	for i := range x {
		u, v := x[i]/c.step, y[i]/c.step
		iu, iv := math.Floor(u), math.Floor(v)
		c.cellX[i], c.cellY[i] = int32(int(iu)-1-c.x0), int32(int(iv)-1-c.y0)
		wx, wy := splineWeights(u-iu), splineWeights(v-iv)
		for k := range 4 {
			c.spread[i][k], c.spread[i][4+k] = float32(wx[k]), float32(wy[k])
		}
	}
}

// refine makes the taps of a finer grid's points in one direction.
func (c *coarse) refine(fine0, n, coarse0, width int, step float64) []taps {
	t := make([]taps, n)
	for i := range t {
		u := float64(fine0+i) * step / c.step
		iu := math.Floor(u)
		t[i].at = int32(min(max(int(iu)-1-coarse0, 0), width-4))
		for k, w := range refineWeights(u-iu, step/c.step) {
			t[i].w[k] = float32(w)
		}
	}
	return t
}
