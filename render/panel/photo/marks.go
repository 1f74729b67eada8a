package photo

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"paneglow/anim/unit"
)

// Mark is a point of a photo in pixels, right and down from its upper left corner.
type Mark struct{ X, Y float64 }

// ParseMark reads "120,400".
func ParseMark(text string) (Mark, error) {
	a, b, ok := strings.Cut(text, ",")
	x, err1 := strconv.ParseFloat(strings.TrimSpace(a), 64)
	y, err2 := strconv.ParseFloat(strings.TrimSpace(b), 64)
	if !ok || err1 != nil || err2 != nil || math.IsNaN(x+y) || math.IsInf(x, 0) || math.IsInf(y, 0) {
		return Mark{}, fmt.Errorf(`%q is no point: write its pixel as "120,400", right and down from the upper left corner`, text)
	}
	return Mark{x, y}, nil
}

// leastApart is how far apart two marks must be, in pixels: one pixel's slip at
// each is then 3 % of the scale.
const leastApart = 50

// ScaleOf is the size of a pixel from two marks that lie a known length apart on
// the pane. A viewer may show a JPEG upright by the camera's rotation, so that
// sides are exchanged: the distance is the same, and marks that fit so are taken.
func (p *Picture) ScaleOf(a, b Mark, between unit.Length) (unit.Length, error) {
	if !(between > 0) {
		return 0, refuse("", "photo.scale", `give the length between the marks on the pane, such as "100 mm"`, "the marks are %v apart", between)
	}
	inside := func(w, h int) bool {
		for _, m := range []Mark{a, b} {
			if m.X < 0 || m.Y < 0 || m.X > float64(w) || m.Y > float64(h) {
				return false
			}
		}
		return true
	}
	if !inside(p.W, p.H) && !(p.Format == "jpeg" && inside(p.H, p.W)) {
		return 0, refuse(p.Name, "photo.scale", "read both marks off the photo itself, in its own pixels",
			"a mark lies outside the picture of %d x %d pixels: %g,%g and %g,%g", p.W, p.H, a.X, a.Y, b.X, b.Y)
	}
	apart := math.Hypot(a.X-b.X, a.Y-b.Y)
	if apart < leastApart {
		return 0, refuse(p.Name, "photo.scale", "mark two points of the ruler far apart",
			"the marks are %.0f pixels apart, the least is %d", apart, leastApart)
	}
	return unit.Length(float64(between) / apart), nil
}
