package panel

import "math"

// shares are LEDs' weights on the points of a grid.
type shares struct {
	pairs  []pair
	spans  []span    // of all pairs, row by row
	weight []weights // of all spans
}

// pair is two LEDs, or one and itself with no weight, and their rows.
type pair struct {
	a, b        int32
	first, last int32 // spans[first:last]
}

// weights are a point's share of the light of a pair's LEDs.
type weights [2]float32

// span is one row of a pair's weights on the near grid.
type span struct {
	at     int32 // first point in the grid
	n      int32
	weight int32 // of the first point
}

// patch is one LED's weights on a square of the near grid.
type patch struct {
	x, y, n int // first column and row in the grid
	w       []float64
}

// tabulate samples a part around every LED and keeps what matters.
func (g *shares) tabulate(m mesh, part func(float64) float64, reach, least float64, poles []float64, x, y []float64) {
	half := int(math.Ceil(reach/m.step)) + margin
	least *= math.Abs(part(0))
	sample := func(led int) patch {
		h := m.step
		ci, cj := int(math.Round(x[led]/h)), int(math.Round(y[led]/h))
		q := patch{x: ci - half - m.x0, y: cj - half - m.y0, n: 2*half + 1}
		q.w = make([]float64, q.n*q.n)
		for b := range q.n {
			dy := float64(cj-half+b)*h - y[led]
			for a := range q.n {
				dx := float64(ci-half+a)*h - x[led]
				if r := math.Sqrt(dx*dx + dy*dy); r < reach {
					q.w[b*q.n+a] = part(r)
				}
			}
		}
		prefilterPatch(q.w, q.n, q.n, poles)
		return q
	}
	for i := 0; i < len(x); {
		a := sample(i)
		b := patch{}
		pr := pair{a: int32(i), b: int32(i), first: int32(len(g.spans))}
		i++
		if i < len(x) && math.Hypot(x[i]-x[i-1], y[i]-y[i-1]) < reach/2 {
			b = sample(i)
			pr.b = int32(i)
			i++
		}
		g.keep(m, a, b, least)
		pr.last = int32(len(g.spans))
		g.pairs = append(g.pairs, pr)
	}
}

// keep adds the rows of a pair, each as long as the longer of the two.
func (g *shares) keep(m mesh, a, b patch, least float64) {
	y0, y1 := a.y, a.y+a.n
	if b.n > 0 {
		y0, y1 = min(y0, b.y), max(y1, b.y+b.n)
	}
	for y := max(y0, 0); y < min(y1, m.h); y++ {
		loA, hiA := a.extent(y, m.w, least)
		loB, hiB := b.extent(y, m.w, least)
		lo, hi := min(loA, loB), max(hiA, hiB)
		if lo >= hi {
			continue
		}
		g.spans = append(g.spans, span{at: int32(y*m.w + lo), n: int32(hi - lo), weight: int32(len(g.weight))})
		for x := lo; x < hi; x++ {
			g.weight = append(g.weight, weights{float32(a.at(x, y)), float32(b.at(x, y))})
		}
	}
}

// extent is the part of a grid's row where a patch matters; an empty one is
// returned as (large, 0).
func (q *patch) extent(y, width int, least float64) (lo, hi int) {
	lo, hi = max(0, q.x), min(width, q.x+q.n)
	for lo < hi && math.Abs(q.at(lo, y)) < least {
		lo++
	}
	for lo < hi && math.Abs(q.at(hi-1, y)) < least {
		hi--
	}
	if lo >= hi {
		return math.MaxInt, 0
	}
	return lo, hi
}

// at is a weight, 0 outside the patch.
func (q *patch) at(x, y int) float64 {
	x, y = x-q.x, y-q.y
	if x < 0 || y < 0 || x >= q.n || y >= q.n {
		return 0
	}
	return q.w[y*q.n+x]
}

// scatter adds the near light of a pair of LEDs.
func (g *shares) scatter(dst []light, i int, l, m *light) {
	p := &g.pairs[i]
	a, b, c := l[0], l[1], l[2]
	d, e, f := m[0], m[1], m[2]
	for _, sp := range g.spans[p.first:p.last] {
		w := g.weight[sp.weight : sp.weight+sp.n]
		row := dst[sp.at : sp.at+sp.n]
		row = row[:len(w)]
		for x := range w {
			j, k := w[x][0], w[x][1]
			p := &row[x]
			p[0] += float32(j*a) + float32(k*d)
			p[1] += float32(j*b) + float32(k*e)
			p[2] += float32(j*c) + float32(k*f)
		}
	}
}
