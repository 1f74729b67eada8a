package table

import (
	"math"
	"slices"
)

// tint is the samples of a pixel's dies, on the scale of lightness.
type tint [4]uint8

// row is the colours of a clip in a row: what the map of a clip of kind field
// holds. A clip whose colours lie on one curve has one number for every pixel, how
// far along the curve it is.
type row struct {
	tints []tint
	loose bool           // they are all the tints of a clip and stand in no order
	near  map[tint]uint8 // what was asked for before
}

// nearest is the number of the tint that is least far from one.
func (r *row) nearest(c tint) uint8 {
	if i, ok := r.near[c]; ok {
		return i
	}
	best, least := 0, math.MaxInt
	for i := range r.tints {
		if d := r.tints[i].apart(c); d < least {
			best, least = i, d
		}
	}
	r.near[c] = uint8(best)
	return uint8(best)
}

// apart is the square of the distance between two.
func (c tint) apart(o tint) int {
	sum := 0
	for k := range c {
		d := int(c[k]) - int(o[k])
		sum += d * d
	}
	return sum
}

// weighed is a tint and how many pixels of a clip have it.
type weighed struct {
	tint
	count int
}

// Limits of what is looked at. A curve through the cube of samples has some
// hundreds of tints, or thousands when it winds; a surface has more.
const (
	mostTints = 8192
	cellSize  = 8    // side of a cell in which tints are one at first
	mostCells = 1024 // on a curve; more are a surface or a cloud
)

// rowOf takes n tints from the line, evenly spaced, each then moved to the mean
// of the pixels that are nearest to it.
func (l curve) rowOf(n int, tints []weighed) *row {
	along := l.along()
	r := &row{near: map[tint]uint8{}}
	for i := range n {
		var c tint
		for k, v := range l.at(along, along[len(along)-1]*float64(i)/float64(max(n-1, 1))) {
			c[k] = uint8(min(max(math.Floor(v+0.5), 0), 255))
		}
		r.tints = append(r.tints, c)
	}
	sum, count := make(curve, n), make([]float64, n)
	for i := range tints {
		j, many := r.nearest(tints[i].tint), float64(tints[i].count)
		count[j] += many
		for k, v := range tints[i].tint {
			sum[j][k] += float64(many * float64(v))
		}
	}
	out := &row{near: map[tint]uint8{}}
	for j, c := range r.tints {
		if count[j] > 0 {
			for k := range c {
				c[k] = uint8(math.Floor(sum[j][k]/count[j] + 0.5))
			}
		}
		if !slices.Contains(out.tints, c) {
			out.tints = append(out.tints, c)
		}
	}
	return out
}

// countTints gathers the tints of samples, dies a pixel; nil where there are too
// many for a curve.
func countTints(samples []uint8, dies int) []weighed {
	at := map[tint]int{}
	var out []weighed
	for i := 0; i+dies <= len(samples); i += dies {
		var c tint
		copy(c[:], samples[i:i+dies])
		j, ok := at[c]
		if !ok {
			if len(out) == mostTints {
				return nil
			}
			j = len(out)
			at[c] = j
			out = append(out, weighed{tint: c})
		}
		out[j].count++
	}
	slices.SortFunc(out, func(a, b weighed) int { return slices.Compare(a.tint[:], b.tint[:]) })
	return out
}
