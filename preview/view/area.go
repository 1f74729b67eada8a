package view

import (
	"image/color"
	"math"
	"slices"

	"github.com/hajimehoshi/ebiten/v2"

	"paneglow/preview/model"
)

// area fills a polygon of any form; what it goes round more than once is filled
// once, so that colours that let the ground through stay even.
func (p *pen) area(points []model.Point, scale float64, col color.NRGBA) {
	ring := spread(p.ring[:0], points, scale)
	for len(ring) > 1 && math.Abs(ring[0].x-ring[len(ring)-1].x)+math.Abs(ring[0].y-ring[len(ring)-1].y) < 1e-3 {
		ring = ring[:len(ring)-1]
	}
	p.ring = ring
	n := len(ring)
	if n < 3 || 2*n > ebiten.MaxVertexCount || !finite(ring) {
		return
	}
	if turn(ring) < 0 {
		slices.Reverse(ring)
	}
	c := ink(col, 1)
	p.inner = p.inner[:0]
	for i := range n {
		m := mitre(ring[(i+n-1)%n], ring[i], ring[(i+1)%n])
		p.inner = append(p.inner, point{ring[i].x - m.x/2, ring[i].y - m.y/2})
	}
	p.slabs(p.inner, &c)
	at := p.room(2 * n)
	for i := range n {
		in := p.inner[i]
		p.dot(in.x, in.y, &c, 1)
		p.dot(2*ring[i].x-in.x, 2*ring[i].y-in.y, &c, 0)
		a, b := uint16(at+2*i), uint16(at+2*((i+1)%n))
		p.is = append(p.is, a, a+1, b+1, a, b+1, b)
	}
}

// edge goes from left to right; down says that the polygon goes so too.
type edge struct {
	a, b point
	down bool
}

func (e *edge) at(x float64) float64 {
	return e.a.y + (e.b.y-e.a.y)*(x-e.a.x)/(e.b.x-e.a.x)
}

// slabs cuts a polygon at the x of every corner and fills the trapezoids between:
// what has turned a number of times other than 0. Where two edges cross, they do
// inside one slab, whose border is off by less than its width.
func (p *pen) slabs(ring []point, c *[4]float32) {
	p.edges, p.cuts = p.edges[:0], p.cuts[:0]
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		p.cuts = append(p.cuts, a.x)
		switch {
		case a.x < b.x:
			p.edges = append(p.edges, edge{a, b, true})
		case a.x > b.x:
			p.edges = append(p.edges, edge{b, a, false})
		}
	}
	slices.Sort(p.cuts)
	p.cuts = slices.Compact(p.cuts)
	slices.SortFunc(p.edges, func(e, f edge) int {
		switch {
		case e.a.x < f.a.x:
			return -1
		case e.a.x > f.a.x:
			return 1
		}
		return 0
	})
	next := 0
	p.active = p.active[:0]
	for i := range len(p.cuts) - 1 {
		x0, x1 := p.cuts[i], p.cuts[i+1]
		keep := p.active[:0]
		for _, e := range p.active {
			if e.b.x > x0 {
				keep = append(keep, e)
			}
		}
		p.active = keep
		for next < len(p.edges) && p.edges[next].a.x <= x0 {
			p.active = append(p.active, p.edges[next])
			next++
		}
		mid := (x0 + x1) / 2
		slices.SortFunc(p.active, func(e, f edge) int {
			switch d := e.at(mid) - f.at(mid); {
			case d < 0:
				return -1
			case d > 0:
				return 1
			}
			return 0
		})
		turns, top := 0, 0
		for j := range p.active {
			was := turns
			if p.active[j].down {
				turns++
			} else {
				turns--
			}
			switch {
			case was == 0:
				top = j
			case turns == 0:
				e, f := &p.active[top], &p.active[j]
				at := uint16(p.room(4))
				p.dot(x0, e.at(x0), c, 1)
				p.dot(x1, e.at(x1), c, 1)
				p.dot(x1, f.at(x1), c, 1)
				p.dot(x0, f.at(x0), c, 1)
				p.is = append(p.is, at, at+1, at+2, at, at+2, at+3)
			}
		}
	}
}

func finite(ring []point) bool {
	for _, q := range ring {
		if v := q.x + q.y; math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// turn is twice a polygon's area, above 0 where it goes clockwise on the screen.
func turn(ring []point) (sum float64) {
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		sum += a.x*b.y - b.x*a.y
	}
	return sum
}
