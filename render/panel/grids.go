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

// grids are the panel's light, cut into a sharp short part and ever smoother,
// longer ones, each on a grid just fine enough for it:
//
//	kernel = near (0..R1) + coarse 1 (0..R2) + ... + coarse n (everywhere)
//
// At every split R the smoother part goes on inside R as the quadratic in r^2
// that keeps value, slope and curvature, so no part has an edge. All strips
// share the grids, whose steps suit the finest spot; what differs in depth or
// angle has its own weights on them.
//
// The near part is kept as weights per LED, those of neighbours side by side:
// two at a time touch the same points half as often. A coarse part works between the
// points of its own grid: LEDs are spread to 16 points each, one stencil that
// is the same everywhere carries light from point to point, and the result is
// refined into the next finer grid. Where LEDs are fewer than a coarse grid's
// points, its part is kept as weights per LED too. Light that does not depend on
// the distance alone (tilted LEDs, a viewer near by) has all its weights on the
// near grid.
type grids struct {
	near   mesh
	levels []level // from fine to coarse
	strips []*stripGrids
	kinds  []*kind
	light  []int // by strip: its kind, -1 where it has all its light on the near grid
	reused int   // strips taken over from a panel like this one
}

// level is one of the coarse grids.
type level struct {
	mesh
	toFineX []taps // of the finer grid's columns
	toFineY []taps
}

// kind is the coarse parts of strips whose LEDs are alike.
type kind struct {
	source *source
	parts  []stencil // by level
}

// stencil is a kind's part on one level.
type stencil struct {
	few   bool        // LEDs: shares take the place of spread and weights
	rows  [][]float32 // [dy >= 0][2 reach + 1]: the same for -dy
	reach []int       // of each row
	part  func(r float64) float64
	ends  float64 // mm
}

// stripGrids are one strip's weights. They are never changed once made.
type stripGrids struct {
	source *source
	leds   []place
	near   shares
	coarse []stripLevel
}

// stripLevel is a strip's weights on one level: shares where LEDs are few, or
// the points that each LED spreads to.
type stripLevel struct {
	shares shares
	led    []int32
	cellX  []int32 // of every LED: the first of four columns
	cellY  []int32
	spread [][8]float32 // four weights in x, four in y
}

// place is one LED's, in mm.
type place struct {
	led  int32
	x, y float64
}

// mesh is a grid of points (x0+i, y0+j) * step, in millimetres.
type mesh struct {
	step   float64
	x0, y0 int
	w, h   int
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

// greatest is the tail's greatest value inside r0, without its sign: the quadratic may
// pass through zero in the middle and be large around it.
func (t *tail) greatest() float64 {
	most := math.Max(math.Abs(t.at(0)), math.Abs(t.a))
	if t.c != 0 {
		if q := -t.b / (2 * t.c); q > -1 && q < 0 {
			most = math.Max(most, math.Abs(t.a+q*(t.b+q*t.c)))
		}
	}
	return most
}
