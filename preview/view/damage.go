package view

import (
	"image"
	"math"
	"unsafe"

	"paneglow/preview/model"
)

// mark is what is remembered of an op: enough to see that it changed, and where.
type mark struct {
	sum    uint64 // of all that makes its picture
	bounds image.Rectangle
	covers image.Rectangle // where nothing shows through it
}

// markOf takes an op's mark on a screen of an area.
func markOf(op *model.Op, light *model.Light, scale float64, area image.Rectangle) mark {
	s := newSum()
	s.number(uint64(op.Kind))
	for _, v := range [...]float64{op.X, op.Y, op.W, op.H, op.Width, op.Radius, op.Size} {
		s.number(math.Float64bits(v))
	}
	c := op.Color
	s.number(uint64(c.R) | uint64(c.G)<<8 | uint64(c.B)<<16 | uint64(c.A)<<24 | uint64(op.Align)<<32)
	if op.Bold {
		s.number(1)
	}
	if op.Kind == model.Path || op.Kind == model.Area {
		for _, p := range op.Points {
			s.number(math.Float64bits(p.X))
			s.number(math.Float64bits(p.Y))
		}
	}
	s.text(op.Text)
	if op.Clip != nil {
		for _, v := range [...]float64{op.Clip.X, op.Clip.Y, op.Clip.W, op.Clip.H} {
			s.number(math.Float64bits(v))
		}
	}
	if op.Kind == model.Picture && op.Image != nil {
		s.number(uint64(uintptr(unsafe.Pointer(op.Image))))
		s.number(uint64(op.Image.Version))
	}
	if op.Kind == model.Glass && light != nil {
		s.number(uint64(uintptr(unsafe.Pointer(light))))
		s.number(uint64(light.Version))
	}
	m := mark{sum: s.sum, bounds: boundsOf(op, scale)}
	if op.Clip != nil {
		m.bounds = m.bounds.Intersect(clipRect(op.Clip, scale))
	}
	m.bounds = m.bounds.Intersect(area)
	m.covers = coversOf(op, scale).Intersect(m.bounds)
	return m
}

// boundsOf is the screen pixels that an op may touch.
func boundsOf(op *model.Op, scale float64) image.Rectangle {
	const soft = 1 // an edge's softness
	switch op.Kind {
	case model.Glass, model.Picture:
		return wholeRect(op, scale)
	case model.Line:
		return around([]model.Point{{X: op.X, Y: op.Y}, {X: op.W, Y: op.H}}, scale, lineWidth(op)*scale+soft)
	case model.Path:
		// A mitred corner reaches as far as the pen lets it.
		return around(op.Points, scale, lineWidth(op)*scale*longestMitre+soft)
	case model.Area:
		return around(op.Points, scale, soft*longestMitre)
	case model.Disc:
		return around([]model.Point{{X: op.X, Y: op.Y}}, scale, op.Radius*scale+soft)
	case model.Text:
		w := model.Measure(op.Text, op.Size, op.Bold)
		x := op.X - w*anchor(op.Align)
		// No glyph of the Go fonts reaches further up, down or aside.
		return around([]model.Point{{X: x - op.Size/2, Y: op.Y - 1.2*op.Size}, {X: x + w + op.Size/2, Y: op.Y + 0.4*op.Size}}, scale, soft)
	default:
		return around([]model.Point{{X: op.X, Y: op.Y}, {X: op.X + op.W, Y: op.Y + op.H}}, scale, soft)
	}
}

// around is the smallest rectangle of whole pixels around points, grown.
func around(points []model.Point, scale, grown float64) image.Rectangle {
	if len(points) == 0 {
		return image.Rectangle{}
	}
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range points {
		x0, y0, x1, y1 = min(x0, p.X), min(y0, p.Y), max(x1, p.X), max(y1, p.Y)
	}
	if math.IsNaN(x0 + y0 + x1 + y1) {
		return image.Rectangle{}
	}
	whole := func(v float64) int { return int(min(max(v, -1e6), 1e6)) }
	return image.Rect(whole(math.Floor(x0*scale-grown)), whole(math.Floor(y0*scale-grown)), whole(math.Ceil(x1*scale+grown)), whole(math.Ceil(y1*scale+grown)))
}

// clipRect is whole pixels: what is clipped has a hard edge.
func clipRect(r *model.Rect, scale float64) image.Rectangle {
	return image.Rect(round(r.X*scale), round(r.Y*scale), round((r.X+r.W)*scale), round((r.Y+r.H)*scale))
}

// coversOf is the pixels that show nothing but the op, its clip aside.
func coversOf(op *model.Op, scale float64) image.Rectangle {
	switch op.Kind {
	case model.Glass:
		return wholeRect(op, scale)
	case model.Fill:
		if op.Color.A == 255 {
			// The corners round off inside the radius, the edges inside a pixel.
			in := op.Radius * scale
			return image.Rect(int(math.Ceil(op.X*scale+in)), int(math.Ceil(op.Y*scale+in)), int(math.Floor((op.X+op.W)*scale-in)), int(math.Floor((op.Y+op.H)*scale-in)))
		}
	}
	return image.Rectangle{}
}

// Rectangles to draw again: more of them cost more than what they leave out, and
// when they cover most of the screen one does.
const mostRects = 6

// changed is where the picture of one list differs from that of another: around
// what is only in one of them. Where what is in both stands in another order,
// everything may have changed.
func changed(before, now []mark, area image.Rectangle) []image.Rectangle {
	// Most of a list is as it was, at the same place or a little further on.
	first := 0
	for first < len(before) && first < len(now) && before[first].sum == now[first].sum {
		first++
	}
	last := 0
	for last < len(before)-first && last < len(now)-first && before[len(before)-1-last].sum == now[len(now)-1-last].sum {
		last++
	}
	before, now = before[first:len(before)-last], now[first:len(now)-last]
	if len(before) == 0 && len(now) == 0 {
		return nil
	}
	left := make(map[uint64]int, len(before))
	for i := range before {
		left[before[i].sum]++
	}
	var torn []image.Rectangle
	kept := make([]uint64, 0, len(now)) // sums in both, in the new order
	for i := range now {
		if left[now[i].sum] > 0 {
			left[now[i].sum]--
			kept = append(kept, now[i].sum)
		} else {
			torn = add(torn, now[i].bounds)
		}
	}
	stay := 0
	for i := range before {
		if left[before[i].sum] > 0 {
			left[before[i].sum]--
			torn = add(torn, before[i].bounds)
			continue
		}
		if stay >= len(kept) || kept[stay] != before[i].sum {
			return []image.Rectangle{area}
		}
		stay++
	}
	covered := 0
	for _, r := range torn {
		covered += r.Dx() * r.Dy()
	}
	if 4*covered > 3*area.Dx()*area.Dy() {
		return []image.Rectangle{area}
	}
	return torn
}

// add joins a rectangle to those there, and joins those that meet or that are
// cheaper as one.
func add(rects []image.Rectangle, r image.Rectangle) []image.Rectangle {
	if r.Empty() {
		return rects
	}
	for {
		joined := false
		for i, o := range rects {
			if u := r.Union(o); r.Overlaps(o) || size(u) <= size(r)+size(o)+64*64 {
				r, joined = u, true
				rects = append(rects[:i], rects[i+1:]...)
				break
			}
		}
		if !joined {
			break
		}
	}
	rects = append(rects, r)
	if len(rects) <= mostRects {
		return rects
	}
	// The pair that wastes least becomes one.
	bi, bj, least := 0, 1, math.MaxInt
	for i := range rects {
		for j := i + 1; j < len(rects); j++ {
			if waste := size(rects[i].Union(rects[j])) - size(rects[i]) - size(rects[j]); waste < least {
				bi, bj, least = i, j, waste
			}
		}
	}
	u := rects[bi].Union(rects[bj])
	rects = append(rects[:bj], rects[bj+1:]...)
	rects = append(rects[:bi], rects[bi+1:]...)
	return add(rects, u)
}

func size(r image.Rectangle) int { return r.Dx() * r.Dy() }

// sum mixes numbers into 64 bits; two of the few thousand ops of a window meet by
// chance once in 10^12 lists.
type sum struct{ sum uint64 }

func newSum() sum { return sum{0x9e3779b97f4a7c15} }

func (s *sum) number(v uint64) {
	// The finaliser of a 64-bit mixer: multiply, fold, multiply (S. Vigna,
	// "Further scramblings of Marsaglia's xorshift generators", 2017, from memory).
	x := s.sum ^ v
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	s.sum = x ^ x>>31 + 0x9e3779b97f4a7c15
}

func (s *sum) text(t string) {
	for len(t) >= 8 {
		s.number(uint64(t[0]) | uint64(t[1])<<8 | uint64(t[2])<<16 | uint64(t[3])<<24 | uint64(t[4])<<32 | uint64(t[5])<<40 | uint64(t[6])<<48 | uint64(t[7])<<56)
		t = t[8:]
	}
	tail := uint64(len(t)) << 56
	for i := range len(t) {
		tail |= uint64(t[i]) << (8 * i)
	}
	s.number(tail)
}
