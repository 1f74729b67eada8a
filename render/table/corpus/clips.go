package corpus

import (
	"fmt"
	"math"
)

// Clip is one clip of the corpus, at any frame rate.
type Clip struct {
	Name    string
	Kind    string
	Layout  *Layout
	Seconds float64
	light   light
}

// Kinds are the names of the kinds, in order.
func Kinds() (names []string) {
	for _, k := range kinds {
		names = append(names, k.name)
	}
	return names
}

// First is the set that work goes on with: two clips of every kind.
func First() []Clip {
	return set(1, []*Layout{doorway("doorway", 96, 48), rail(240), shelves(6, 40), doorway("doorway", 77, 26)})
}

// Second is the set that is looked at once, at the end.
func Second() []Clip {
	return set(2, []*Layout{shelves(5, 48), doorway("doorway", 90, 60), rail(180), doorway("tall doorway", 104, 32)})
}

func set(number uint64, layouts []*Layout) (out []Clip) {
	for k := range kinds {
		for n := range 2 {
			seed := number*1_000_003 + uint64(k)*101 + uint64(n)*17 + 5
			seconds := math.Round(pick(seed, 0, 6, 14))
			out = append(out, Clip{
				Name: fmt.Sprintf("%s %d", kinds[k].name, n+1), Kind: kinds[k].name,
				Layout: layouts[(k*2+n)%len(layouts)], Seconds: seconds, light: kinds[k].make(seed, seconds),
			})
		}
	}
	return out
}

// Frames at a rate.
func (c *Clip) Frames(fps int) int { return int(c.Seconds) * fps }

// white scales each colour so that together they are white, and top is the cap.
var white = rgb{1, 0.78, 0.62}

const top = 0.35

// Duties are the exact shares of time that every die is lit, 0..1, frame after
// frame, R G B a pixel.
func (c *Clip) Duties(fps int) []float64 {
	n := c.Frames(fps)
	out := make([]float64, 0, n*c.Layout.Pixels()*3)
	for f := range n {
		t := float64(f) / float64(n)
		for i, p := range c.Layout.places {
			l := c.light(p, i, t)
			for ch := range 3 {
				out = append(out, min(max(l[ch], 0), 1)*white[ch]*top)
			}
		}
	}
	return out
}

// Codes are the duties rounded to nearest.
func (c *Clip) Codes(fps int) []uint8 {
	d := c.Duties(fps)
	out := make([]uint8, len(d))
	for i, x := range d {
		out[i] = uint8(x*255 + 0.5)
	}
	return out
}

// Dithered are the duties rounded with the error of each die carried to the next
// frame.
func (c *Clip) Dithered(fps int) []uint8 {
	d := c.Duties(fps)
	out := make([]uint8, len(d))
	size := c.Layout.Pixels() * 3
	rest := make([]float64, size)
	for i, x := range d {
		want := x*255 + rest[i%size]
		out[i] = uint8(min(max(math.Floor(want+0.5), 0), 255))
		rest[i%size] = want - float64(out[i])
	}
	return out
}
