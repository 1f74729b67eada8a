package photo

import (
	"math"
	"slices"
	"strconv"
)

// spot is where the light is, in pixels of the photo, and how wide it is.
type spot struct {
	x, y float64 // centre; pixel (i, j) is centred at (i, j)
	half float64 // radius at half height
	base float64 // light beside it
	peak float64 // light at its top, clipped light counted as full scale
}

const (
	leastHalf     = 3.0   // pixels of the photo: below it a spot's shape is not seen
	leastContrast = 0.02  // of full scale, at 8 bits; at 16 bits a tenth of it
	otherLight    = 0.05  // of the peak: more light elsewhere is another lamp
	mostElongated = 0.05  // by which a spot may be longer than wide
	someElongated = 0.025 // is told
)

// find looks for the one bright spot.
func (p *Picture) find(pl *plane) (*spot, error) {
	g := newCells(pl)
	base, noise := g.border(), g.noise()
	top := 0
	for i := range g.v {
		if g.v[i] > g.v[top] {
			top = i
		}
	}
	s := &spot{base: base}
	if contrast := g.v[top] - base; contrast < 6*noise || contrast < 1e-5 {
		return nil, refuse(p.Name, "photo.no_spot", "light one pixel white, darken the room, and expose until its middle is bright but not white",
			"there is no spot: the brightest place is %s of full scale above the picture's edge, and noise alone gives %s", percent(contrast), percent(6*noise))
	}
	// The brightest cell and all that hang together with it at nine tenths: a
	// clipped core has no single brightest cell.
	s.x, s.y = g.plateau(top, base+0.9*(g.v[top]-base))
	s.x, s.y = pl.brightest(s.x, s.y, 2*g.size)
	for range 4 {
		s.peak, s.half = pl.halfWidth(s.x, s.y, base)
		s.x, s.y = pl.centroid(s.x, s.y, math.Max(2*s.half, 4), base+0.3*(s.peak-base))
	}
	s.peak, s.half = pl.halfWidth(s.x, s.y, base)
	least := leastContrast
	if p.Bits == 16 {
		least /= 10
	}
	if s.peak-base < least {
		return nil, refuse(p.at(s.x, s.y), "photo.too_dark", "expose longer, or save 16 bits",
			"the spot is too dark to measure: %s of full scale above what is around it, the least is %s", percent(s.peak-base), percent(least))
	}
	if s.half < leastHalf {
		return nil, refuse(p.at(s.x, s.y), "photo.too_coarse", "go nearer or zoom in; do not scale the photo down",
			"the spot is %.1f pixels wide at half height, the least is %.0f", 2*s.half, 2*leastHalf)
	}
	edge := min(s.x, s.y, float64(pl.w-1)-s.x, float64(pl.h-1)-s.y)
	if edge < 1.5*s.half {
		return nil, refuse(p.at(s.x, s.y), "photo.edge", "aim the camera at the lit pixel, and step back until the dark around it is in the picture",
			"the spot leaves the picture: its middle is %.0f pixels from the edge, and it is %.0f pixels wide at half height", edge, 2*s.half)
	}
	return s, nil
}

// cells are a photo's means over squares, clipped light counted as full scale.
// The brightest pixel of each square is left out, so that a hot one is no light.
type cells struct {
	w, h int
	size float64 // in pixels
	v    []float64
}

func newCells(p *plane) *cells {
	n := cellSize(p.w, p.h)
	g := &cells{w: (p.w + n - 1) / n, h: (p.h + n - 1) / n, size: float64(n)}
	g.v = make([]float64, g.w*g.h)
	for cy := range g.h {
		for cx := range g.w {
			sum, most, count := 0.0, 0.0, 0
			for y := cy * n; y < min((cy+1)*n, p.h); y++ {
				for x := cx * n; x < min((cx+1)*n, p.w); x++ {
					v := p.full(x, y)
					sum += v
					most = math.Max(most, v)
					count++
				}
			}
			if count > 1 {
				sum, count = sum-most, count-1
			}
			g.v[cy*g.w+cx] = sum / float64(count)
		}
	}
	return g
}

// border is the light at the picture's edge.
func (g *cells) border() float64 {
	var v []float64
	for y := range g.h {
		for x := range g.w {
			if x == 0 || y == 0 || x == g.w-1 || y == g.h-1 {
				v = append(v, g.v[y*g.w+x])
			}
		}
	}
	return quantile(v, 0.5)
}

// noise is the standard deviation of a cell about the mean of its neighbours
// along a row: slopes cancel.
func (g *cells) noise() float64 {
	var v []float64
	for y := range g.h {
		for x := 1; x+1 < g.w; x++ {
			i := y*g.w + x
			v = append(v, g.v[i]-(g.v[i-1]+g.v[i+1])/2)
		}
	}
	if len(v) == 0 {
		return 0
	}
	return spread(v) / math.Sqrt(1.5)
}

// plateau is the middle, in pixels, of all cells of a level that hang together
// with one.
func (g *cells) plateau(from int, level float64) (x, y float64) {
	seen := make([]bool, len(g.v))
	seen[from] = true
	todo := []int{from}
	var sx, sy, n float64
	for len(todo) > 0 {
		i := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		cx, cy := i%g.w, i/g.w
		sx, sy, n = sx+float64(cx), sy+float64(cy), n+1
		for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			nx, ny := cx+d[0], cy+d[1]
			if nx < 0 || ny < 0 || nx >= g.w || ny >= g.h {
				continue
			}
			if j := ny*g.w + nx; !seen[j] && g.v[j] >= level {
				seen[j] = true
				todo = append(todo, j)
			}
		}
	}
	return (sx/n+0.5)*g.size - 0.5, (sy/n+0.5)*g.size - 0.5
}

// brightest is the middle of what is above half height around a place. A median
// of five pixels leaves out single hot ones.
func (p *plane) brightest(x, y, reach float64) (float64, float64) {
	x0, x1 := max(1, int(x-reach)), min(p.w-2, int(x+reach))
	y0, y1 := max(1, int(y-reach)), min(p.h-2, int(y+reach))
	if x1 <= x0 || y1 <= y0 {
		return x, y
	}
	w := x1 - x0 + 1
	smooth := make([]float64, 0, w*(y1-y0+1))
	for j := y0; j <= y1; j++ {
		for i := x0; i <= x1; i++ {
			v := [5]float64{p.full(i, j), p.full(i-1, j), p.full(i+1, j), p.full(i, j-1), p.full(i, j+1)}
			slices.Sort(v[:])
			smooth = append(smooth, v[2])
		}
	}
	lo, hi := slices.Min(smooth), slices.Max(smooth)
	level := lo + 0.5*(hi-lo)
	var sx, sy, sum float64
	for k, v := range smooth {
		if u := v - level; u > 0 {
			sx += u * float64(x0+k%w)
			sy += u * float64(y0+k/w)
			sum += u
		}
	}
	if sum == 0 {
		return x, y
	}
	return sx / sum, sy / sum
}

// full is a pixel's light, clipped light as full scale.
func (p *plane) full(x, y int) float64 {
	v := p.v[y*p.w+x]
	if clipped(v) {
		return 1
	}
	return float64(v)
}

// halfWidth walks outwards in rings of 64 places each and gives the brightest
// ring's median and the radius where the median falls half-way to the base.
func (p *plane) halfWidth(x, y, base float64) (peak, half float64) {
	const places = 64
	var v []float64
	ring := func(r float64) float64 {
		v = v[:0]
		for k := range places {
			a := 2 * math.Pi * float64(k) / places
			i, j := int(math.Round(x+r*math.Cos(a))), int(math.Round(y+r*math.Sin(a)))
			if i >= 0 && j >= 0 && i < p.w && j < p.h {
				v = append(v, p.full(i, j))
			}
		}
		if len(v) < places/4 {
			return math.NaN()
		}
		return quantile(v, 0.5)
	}
	last := 0.0
	for r := 0.0; ; r++ {
		now := ring(r)
		if math.IsNaN(now) {
			return peak, r
		}
		if now > peak {
			peak = now
		}
		if level := base + 0.5*(peak-base); r > 0 && now < level {
			if last > now {
				return peak, r - (level-now)/(last-now)
			}
			return peak, r
		}
		last = now
	}
}

// centroid is the middle of the light above a level within a radius.
func (p *plane) centroid(x, y, radius, level float64) (float64, float64) {
	x0, x1 := max(0, int(x-radius)), min(p.w-1, int(x+radius)+1)
	y0, y1 := max(0, int(y-radius)), min(p.h-1, int(y+radius)+1)
	var sx, sy, sum float64
	for j := y0; j <= y1; j++ {
		for i := x0; i <= x1; i++ {
			dx, dy := float64(i)-x, float64(j)-y
			if dx*dx+dy*dy > radius*radius {
				continue
			}
			if u := p.full(i, j) - level; u > 0 {
				sx += u * dx
				sy += u * dy
				sum += u
			}
		}
	}
	if sum == 0 {
		return x, y
	}
	return x + sx/sum, y + sy/sum
}

// percent writes a share with two digits.
func percent(v float64) string {
	if a := math.Abs(100 * v); a >= 10 {
		return strconv.FormatFloat(100*v, 'f', 0, 64) + " %"
	}
	return strconv.FormatFloat(100*v, 'g', 2, 64) + " %"
}
