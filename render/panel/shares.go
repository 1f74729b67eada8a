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

// patch is one LED's weights on a rectangle of a grid.
type patch struct {
	x, y, w, h int // first column and row in the grid; columns and rows
	v          []float64
}

// around makes a patch that covers the points within reach of a place, and a
// margin, as far as they are on the grid or near it.
func around(m mesh, x, y, reach float64) patch {
	half := int(math.Ceil(reach/m.step)) + margin
	i, j := int(math.Round(x/m.step))-m.x0, int(math.Round(y/m.step))-m.y0
	x0, x1 := max(i-half, -margin), min(i+half+1, m.w+margin)
	y0, y1 := max(j-half, -margin), min(j+half+1, m.h+margin)
	return patch{x: x0, y: y0, w: max(x1-x0, 0), h: max(y1-y0, 0)}
}

// everywhere makes a patch that covers a grid and a margin around it.
func everywhere(m mesh) patch {
	return patch{x: -margin, y: -margin, w: m.w + 2*margin, h: m.h + 2*margin}
}

// sample fills a patch with a function of places in mm, and filters it.
func (q *patch) sample(m mesh, poles []float64, f func(x, y float64) float64) {
	if q.w == 0 || q.h == 0 {
		return // far off the grid
	}
	q.v = make([]float64, q.w*q.h)
	for b := range q.h {
		y := float64(m.y0+q.y+b) * m.step
		for a := range q.w {
			q.v[b*q.w+a] = f(float64(m.x0+q.x+a)*m.step, y)
		}
	}
	prefilterPatch(q.v, q.w, q.h, poles)
}

// radial samples a part around every LED and keeps what matters, up to least of
// the part's middle.
func (g *shares) radial(m mesh, part func(float64) float64, reach, least float64, poles []float64, leds []place) {
	least *= math.Abs(part(0))
	g.pairUp(m, leds, reach/2, least, func(l *place) patch {
		q := around(m, l.x, l.y, reach)
		q.sample(m, poles, func(x, y float64) float64 {
			if r := math.Sqrt((x-l.x)*(x-l.x) + (y-l.y)*(y-l.y)); r < reach {
				return part(r)
			}
			return 0
		})
		return q
	})
}

// whole samples each LED's light on the whole grid: for light that does not
// depend on the distance alone.
func (g *shares) whole(m mesh, poles []float64, leds []place, f func(led int, x, y float64) float64) {
	g.pairUp(m, leds, math.Inf(1), 0, func(l *place) patch {
		q := everywhere(m)
		q.sample(m, poles, func(x, y float64) float64 { return f(int(l.led), x, y) })
		return q
	})
}

// pairUp keeps LEDs' patches, those of neighbours together.
func (g *shares) pairUp(m mesh, leds []place, near, least float64, sample func(l *place) patch) {
	for i := 0; i < len(leds); {
		l := &leds[i]
		a, b := sample(l), patch{}
		pr := pair{a: l.led, b: l.led, first: int32(len(g.spans))}
		i++
		if i < len(leds) && math.Hypot(leds[i].x-l.x, leds[i].y-l.y) < near {
			b = sample(&leds[i])
			pr.b = leds[i].led
			i++
		}
		g.keep(m, a, b, least)
		pr.last = int32(len(g.spans))
		g.pairs = append(g.pairs, pr)
	}
}

// keep adds the rows of a pair, each as long as the longer of the two.
func (g *shares) keep(m mesh, a, b patch, least float64) {
	y0, y1 := a.y, a.y+a.h
	if b.h > 0 {
		y0, y1 = min(y0, b.y), max(y1, b.y+b.h)
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
	lo, hi = max(0, q.x), min(width, q.x+q.w)
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
	if x < 0 || y < 0 || x >= q.w || y >= q.h {
		return 0
	}
	return q.v[y*q.w+x]
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
