package picture

import (
	"fmt"
	"image"
	"math"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/panel"
)

// View is how the glass is photographed.
type View struct {
	Height  int              // of the panel in pixels, at most 4000; default: Fit(l, 900)
	Room    unit.Illuminance // light that falls on the pane
	Clip    string           // named in the caption
	Longest string           // note that will be drawn, so that all pictures get one size; "" when there is one picture
}

// Camera draws one machine's glass with one exposure. It is not safe for
// several goroutines.
type Camera struct {
	glass    *panel.Glass
	machine  *show.Machine
	layout   *layout.Layout
	view     View
	field    *panel.Field
	exposure Exposure
	scale    float64 // image pixels a millimetre
}

// NewCamera prepares pictures of a clip. brightest is the frame that sets the
// exposure: the one that draws most.
func NewCamera(m *show.Machine, l *layout.Layout, v View, brightest []uint8) (*Camera, error) {
	if v.Height == 0 {
		v.Height = Fit(l, 900)
	}
	if v.Height < 100 || v.Height > 4000 {
		return nil, fmt.Errorf("a picture %d pixels high is outside 100 to 4000", v.Height)
	}
	g, err := panel.New(m, l)
	if err != nil {
		return nil, err
	}
	c := &Camera{glass: g, machine: m, layout: l, view: v, field: g.Grid(), scale: float64(v.Height) / l.Height}
	if w := l.Width * c.scale; w > 6000 {
		return nil, fmt.Errorf("a picture %.0f pixels wide is over 6000: ask for a smaller height", w)
	}
	g.Shine(c.field, brightest)
	room := g.Room(float64(v.Room))
	for i := range c.field.XYZ {
		for k := range room {
			c.field.XYZ[i][k] += float32(room[k])
		}
	}
	c.exposure = expose(c.field.XYZ)
	return c, nil
}

// Fit is the height of a panel's picture whose longer side is at most 4/3 of
// a number of pixels, and whose height is at most that number.
func Fit(l *layout.Layout, pixels int) int {
	wide := float64(pixels) * 4 / 3 * l.Height / l.Width
	return max(100, min(pixels, int(wide)))
}

// Caption states what the pictures are made for.
func (c *Camera) Caption() string {
	p := c.machine.Panel
	return fmt.Sprintf("simulated: %s behind glass, depth %v, scatter %v, room %v, screen white = %s cd/m², not eye-adapted",
		c.view.Clip, p.Depth, p.Glass.Scatter, c.view.Room, round3(float64(c.exposure)))
}

// round3 prints three significant digits.
func round3(v float64) string {
	if v == 0 {
		return "0"
	}
	d := max(0, 2-int(math.Floor(math.Log10(math.Abs(v)))))
	return fmt.Sprintf("%.*f", d, v)
}

// Draw is the panel at one refresh, with a note beside the caption such as the
// time.
func (c *Camera) Draw(codes []uint8, note string) (*image.RGBA, error) {
	c.glass.Shine(c.field, codes)
	w, h := int(math.Round(c.layout.Width*c.scale)), c.view.Height
	textScale := math.Min(math.Max(float64(h)/900, 0.8), 2)
	margin := int(16 * textScale)
	full := w + 2*margin
	probe, err := newCanvas(8, 8, textScale)
	if err != nil {
		return nil, err
	}
	lines := probe.reserve(note, c.view.Longest, float64(w), probe.small)
	noted := len(lines)
	lines = append(lines, probe.wrap(c.Caption(), float64(w), probe.small)...)
	line := 17 * textScale
	cv, err := newCanvas(full, h+2*margin+int(line*float64(len(lines))), textScale)
	if err != nil {
		return nil, err
	}
	img := cv.rgba()
	room := c.glass.Room(float64(c.view.Room))
	k := 1 / float32(c.exposure)
	for y := range h {
		my := (float64(h-1-y) + 0.5) / c.scale
		for x := range w {
			v := c.field.At((float64(x)+0.5)/c.scale, my)
			for i := range v {
				v[i] = (v[i] + float32(room[i])) * k
			}
			r, g, b := toLinear(v)
			screen(img, margin+x, margin+y, r, g, b)
		}
	}
	for i, s := range lines {
		col := pale
		if i < noted {
			col = ink
		}
		cv.text(s, float64(margin), float64(h+margin)+line*(float64(i)+1), 0, cv.small, col)
	}
	return img, nil
}
