package view

import (
	"image"
	"image/color"
	"math"

	"github.com/hajimehoshi/ebiten/v2"

	"paneglow/preview/model"
)

// pen draws shapes with soft edges: a pixel wide ramp of opacity around each edge,
// half of it inside, is what an edge covers of a pixel to within what the eye sees.
// Edges on whole pixels come out hard by themselves. It gathers triangles and hands
// them over at flush: ebiten's own smoothing draws every shape twice as large and
// shrinks it, which costs far more. Lengths are screen pixels.
type pen struct {
	screen *ebiten.Image
	inside image.Rectangle
	dst    *ebiten.Image // inside of screen
	white  *ebiten.Image
	vs     []ebiten.Vertex
	is     []uint16
	ring   []point
	inner  []point // of area
	edges  []edge
	active []edge
	cuts   []float64
}

type point struct{ x, y float64 }

// on turns to a part of a screen.
func (p *pen) on(screen *ebiten.Image, inside image.Rectangle) {
	if p.dst != nil && p.screen == screen && p.inside == inside {
		return
	}
	p.flush()
	p.screen, p.inside = screen, inside
	p.dst = screen.SubImage(inside).(*ebiten.Image)
}

// flush draws what was gathered.
func (p *pen) flush() {
	if len(p.is) == 0 {
		p.vs = p.vs[:0]
		return
	}
	p.dst.DrawTriangles(p.vs, p.is, p.paper(), &ebiten.DrawTrianglesOptions{ColorScaleMode: ebiten.ColorScaleModePremultipliedAlpha})
	p.vs, p.is = p.vs[:0], p.is[:0]
}

// paper is white, with a border so that nothing else bleeds into it.
func (p *pen) paper() *ebiten.Image {
	if p.white == nil {
		whole := ebiten.NewImage(3, 3)
		whole.Fill(color.White)
		p.white = whole.SubImage(image.Rect(1, 1, 2, 2)).(*ebiten.Image)
	}
	return p.white
}

// room makes sure that n more vertices fit, and gives the index of the first.
func (p *pen) room(n int) int {
	if len(p.vs)+n > ebiten.MaxVertexCount {
		p.flush()
	}
	return len(p.vs)
}

// dot adds a vertex of a share of a colour.
func (p *pen) dot(x, y float64, c *[4]float32, share float32) {
	p.vs = append(p.vs, ebiten.Vertex{DstX: float32(x), DstY: float32(y), SrcX: 1, SrcY: 1, ColorR: c[0] * share, ColorG: c[1] * share, ColorB: c[2] * share, ColorA: c[3] * share})
}

// ink is a colour as vertices want it, times an opacity.
func ink(c color.NRGBA, share float64) [4]float32 {
	a := float32(share) * float32(c.A) / 255
	return [4]float32{a * float32(c.R) / 255, a * float32(c.G) / 255, a * float32(c.B) / 255, a}
}

// block is a rectangle on whole pixels.
func (p *pen) block(x0, y0, x1, y1 float64, c *[4]float32) {
	if x1 <= x0 || y1 <= y0 {
		return
	}
	at := uint16(p.room(4))
	p.dot(x0, y0, c, 1)
	p.dot(x1, y0, c, 1)
	p.dot(x1, y1, c, 1)
	p.dot(x0, y1, c, 1)
	p.is = append(p.is, at, at+1, at+2, at, at+2, at+3)
}

// fill is a rectangle with round corners.
func (p *pen) fill(x, y, w, h, radius float64, col color.NRGBA) {
	if !(w > 0) || !(h > 0) {
		return
	}
	c := ink(col, 1)
	if radius <= 0 && isWhole(x) && isWhole(y) && isWhole(w) && isWhole(h) {
		p.block(x, y, x+w, y+h, &c)
		return
	}
	p.ring = corners(p.ring[:0], x, y, w, h, radius)
	p.convex(p.ring, &c)
}

func isWhole(v float64) bool { return v == math.Trunc(v) }

// corners are the points around a rectangle with round corners, clockwise on the
// screen.
func corners(ring []point, x, y, w, h, radius float64) []point {
	r := min(radius, w/2, h/2)
	if r <= 0 {
		return append(ring, point{x, y}, point{x + w, y}, point{x + w, y + h}, point{x, y + h})
	}
	n := max(2, int(math.Ceil(roundness(r)/4)))
	for i, mid := range [4]point{{x + w - r, y + r}, {x + w - r, y + h - r}, {x + r, y + h - r}, {x + r, y + r}} {
		for j := range n + 1 {
			sin, cos := math.Sincos((float64(i-1) + float64(j)/float64(n)) * math.Pi / 2)
			ring = append(ring, point{mid.x + r*cos, mid.y + r*sin})
		}
	}
	return ring
}

// roundness is how many corners make a circle that leaves it by less than an
// eighth of a pixel: the sagitta of a chord, r (1 - cos(pi/n)).
func roundness(r float64) float64 {
	return min(max(math.Pi/math.Acos(max(0, 1-0.125/r)), 8), 128)
}

func (p *pen) disc(x, y, radius float64, col color.NRGBA) {
	if !(radius > 0) {
		return
	}
	n := int(math.Ceil(roundness(radius)))
	p.ring = p.ring[:0]
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		p.ring = append(p.ring, point{x + radius*cos, y + radius*sin})
	}
	c := ink(col, 1)
	p.convex(p.ring, &c)
}

// convex fills a polygon whose corners go clockwise on the screen.
func (p *pen) convex(ring []point, c *[4]float32) {
	n := len(ring)
	at := p.room(2 * n)
	for i := range n {
		m := mitre(ring[(i+n-1)%n], ring[i], ring[(i+1)%n])
		p.dot(ring[i].x-m.x/2, ring[i].y-m.y/2, c, 1)
		p.dot(ring[i].x+m.x/2, ring[i].y+m.y/2, c, 0)
	}
	for i := range n {
		a, b := uint16(at+2*i), uint16(at+2*((i+1)%n))
		p.is = append(p.is, a, a+1, b+1, a, b+1, b)
		if i > 1 {
			p.is = append(p.is, uint16(at), uint16(at+2*i-2), a)
		}
	}
}

// longestMitre is how far a corner's tip may stand out, in half widths.
const longestMitre = 3

// mitre is the way from a corner to the same corner of a polygon one pixel wider;
// on a clockwise one it points outward. At corners sharper than longestMitre
// allows it stays shorter.
func mitre(before, at, after point) point {
	a, b := normal(before, at), normal(at, after)
	if a == (point{}) {
		a = b
	}
	if b == (point{}) {
		b = a
	}
	s := point{a.x + b.x, a.y + b.y}
	d := s.x*s.x + s.y*s.y // 2 + 2 cos of the turn
	if d < 1e-9 {
		return a
	}
	// The sum's direction at the length that both edges move by one.
	k := 2 / d
	if long := k * math.Sqrt(d); long > longestMitre {
		k *= longestMitre / long
	}
	return point{s.x * k, s.y * k}
}

// normal is the unit vector to the left of the way from a to b as one sees it on
// the screen, where y grows downwards; it points out of a clockwise polygon.
func normal(a, b point) point {
	dx, dy := b.x-a.x, b.y-a.y
	l := math.Hypot(dx, dy)
	if !(l > 1e-9) {
		return point{}
	}
	return point{dy / l, -dx / l}
}

// frame is the outline of a rectangle, inside it.
func (p *pen) frame(x, y, w, h, radius, width float64, col color.NRGBA) {
	if !(w > 0) || !(h > 0) {
		return
	}
	if radius > 0 {
		p.ring = corners(p.ring[:0], x+width/2, y+width/2, max(w-width, 0), max(h-width, 0), max(radius-width/2, 0.01))
		p.stroke(p.ring, true, width, col)
		return
	}
	d := max(1, math.Round(width))
	c := ink(col, min(1, width))
	x0, y0, x1, y1 := math.Round(x), math.Round(y), math.Round(x+w), math.Round(y+h)
	p.block(x0, y0, x1, min(y0+d, y1), &c)
	p.block(x0, max(y1-d, y0+d), x1, y1, &c)
	p.block(x0, y0+d, min(x0+d, x1), y1-d, &c)
	p.block(max(x1-d, x0+d), y0+d, x1, y1-d, &c)
}

// line is straight. Across or down the screen it covers whole pixels, so that
// rules and axes are crisp.
func (p *pen) line(x0, y0, x1, y1, width float64, col color.NRGBA) {
	if x0 == x1 || y0 == y1 {
		d := max(1, math.Round(width))
		c := ink(col, min(1, width))
		if x0 == x1 {
			left := math.Round(x0 - d/2)
			p.block(left, math.Round(min(y0, y1)), left+d, math.Round(max(y0, y1)), &c)
		} else {
			top := math.Round(y0 - d/2)
			p.block(math.Round(min(x0, x1)), top, math.Round(max(x0, x1)), top+d, &c)
		}
		return
	}
	p.ring = append(p.ring[:0], point{x0, y0}, point{x1, y1})
	p.stroke(p.ring, false, width, col)
}

// path is lines through points.
func (p *pen) path(points []model.Point, scale, width float64, col color.NRGBA) {
	p.ring = spread(p.ring[:0], points, scale)
	p.stroke(p.ring, false, width, col)
}

// spread scales points and leaves out those that stand where the one before does.
func spread(ring []point, points []model.Point, scale float64) []point {
	for _, q := range points {
		v := point{q.X * scale, q.Y * scale}
		if n := len(ring); n > 0 && math.Abs(ring[n-1].x-v.x)+math.Abs(ring[n-1].y-v.y) < 1e-3 {
			continue
		}
		ring = append(ring, v)
	}
	return ring
}

// stroke draws along points, closed back to the first or not. A line thinner than
// a pixel is a pixel wide and paler.
func (p *pen) stroke(ring []point, closed bool, width float64, col color.NRGBA) {
	n := len(ring)
	if n < 2 {
		return
	}
	c := ink(col, min(1, width))
	width = max(width, 1)
	core, edge := (width-1)/2, (width+1)/2
	// A long line is drawn in pieces that share an end.
	const most = 8192
	ends := n
	if closed {
		ends = n + 1
	}
	for from := 0; from < ends-1; from += most {
		to := min(from+most, ends-1)
		at := p.room(4 * (to - from + 1))
		for i := from; i <= to; i++ {
			q := ring[i%n]
			before, after := q, q
			if closed || i > 0 {
				before = ring[(i+n-1)%n]
			}
			if closed || i < n-1 {
				after = ring[(i+1)%n]
			}
			m := mitre(before, q, after)
			p.dot(q.x+m.x*edge, q.y+m.y*edge, &c, 0)
			p.dot(q.x+m.x*core, q.y+m.y*core, &c, 1)
			p.dot(q.x-m.x*core, q.y-m.y*core, &c, 1)
			p.dot(q.x-m.x*edge, q.y-m.y*edge, &c, 0)
		}
		for i := range to - from {
			a, b := uint16(at+4*i), uint16(at+4*i+4)
			for k := range uint16(3) {
				p.is = append(p.is, a+k, a+k+1, b+k+1, a+k, b+k+1, b+k)
			}
		}
	}
}

// hatch is lines that rise to the right, gap apart. They stand still when the
// rectangle grows.
func (p *pen) hatch(x, y, w, h, gap, width float64, col color.NRGBA) {
	if !(w > 0) || !(h > 0) {
		return
	}
	step := gap * math.Sqrt2
	for k := math.Floor((x+y)/step) * step; k < x+w+y+h; k += step {
		x0, x1 := max(x, k-y-h), min(x+w, k-y)
		if x1 > x0 {
			p.ring = append(p.ring[:0], point{x0, k - x0}, point{x1, k - x1})
			p.stroke(p.ring, false, width, col)
		}
	}
}
