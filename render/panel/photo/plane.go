package photo

import (
	"math"
	"slices"
)

// plane is one channel of a photo as linear light, 1 at full scale, less the
// dark frame. A clipped pixel is NaN.
type plane struct {
	w, h int
	v    []float32
}

// clipped tells a pixel that says nothing.
func clipped(v float32) bool { return v != v }

// clippedShare is the share of its pixels that are clipped.
func (p *plane) clippedShare() float64 {
	n := 0
	for _, v := range p.v {
		if clipped(v) {
			n++
		}
	}
	return float64(n) / float64(len(p.v))
}

var channelNames = [4]string{"red", "green", "blue", "luminance"}

// luminance are the weights of linear sRGB (IEC 61966-2-1).
var luminance = [3]float32{0.2126, 0.7152, 0.0722}

// mostBlack is the share of a photo's codes that may be zero: from there on the
// camera cuts noise off at black, and averages would come out too light. Medians
// of single pixels do not.
const mostBlack = 0.02

// channel chooses what is measured, and tells whether the camera cuts off the
// dark. Where nothing is clipped and nothing cut off, it is the luminance; else
// the channel that clips least, the one of more contrast of two alike, of those
// with at least a fifth of the greatest contrast.
func (p *Picture) channel() (channel int, black bool) {
	cells := cellSize(p.W, p.H)
	cw, ch := (p.W+cells-1)/cells, (p.H+cells-1)/cells
	var sums [3][]float64
	for c := range sums {
		sums[c] = make([]float64, cw*ch)
	}
	count := make([]float64, cw*ch)
	var clips, zeros [3]int
	row := make([][3]uint16, p.W)
	gray := true
	for y := range p.H {
		p.row(y, row)
		base := y / cells * cw
		for x := range row {
			q := &row[x]
			i := base + x/cells
			count[i]++
			for c := range q {
				sums[c][i] += float64(p.light[q[c]])
				if q[c] >= clipCode {
					clips[c]++
				}
				if q[c] == 0 {
					zeros[c]++
				}
			}
			gray = gray && q[0] == q[1] && q[1] == q[2]
		}
	}
	var contrast [3]float64
	most := 0.0
	for c := range sums {
		for i := range count {
			sums[c][i] /= count[i]
		}
		contrast[c] = slices.Max(sums[c]) - quantile(slices.Clone(sums[c]), 0.5)
		most = math.Max(most, contrast[c])
	}
	limit := int(mostBlack * float64(p.W*p.H))
	best, cut := -1, false
	for c := range contrast {
		cut = cut || zeros[c] > limit
		if contrast[c] < most/5 {
			continue
		}
		if best < 0 || clips[c] < clips[best] || clips[c] == clips[best] && contrast[c] > contrast[best] {
			best = c
		}
	}
	if gray {
		return 3, cut
	}
	if cut || max(clips[0], clips[1], clips[2]) > p.W*p.H/50000 { // fewer are hot pixels
		return best, zeros[best] > limit
	}
	return 3, false
}

// plane reads one channel, less the dark frame, which may be nil and has the
// photo's size.
func (p *Picture) plane(channel int, dark *Picture) *plane {
	out := &plane{w: p.W, h: p.H, v: make([]float32, p.W*p.H)}
	row := make([][3]uint16, p.W)
	var below [][3]uint16
	if dark != nil {
		below = make([][3]uint16, p.W)
	}
	for y := range p.H {
		p.row(y, row)
		dst := out.v[y*p.W : (y+1)*p.W]
		p.linear(dst, row, channel)
		if dark == nil {
			continue
		}
		dark.row(y, below)
		for x := range dst {
			dst[x] -= dark.one(&below[x], channel)
		}
	}
	return out
}

func (p *Picture) linear(dst []float32, row [][3]uint16, channel int) {
	for x := range dst {
		dst[x] = p.one(&row[x], channel)
	}
}

// one is a pixel's linear light, NaN where it is clipped.
func (p *Picture) one(q *[3]uint16, channel int) float32 {
	if channel < 3 {
		if q[channel] >= clipCode {
			return float32(math.NaN())
		}
		return p.light[q[channel]]
	}
	if max(q[0], q[1], q[2]) >= clipCode {
		return float32(math.NaN())
	}
	return luminance[0]*p.light[q[0]] + luminance[1]*p.light[q[1]] + luminance[2]*p.light[q[2]]
}

// cellSize makes at most 200 cells of a picture's longer side.
func cellSize(w, h int) int { return (max(w, h) + 199) / 200 }

// binned is a window of a plane, n by n pixels averaged to one, or the first of
// them taken alone; one clipped pixel clips the whole.
func (p *plane) binned(x0, y0, x1, y1, n int, alone bool) *plane {
	out := &plane{w: (x1 - x0) / n, h: (y1 - y0) / n}
	out.v = make([]float32, out.w*out.h)
	for j := range out.h {
		for i := range out.w {
			if alone {
				out.v[j*out.w+i] = p.v[(y0+j*n)*p.w+x0+i*n]
				continue
			}
			sum := float32(0)
			for y := y0 + j*n; y < y0+(j+1)*n; y++ {
				for _, v := range p.v[y*p.w+x0+i*n : y*p.w+x0+(i+1)*n] {
					sum += v // NaN stays
				}
			}
			out.v[j*out.w+i] = sum / float32(n*n)
		}
	}
	return out
}

// quantile sorts v and gives its value at a share of it.
func quantile(v []float64, share float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	at := share * float64(len(v)-1)
	i := int(at)
	if i+1 >= len(v) {
		return v[len(v)-1]
	}
	return v[i] + (at-float64(i))*(v[i+1]-v[i])
}

// spread is the standard deviation of v by its median absolute deviation; it
// sorts v.
func spread(v []float64) float64 {
	m := quantile(v, 0.5)
	for i := range v {
		v[i] = math.Abs(v[i] - m)
	}
	return 1.4826 * quantile(v, 0.5)
}
