package sheet

import "math"

type point struct{ x, y float64 }

type box struct{ x0, y0, x1, y1 float64 }

func (a box) meets(b box) bool { return a.x0 < b.x1 && b.x0 < a.x1 && a.y0 < b.y1 && b.y0 < a.y1 }

// crowd keeps labels apart from each other and from lines.
type crowd struct {
	x0, y0, x1, y1 float64
	taken          []box
}

// line keeps labels off a stroke: small boxes along it.
func (c *crowd) line(x0, y0, x1, y1 float64) {
	steps := int(math.Ceil(math.Hypot(x1-x0, y1-y0))) + 1
	for i := range steps + 1 {
		t := float64(i) / float64(steps)
		x, y := x0+(x1-x0)*t, y0+(y1-y0)*t
		c.taken = append(c.taken, box{x - 0.8, y - 0.8, x + 0.8, y + 0.8})
	}
}

// room finds a place for a label near a point, nearest first, and takes it: its left
// end on the baseline. ok is false where all within reach is taken.
func (c *crowd) room(at point, w, h, reach float64) (left point, ok bool) {
	for r := 1.6; r < reach; r += 0.4 {
		for _, d := range []point{{1, 0}, {-1, 0}, {0, -1}, {0, 1}, {1, -1}, {1, 1}, {-1, -1}, {-1, 1}} {
			x, y := at.x+d.x*r, at.y+d.y*r+h/2
			if d.x < 0 {
				x -= w
			} else if d.x == 0 {
				x -= w / 2
			}
			b := box{x - 0.3, y - h, x + w + 0.3, y + 0.9}
			if b.x0 < c.x0 || b.x1 > c.x1 || b.y0 < c.y0 || b.y1 > c.y1 {
				continue
			}
			free := true
			for _, t := range c.taken {
				if t.meets(b) {
					free = false
					break
				}
			}
			if free {
				c.taken = append(c.taken, b)
				return point{x, y}, true
			}
		}
	}
	return point{}, false
}
