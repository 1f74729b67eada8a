package corpus

// Layout is a panel's strips and where their pixels are.
type Layout struct {
	Name   string
	Strips []int // pixels
	places []place
}

// place is a pixel's: across and up the panel, and along its strip, 0..1 each.
type place struct {
	u, v, along float64
	strip       int
}

// Pixels is how many there are.
func (l *Layout) Pixels() int { return len(l.places) }

func (l *Layout) run(n int, u0, v0, u1, v1 float64) {
	k := len(l.Strips)
	l.Strips = append(l.Strips, n)
	for i := range n {
		a := (float64(i) + 0.5) / float64(n)
		l.places = append(l.places, place{u0 + (u1-u0)*a, v0 + (v1-v0)*a, a, k})
	}
}

// doorway goes up the left side, across the top and down the right: the sides
// mirror each other.
func doorway(name string, side, top int) *Layout {
	l := &Layout{Name: name}
	l.run(side, 0, 0, 0, 1)
	l.run(top, 0, 1, 1, 1)
	l.run(side, 1, 1, 1, 0)
	return l
}

// rail is one straight line, upright.
func rail(n int) *Layout {
	l := &Layout{Name: "rail"}
	l.run(n, 0.5, 0, 0.5, 1)
	return l
}

// shelves are short lines above each other, wired there and back.
func shelves(rows, n int) *Layout {
	l := &Layout{Name: "shelves"}
	for i := range rows {
		v := (float64(i) + 0.5) / float64(rows)
		if i%2 == 0 {
			l.run(n, 0, v, 1, v)
		} else {
			l.run(n, 1, v, 0, v)
		}
	}
	return l
}
