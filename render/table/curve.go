package table

import (
	"math"
	"slices"
)

// curve is a line through points, each as many numbers as a tint.
type curve [][4]float64

// curveThrough finds a curve that the tints lie along: the longest way through
// the shortest tree over their cells, then moved to the mean of what lies nearest,
// a few times (a principal curve: Hastie and Stuetzle, Journal of the American
// Statistical Association 84 (406), 1989). nil where there is none to be seen.
func curveThrough(tints []weighed) curve {
	type cell struct {
		sum   [4]float64
		count float64
	}
	cells := map[tint]*cell{}
	for i := range tints {
		var at tint
		for k, v := range tints[i].tint {
			at[k] = v / cellSize
		}
		c := cells[at]
		if c == nil {
			c = &cell{}
			cells[at] = c
		}
		c.count++
		for k, v := range tints[i].tint {
			c.sum[k] += float64(v)
		}
	}
	if len(cells) < 2 || len(cells) > mostCells {
		return nil
	}
	places := make(curve, 0, len(cells))
	for _, c := range cells {
		for k := range c.sum {
			c.sum[k] /= c.count
		}
		places = append(places, c.sum)
	}
	slices.SortFunc(places, func(a, b [4]float64) int { return slices.Compare(a[:], b[:]) }) // a map has no order
	line := longest(places)
	for range 4 {
		line = line.moved(tints)
	}
	return line
}

// longest is the longest way in the shortest tree over places (Prim's).
func longest(places curve) curve {
	n := len(places)
	next := make([][]int, n)
	from, least := make([]int, n), make([]float64, n)
	for i := range least {
		least[i] = math.Inf(1)
	}
	in := make([]bool, n)
	at := 0
	for range n - 1 {
		in[at] = true
		best := -1
		for i := range places {
			if in[i] {
				continue
			}
			if d := between2(places[at], places[i]); d < least[i] {
				least[i], from[i] = d, at
			}
			if best < 0 || least[i] < least[best] {
				best = i
			}
		}
		at = best
		next[at] = append(next[at], from[at])
		next[from[at]] = append(next[from[at]], at)
	}
	// The place farthest from any is an end; the one farthest from that the other.
	far := func(start int) (int, []int) {
		back := make([]int, n)
		way := make([]float64, n)
		for i := range back {
			back[i] = -1
		}
		back[start] = start
		end, open := start, []int{start}
		for len(open) > 0 {
			i := open[len(open)-1]
			open = open[:len(open)-1]
			if way[i] > way[end] {
				end = i
			}
			for _, j := range next[i] {
				if back[j] < 0 {
					back[j], way[j] = i, way[i]+math.Sqrt(between2(places[i], places[j]))
					open = append(open, j)
				}
			}
		}
		return end, back
	}
	start, _ := far(0)
	end, back := far(start)
	var out curve
	for i := end; ; i = back[i] {
		out = append(out, places[i])
		if i == start {
			return out
		}
	}
}

// between2 is the square of the distance of two places.
func between2(a, b [4]float64) float64 {
	sum := 0.0
	for k := range a {
		d := a[k] - b[k]
		sum += float64(d * d)
	}
	return sum
}

// along gives for every point of the line its distance from the beginning.
func (l curve) along() []float64 {
	out := make([]float64, len(l))
	for i := 1; i < len(l); i++ {
		out[i] = out[i-1] + math.Sqrt(between2(l[i-1], l[i]))
	}
	return out
}

// at is the place at a distance from the beginning.
func (l curve) at(along []float64, d float64) [4]float64 {
	i, _ := slices.BinarySearch(along, d)
	i = min(max(i, 1), len(l)-1)
	w := 0.0
	if span := along[i] - along[i-1]; span > 0 {
		w = min(max((d-along[i-1])/span, 0), 1)
	}
	var out [4]float64
	for k := range out {
		out[k] = float64(l[i-1][k]*(1-w)) + float64(l[i][k]*w)
	}
	return out
}

// spacing of the points of a line that is moved, in samples.
const spacing = 3

// moved gives the line through the means of the tints that lie nearest to each of
// its parts. Its ends are the tints that lie farthest out.
func (l curve) moved(tints []weighed) curve {
	along := l.along()
	parts := min(max(int(along[len(along)-1]/spacing), 2), 512)
	sum, count := make(curve, parts), make([]float64, parts)
	length := along[len(along)-1]
	type end struct {
		far   float64
		place [4]float64
		found bool
	}
	var ends [2]end
	for i := range tints {
		var p [4]float64
		for k, v := range tints[i].tint {
			p[k] = float64(v)
		}
		d, off := l.foot(along, p)
		part := min(int(d/length*float64(parts)), parts-1)
		count[part]++
		for k, v := range p {
			sum[part][k] += v
		}
		for e, out := range [2]bool{d <= 0, d >= length} {
			if out && (!ends[e].found || off > ends[e].far) {
				ends[e] = end{off, p, true}
			}
		}
	}
	var out curve
	if ends[0].found {
		out = append(out, ends[0].place)
	}
	for i := range sum {
		if count[i] == 0 {
			continue
		}
		for k := range sum[i] {
			sum[i][k] /= count[i]
		}
		out = append(out, sum[i])
	}
	if ends[1].found {
		out = append(out, ends[1].place)
	}
	if len(out) < 2 {
		return l
	}
	return out
}

// foot is the distance along the line of its place nearest to p, and the square
// of how far that is off.
func (l curve) foot(along []float64, p [4]float64) (d, off float64) {
	off = math.Inf(1)
	for i := 1; i < len(l); i++ {
		a, span, dot := l[i-1], along[i]-along[i-1], 0.0
		if span <= 0 {
			continue
		}
		for k := range p {
			dot += float64((p[k] - a[k]) * (l[i][k] - a[k]))
		}
		w := min(max(dot/span/span, 0), 1)
		var q [4]float64
		for k := range q {
			q[k] = a[k] + float64((l[i][k]-a[k])*w)
		}
		if o := between2(q, p); o < off {
			off, d = o, along[i-1]+float64(w*span)
		}
	}
	return d, off
}
