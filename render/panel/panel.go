// Package panel models the frosted glass: what a passer-by sees of the LEDs
// behind it.
//
// In: final codes, the machine's dies, and the panel's glass, box and depths.
// Out: a field of luminance, as CIE X, Y, Z in cd/m2 on a grid over the panel,
// for a viewer far away on its normal or at a place before it; an 8-bit picture
// of it.
//
// The model: an LED of intensity I0 cos^m about its aim, at depth d, lights the
// pane with E; the pane sends
//
//	T { h [(1-q) f E + q E/pi] + box }  +  (1-h) T (sharp image of the LED)
//
// towards the viewer. f is an energy-conserving, reciprocal lobe (Gaussian in
// direction cosines), q its Lambertian share, h the haze (the share that is
// scattered at all), box the light that went to and fro between pane and back
// wall. Limits: h = q = 1 is the ideal diffuser T E/pi; h = 0 is clear glass.
//
// Fields come from three grids with spline weights (Shine, Screen), within a
// quarter of a per cent of the maximum of a direct sum (Direct). Metrics puts
// figures to ripple, mixing, contrast and glare, Findings tells which are too
// much and what would mend them, Advise which depth, pitch and glass suit a
// strip. Live keeps a panel whose settings are being dragged.
//
// Not modelled: light trapped inside the pane, side walls (the box is two
// planes), and shade of cables and ribs. Tails below 1 % of a spot's peak are not
// to be trusted. Pictures made of it say "simulated".
package panel

import (
	"fmt"
	"math"
	"sync"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/drive"
)

// Glass is one panel made ready. It may serve several goroutines.
type Glass struct {
	layout  *layout.Layout
	strips  []*source       // by strip; strips alike share one
	leds    [][]int32       // by strip: its LEDs
	dies    [][4][3]float64 // by part: XYZ in cd through the pane, of one LED at code 1
	scatter unit.Angle
	q       float64
	eye     *Eye
	spot    float64    // mm: the standard width of the finest spot
	core    float64    // mm: of its sharpest part, for the grids
	room    [3]float64 // XYZ in cd/m2 of 1 lx of room light on the pane

	plan  plan
	like  *grids // of a panel like this one: what is the same is taken from it
	once  sync.Once
	grids *grids // made by build
}

// Eye is a viewer's place: X to the right and Y up from the panel's lower left
// corner, Z before the glass, in mm.
type Eye struct{ X, Y, Z float64 }

// New prepares a machine's panel for a viewer far away. It refuses a depth of
// zero, a transmittance, share, haze or reflectance outside 0..1, a scatter
// outside 0..180 degrees, a half angle outside 0..90, a tilt outside 0..90.
func New(m *show.Machine, l *layout.Layout) (*Glass, error) { return newGlass(m, l, nil) }

// NewFrom is New for a viewer at a place before the panel. Its fields are built
// from weights of every LED on every point, which takes longer and more memory.
func NewFrom(m *show.Machine, l *layout.Layout, eye Eye) (*Glass, error) {
	if !(eye.Z > 0) || math.IsInf(eye.X+eye.Y+eye.Z, 0) || math.IsNaN(eye.X+eye.Y) {
		return nil, fmt.Errorf("a viewer %g mm before the glass cannot see it: the distance must be above 0", eye.Z)
	}
	return newGlass(m, l, &eye)
}

func newGlass(m *show.Machine, l *layout.Layout, eye *Eye) (*Glass, error) {
	p := &m.Panel
	if err := refuse(p); err != nil {
		return nil, err
	}
	g := &Glass{layout: l, scatter: p.Glass.Scatter, q: p.Glass.Lambertian, eye: eye, plan: fieldPlan, spot: math.Inf(1), core: math.Inf(1)}
	made := map[setting]*source{}
	lobe := newLobe(sineOf(p.Glass.Scatter))
	for i := range l.Strips {
		set, err := settingOf(m, &l.Strips[i])
		if err != nil {
			return nil, fmt.Errorf("strip %q: %w", l.Strips[i].Name, err)
		}
		if made[set] == nil {
			made[set] = newSource(set, lobe)
		}
		s := made[set]
		g.strips = append(g.strips, s)
		g.spot, g.core = math.Min(g.spot, s.spot), math.Min(g.core, s.core)
	}
	g.leds = make([][]int32, len(l.Strips))
	for i := range l.LEDs {
		s := l.Pixels[l.LEDs[i].Pixel].Strip
		g.leds[s] = append(g.leds[s], int32(i))
	}
	g.room = [3]float64{0.95045593, 1, 1.08905775}
	for k := range g.room {
		g.room[k] *= p.Glass.Reflectance / math.Pi
	}
	return g, g.light(m)
}

func refuse(p *show.Panel) error {
	share := func(v float64, name string) error {
		if !(v >= 0 && v <= 1) {
			return fmt.Errorf("a %s of %g is outside 0 to 1", name, v)
		}
		return nil
	}
	if !(p.Depth > 0) {
		return fmt.Errorf("the depth from LED to glass is %v: it must be above 0", p.Depth)
	}
	if !(p.Glass.Scatter > 0 && p.Glass.Scatter < 180) {
		return fmt.Errorf("a scatter of %v is outside 0 to 180 deg", p.Glass.Scatter)
	}
	for _, c := range []struct {
		v    float64
		name string
	}{
		{p.Glass.Lambertian, "Lambertian share"}, {p.Glass.Haze, "haze"}, {p.Glass.Reflectance, "reflectance"}, {p.Walls, "reflectance of the back wall"},
		{p.Glass.Transmittance[0], "transmittance"}, {p.Glass.Transmittance[1], "transmittance"}, {p.Glass.Transmittance[2], "transmittance"},
	} {
		if err := share(c.v, c.name); err != nil {
			return err
		}
	}
	if p.Glass.Reflectance*p.Walls >= 1 {
		return fmt.Errorf("pane and back wall both reflect all light: it would never leave the box")
	}
	return nil
}

// light works out the dies' intensities through the pane.
func (g *Glass) light(m *show.Machine) error {
	t := m.Panel.Glass.Transmittance
	through := [4]float64{t[0], t[1], t[2], (t[0] + t[1] + t[2]) / 3}
	for i := range m.Parts {
		part := &m.Parts[i]
		var d [4][3]float64
		for c := range part.Dies() {
			v, err := drive.DieXYZ(part.Light[c])
			if err != nil {
				return fmt.Errorf("part %q: %w", part.Name, err)
			}
			for k := range v {
				d[c][k] = v[k] / 1000 * through[c] / 255 / float64(max(1, part.LEDsPerPixel))
			}
		}
		g.dies = append(g.dies, d)
	}
	return nil
}

// led is the intensity of one LED of a pixel through the pane, XYZ in cd.
func (g *Glass) led(pixel int, codes []uint8) (v [3]float64, lit bool) {
	p := &g.layout.Pixels[pixel]
	s := &g.layout.Strips[p.Strip]
	for c, code := range codes[p.Offset : p.Offset+s.Dies] {
		if code == 0 {
			continue
		}
		lit = true
		for k := range v {
			v[k] += float64(code) * g.dies[s.Part][c][k]
		}
	}
	return v, lit
}

// Room is the pane's own luminance in room light, XYZ in cd/m2.
func (g *Glass) Room(lux float64) [3]float64 {
	r := g.room
	for k := range r {
		r[k] *= lux
	}
	return r
}

// Spot is the standard width of the finest LED's spot on the pane in
// millimetres; its half width at half height is 1.18 times that.
func (g *Glass) Spot() float64 { return g.spot }

// sourceOf is a LED's.
func (g *Glass) sourceOf(led int) *source {
	return g.strips[g.layout.Pixels[g.layout.LEDs[led].Pixel].Strip]
}

// Influence is the luminance per candela that a LED gives a place in mm: the
// scattered light and the box's, not its sharp image.
func (g *Glass) Influence(led int, x, y float64) float64 {
	l := &g.layout.LEDs[led]
	s := g.sourceOf(led)
	if g.eye != nil {
		return s.from(x, y, l.X, l.Y, g.eye)
	}
	return s.at(x-l.X, y-l.Y)
}

// Brightest is where a LED's own light is brightest on the pane, in mm: before
// it, or beside it where it is tilted.
func (g *Glass) Brightest(led int) (x, y float64) {
	l := &g.layout.LEDs[led]
	dx, dy := g.sourceOf(led).peak()
	return l.X + dx, l.Y + dy
}
