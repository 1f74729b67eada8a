package photo

import (
	"math"
	"slices"
)

// sectors is into how many the spot is divided, to see how they differ.
const sectors = 12

// ring is one point of the radial profile, in light of the photo's full scale.
type ring struct {
	r     float64          // median radius, in photo pixels
	value float64          // median light, slope taken off
	sigma float64          // its standard error by the noise of its pixels
	n     int              // unclipped pixels
	parts [sectors]float64 // how far each sector's median lies from that of all
	whole bool             // every sector has pixels enough for that
	clip  float64          // share of its pixels that are clipped
}

// gathered are the pixels of one ring.
type gathered struct {
	lo, hi float64
	v, r   []float64 // of the unclipped ones
	sector []uint8
	clip   int
	e      []float64 // v less the profile
}

func (g *gathered) all() int { return len(g.v) + g.clip }

// gather sorts the pixels into rings: one pixel wide, wider far out. It leaves
// out empty rings and ends where less than half of a ring lies in the picture.
func (w *window) gather() []gathered {
	got := []gathered{{lo: 0, hi: 0.5}}
	for r := 0.5; r < w.reach; {
		next := r + math.Max(1, r/20)
		got = append(got, gathered{lo: r, hi: next})
		r = next
	}
	last := got[len(got)-1].hi
	of := make([]int, int(last*4)+1) // ring by quarters of a pixel, then looked at closely
	k := 0
	for i := range of {
		for k+1 < len(got) && float64(i)/4 >= got[k].hi {
			k++
		}
		of[i] = k
	}
	for y := range w.h {
		dy := float64(y) - w.cy
		for x, v := range w.v[y*w.w : (y+1)*w.w] {
			dx := float64(x) - w.cx
			r := math.Hypot(dx, dy)
			if r >= last {
				continue
			}
			i := of[int(r*4)]
			for r >= got[i].hi {
				i++
			}
			g := &got[i]
			if clipped(v) {
				g.clip++
				continue
			}
			g.v = append(g.v, float64(v)-w.slopeX*dx-w.slopeY*dy)
			g.r = append(g.r, r)
			g.sector = append(g.sector, uint8(int((math.Atan2(dy, dx)/(2*math.Pi)+1)*sectors)%sectors))
		}
	}
	for i := range got {
		g := &got[i]
		if inside := float64(g.all()) / (math.Pi * (g.hi*g.hi - g.lo*g.lo)); i > 3 && inside < 0.5 {
			got = got[:i]
			break
		}
	}
	return slices.DeleteFunc(got, func(g gathered) bool { return g.all() == 0 })
}

// rings are the profile from the middle outwards.
func (w *window) rings() []ring {
	got := w.gather()
	out := make([]ring, len(got))
	for i := range got {
		g, q := &got[i], &out[i]
		q.n, q.clip, q.r = len(g.v), float64(g.clip)/float64(g.all()), (g.lo+g.hi)/2
		if q.n > 0 {
			// Light falls outwards, so that the median of the light is the light at
			// the median of the radii, however steep it falls.
			q.r, q.value = quantile(slices.Clone(g.r), 0.5), quantile(slices.Clone(g.v), 0.5)
		}
	}
	// Less the profile itself, a ring's width counts neither as noise nor as a
	// difference of sectors.
	for i := range got {
		g := &got[i]
		for j := range g.v {
			g.e = append(g.e, g.v[j]-lightAt(out, i, g.r[j]))
		}
	}
	for i := range out {
		if out[i].n > 0 {
			out[i].judge(got, i)
		}
	}
	for i := range out {
		out[i].r *= float64(w.n)
	}
	return out
}

// lightAt is the profile at a radius in or near ring i, straight from one ring
// to the next.
func lightAt(rings []ring, i int, r float64) float64 {
	j := i + 1
	if r < rings[i].r && i > 0 || j == len(rings) {
		j = i - 1
	}
	if j < 0 || rings[j].n == 0 {
		return rings[i].value
	}
	a, b := &rings[i], &rings[j]
	if a.r == b.r {
		return a.value
	}
	return a.value + (r-a.r)/(b.r-a.r)*(b.value-a.value)
}

// leastPool is from how many pixels a ring's noise is estimated.
const leastPool = 60

// judge says how sure a ring's value is.
func (q *ring) judge(got []gathered, i int) {
	g := &got[i]
	// The noise of a few pixels is told by those around as well. A ring's pixels
	// are counted from its own median, which takes one of them away.
	pool := slices.Clone(g.e)
	for k := 1; len(pool) < leastPool && k < len(got); k++ {
		for _, j := range []int{i - k, i + k} {
			if j >= 0 && j < len(got) {
				pool = append(pool, got[j].e...)
			}
		}
	}
	n := float64(q.n)
	q.sigma = 1.2533 * spread(pool) / math.Sqrt(math.Max(n-1, n/2)) // of a median: sqrt(pi/2) that of a mean
	var parts [sectors][]float64
	for j, e := range g.e {
		parts[g.sector[j]] = append(parts[g.sector[j]], e)
	}
	middle := quantile(slices.Clone(g.e), 0.5)
	q.whole = true
	for s := range parts {
		q.whole = q.whole && len(parts[s]) >= 3
	}
	for s := range parts {
		if q.whole {
			q.parts[s] = quantile(parts[s], 0.5) - middle
		}
	}
}
