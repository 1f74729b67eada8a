package seen

import "paneglow/anim/color"

// Channels is the length of a frame of duties.
func (c *Canvas) Channels() int { return c.p.first[len(c.p.first)-1] }

// Target is a picture of w by h points, stretched over the panel, upper row
// first, as the mean over each of the canvas's points.
func (c *Canvas) Target(picture []color.Light, w, h int) Target {
	across := shares(w, c.W, c.layout.Width/c.Step)
	up := shares(h, c.H, c.layout.Height/c.Step)
	rows := make([][3]float32, h*c.W)
	for y := range h {
		for x, s := range across {
			rows[y*c.W+x] = s.mean(func(i int) *[3]float32 { return (*[3]float32)(&picture[y*w+i]) })
		}
	}
	out := make(Target, c.W*c.H)
	for y, s := range up {
		for x := range c.W {
			// Pictures count from the top, the canvas from the bottom.
			out[y*c.W+x] = s.mean(func(i int) *[3]float32 { return &rows[(h-1-i)*c.W+x] })
		}
	}
	return out
}

// share is what some neighbouring points of a picture give to one of the
// canvas's: all of the inner ones, a part of both ends.
type share struct {
	from, to    int // points
	first, last float32
	all         float32
}

// shares divides n points of a picture, which cover size steps of the canvas,
// among its points. The canvas may reach a little beyond.
func shares(n, points int, size float64) []share {
	out := make([]share, points)
	per := float64(n) / size // picture points a step
	for i := range out {
		lo, hi := float64(float64(i)*per), float64(float64(i+1)*per)
		hi = min(hi, float64(n))
		lo = min(lo, float64(n)-1e-9)
		a := int(lo)
		b := max(a+1, min(n, ceil(hi)))
		s := share{from: a, to: b}
		if b-a == 1 {
			s.first, s.all = 1, 1
		} else {
			s.first, s.last = float32(float64(a+1)-lo), float32(hi-float64(b-1))
			s.all = s.first + s.last + float32(b-a-2)
		}
		out[i] = s
	}
	return out
}

func ceil(v float64) int {
	i := int(v)
	if float64(i) < v {
		i++
	}
	return i
}

func (s *share) mean(at func(i int) *[3]float32) (out [3]float32) {
	for i := s.from; i < s.to; i++ {
		w := float32(1)
		switch {
		case i == s.from:
			w = s.first
		case i == s.to-1:
			w = s.last
		}
		for k, v := range at(i) {
			out[k] += float32(w * v)
		}
	}
	for k := range out {
		out[k] /= s.all
	}
	return out
}
