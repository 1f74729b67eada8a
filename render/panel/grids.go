package panel

import "math"

// fieldError is the greatest error of a field, as a share of its maximum.
const fieldError = 0.0025

// plan says how a kernel is spread over grids, in units of the spot's width and
// of each other. The values are the cheapest of a search that keep the field
// within fieldError of the direct sum; TestFieldError holds them to it.
type plan struct {
	near  float64 // step of the near grid, in spot widths
	split float64 // where the near grid's share of the kernel ends, in spot widths
	grow  float64 // each coarser split over the one before
	cells float64 // steps of a coarser grid in the split below it
	faint float64 // ... as long as this part's peak is below this share of the kernel's
	last  int     // a grid of at most as many points takes the whole tail
	least float64 // weights below this share of the greatest are left out
}

var fieldPlan = plan{near: 0.65, split: 5.5, grow: 3, cells: 2.25, faint: 0.02, last: 700, least: 3e-4}

// grids are a kernel, cut into a sharp short part and ever smoother, longer
// ones, each on a grid just fine enough for it:
//
//	kernel = near (0..R1) + coarse 1 (0..R2) + ... + coarse n (everywhere)
//
// At every split R the smoother part goes on inside R as the quadratic in r^2
// that keeps value, slope and curvature, so no part has an edge.
//
// The near part is kept as weights per LED, those of neighbours side by side:
// two at a time touch the same points half as often. A coarse part works between the
// points of its own grid: LEDs are spread to 16 points each, one stencil that
// is the same everywhere carries light from point to point, and the result is
// refined into the next finer grid. Where LEDs are fewer than a coarse grid's
// points, its part is kept as weights per LED too.
type grids struct {
	near   mesh
	shares shares   // of the near part
	coarse []coarse // from fine to coarse
}

// mesh is a grid of points (x0+i, y0+j) * step, in millimetres.
type mesh struct {
	step   float64
	x0, y0 int
	w, h   int
}

// coarse is one of the smooth parts.
type coarse struct {
	mesh
	few     bool // LEDs: shares take the place of spread and stencil
	shares  shares
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

// views are the six weights of a place on the near grid, from a first point on.
type views struct {
	at int32
	w  [6]float32
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
// its core's standard width.
func newGrids(p plan, kernel func(r float64) float64, spot, width, height float64, x, y []float64) *grids {
	g := &grids{}
	lox, hix, loy, hiy := 0.0, width, 0.0, height
	for i := range x {
		lox, hix = math.Min(lox, x[i]), math.Max(hix, x[i])
		loy, hiy = math.Min(loy, y[i]), math.Max(hiy, y[i])
	}
	g.near = newMesh(p.near*spot, 0, width, 0, height, 0, 2)
	split := p.split * spot
	smooth := newTail(kernel, split)
	g.shares.tabulate(g.near, func(r float64) float64 { return kernel(r) - smooth.at(r) }, split, p.least, quinticPoles, x, y)
	fine, smoothing := g.near, quinticSmoothing
	for {
		// A coarse grid's error falls with the fourth power of its step, and counts
		// by its share of the whole kernel's peak.
		cells := p.cells * math.Sqrt(math.Sqrt(math.Max(1, smooth.at(0)/kernel(0)/p.faint)))
		c := coarse{mesh: newMesh(split/cells, lox, hix, loy, hiy, 3*fine.step, 1)}
		next := newTail(kernel, split*p.grow)
		part, reach := func(r float64) float64 { return smooth.at(r) - next.at(r) }, next.r0
		last := c.w*c.h <= p.last
		if last {
			part, reach = smooth.at, c.step*float64(c.w+c.h)
		}
		if side := int(2 * reach / c.step); len(x) < c.w*c.h/4 && len(x)*side*side < fewSamples {
			c.few = true
			c.shares.tabulate(c.mesh, part, reach, p.least/coarseLeast, cubicPoles, x, y)
		} else {
			c.tabulate(part, reach, p.least/coarseLeast)
			c.place(x, y)
		}
		c.toFineX = c.refine(fine.x0, fine.w, c.x0, c.w, fine.step, smoothing)
		c.toFineY = c.refine(fine.y0, fine.h, c.y0, c.h, fine.step, smoothing)
		g.coarse = append(g.coarse, c)
		if last {
			return g
		}
		smooth, split, fine, smoothing = next, split*p.grow, c.mesh, cubicSmoothing
	}
}

// fewSamples bounds the work of building a coarse grid's weights per LED.
const fewSamples = 2_000_000

// coarseLeast: a smooth part's tail is faint and large. Cut as the near part is,
// it would take 0.5 % of all light.
const coarseLeast = 300

// newMesh covers a rectangle, widened by a margin, with the points that a
// spline needs around every place: side more than the two beside it.
func newMesh(step, lox, hix, loy, hiy, margin float64, side int) mesh {
	m := mesh{step: step}
	m.x0 = int(math.Floor((lox-margin)/step)) - side
	m.y0 = int(math.Floor((loy-margin)/step)) - side
	m.w = int(math.Floor((hix+margin)/step)) + side + 2 - m.x0
	m.h = int(math.Floor((hiy+margin)/step)) + side + 2 - m.y0
	return m
}

// margin is how many points of darkness a patch gets around its samples, so
// that the prefilter has died away: 0.43^6 is 0.006 of a value that is itself
// near zero there.
const margin = 6

// tabulate makes the stencil: the kernel from point to point, filtered once for
// the spline that spreads the LEDs and once for the one that is read.
func (c *coarse) tabulate(part func(float64) float64, reach, least float64) {
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
	prefilterPatch(patch, n, n, cubicPoles)
	prefilterPatch(patch, n, n, cubicPoles)
	least *= math.Abs(patch[half*n+half])
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
func (c *coarse) refine(fine0, n, coarse0, width int, step, smoothing float64) []taps {
	t := make([]taps, n)
	for i := range t {
		u := float64(fine0+i) * step / c.step
		iu := math.Floor(u)
		t[i].at = int32(min(max(int(iu)-1-coarse0, 0), width-4))
		for k, w := range refineWeights(u-iu, step/c.step, smoothing) {
			t[i].w[k] = float32(w)
		}
	}
	return t
}
