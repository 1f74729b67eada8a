// Package panel models the frosted glass: what a passer-by sees of the LEDs
// behind it.
//
// In: final codes, the machine's dies, and the panel's depth, scatter,
// Lambertian share and transmittance. Out: a field of luminance, as CIE X, Y, Z
// in cd/m2 on a grid over the panel, for a viewer far away on its normal; an
// 8-bit picture of it.
//
// The model: an LED of intensity I0 cos^m at depth d lights the pane with
// E = I0/d^2 cos^(m+3); the pane sends T E ((1-q) f + q/pi) towards the viewer,
// where f is an energy-conserving, reciprocal lobe (Gaussian in direction
// cosines) and q its Lambertian share. Limits: q = 1 is the ideal diffuser
// T E/pi; everything scales, so ripple depends on depth over pitch alone.
//
// Fields come from three grids with spline weights (Shine, Screen), within a
// quarter of a per cent of the maximum of a direct sum (Direct). Metrics puts
// figures to ripple, mixing, contrast and glare, Findings tells which are too
// much and what would mend them, Advise which depth, pitch and glass suit a strip.
//
// Not modelled: light from the box's walls, light trapped inside the pane,
// tilted emitters, their size, a sharp image through clear glass. Tails below 1 % of a
// spot's peak are not to be trusted. Pictures made of it say "simulated".
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
	layout   *layout.Layout
	depth    float64 // metres
	kernel   []float64
	step     float64         // of the kernel's table, in r/d
	dies     [][4][3]float64 // by part: XYZ in cd through the pane, of one LED at code 1
	spot     float64         // metres: the standard width of one LED's spot
	order, q float64         // of the LED's cosine law; the Lambertian share
	scatter  unit.Angle
	core     float64    // metres: of its sharpest part, for the grids
	room     [3]float64 // XYZ in cd/m2 of 1 lx of room light on the pane

	once  sync.Once
	grids *grids // made by build
}

// kernelReach is how far the kernel's table goes, in depths. Beyond it a
// Lambertian LED's light is below 1e-5 of its peak.
const kernelReach = 40

// New prepares a machine's panel. It refuses a depth of zero, a transmittance
// or share outside 0..1, a scatter outside 0..180 degrees, and parts of
// different emission angles (they would need a kernel each).
func New(m *show.Machine, l *layout.Layout) (*Glass, error) {
	p := &m.Panel
	switch {
	case !(p.Depth > 0):
		return nil, fmt.Errorf("the depth from LED to glass is %v: it must be above 0", p.Depth)
	case !(p.Glass.Scatter > 0 && p.Glass.Scatter < 180):
		return nil, fmt.Errorf("a scatter of %v is outside 0 to 180 deg", p.Glass.Scatter)
	case !(p.Glass.Lambertian >= 0 && p.Glass.Lambertian <= 1):
		return nil, fmt.Errorf("a Lambertian share of %g is outside 0 to 1", p.Glass.Lambertian)
	}
	g := &Glass{layout: l, depth: float64(p.Depth) / 1000}
	half := 60.0
	for i := range m.Parts {
		if h := float64(m.Parts[i].HalfAngle); h > 0 {
			if i > 0 && h != half {
				return nil, fmt.Errorf("part %q has a half angle of %g deg, another part %g deg: one panel is modelled with one", m.Parts[i].Name, h, half)
			}
			half = h
		}
	}
	if half >= 90 {
		return nil, fmt.Errorf("a half angle of %g deg is outside 0 to 90 deg", half)
	}
	order := -math.Ln2 / math.Log(math.Cos(half*math.Pi/180))
	sigma := float64(p.Glass.Scatter) * sigmaPerFWHM * math.Pi / 180
	s := math.Sin(math.Min(sigma, math.Pi/2))
	lobe, q := newLobe(s), p.Glass.Lambertian
	g.order, g.q, g.scatter = order, q, p.Glass.Scatter
	g.tabulate(lobe, order, q)
	g.spot = g.depth * s / math.Sqrt(1+(order+3)*s*s)
	g.core = g.spot
	if (1-q)*lobe.toward(0) < 0.05*q/math.Pi {
		g.spot = g.depth / math.Sqrt(order+3) // an ideal diffuser but for a trace
		g.core = 0.85 * g.spot                // more pointed than a Gaussian of its width
	}
	g.room = [3]float64{0.95045593, 1, 1.08905775}
	for k := range g.room {
		g.room[k] *= p.Glass.Reflectance / math.Pi
	}
	for i := range m.Parts {
		part := &m.Parts[i]
		var d [4][3]float64
		for c := range part.Dies() {
			v, err := drive.DieXYZ(part.Light[c])
			if err != nil {
				return nil, fmt.Errorf("part %q: %w", part.Name, err)
			}
			t := (p.Glass.Transmittance[0] + p.Glass.Transmittance[1] + p.Glass.Transmittance[2]) / 3
			if c < 3 {
				t = p.Glass.Transmittance[c]
			}
			if !(t >= 0 && t <= 1) {
				return nil, fmt.Errorf("a transmittance of %g is outside 0 to 1", t)
			}
			for k := range v {
				d[c][k] = v[k] / 1000 * t / 255 / float64(max(1, part.LEDsPerPixel))
			}
		}
		g.dies = append(g.dies, d)
	}
	return g, nil
}

// kernelAt is K(r; d = 1) per candela: luminance towards a far viewer on the
// normal, of an LED of order m at unit depth and lateral distance r, T = 1.
func kernelAt(l *lobe, m, q, r float64) float64 {
	cos := 1 / math.Sqrt(1+r*r)
	e := math.Pow(cos, m+3)
	return e * ((1-q)*l.toward(r*cos) + q/math.Pi)
}

func (g *Glass) tabulate(l *lobe, m, q float64) {
	// The finest feature is the spot's core, of width s in r/d.
	g.step = math.Min(l.s/100, 0.005)
	n := int(kernelReach/g.step) + 2
	g.kernel = make([]float64, n)
	for i := range g.kernel {
		g.kernel[i] = kernelAt(l, m, q, float64(i)*g.step)
	}
}

// k is the kernel at r/d by a straight line in the table.
func (g *Glass) k(r float64) float64 {
	p := r / g.step
	i := int(p)
	if i >= len(g.kernel)-1 {
		return 0
	}
	t := p - float64(i)
	return g.kernel[i] + t*(g.kernel[i+1]-g.kernel[i])
}

// Field is luminance on a grid: point (i, j) stands at (i*Step, j*Step) mm from
// the lower left corner, rows from the bottom up.
type Field struct {
	W, H int
	Step float64 // mm
	XYZ  [][3]float32

	scratch      scratch
	tapsX, tapsY []views
}

// Grid makes an empty field fine enough for this panel's spots: a fifth of
// their standard width, at least 1 mm, at most 8 mm.
func (g *Glass) Grid() *Field {
	step := math.Min(math.Max(g.spot*1000/5, 1), 8)
	f := &Field{Step: step, W: int(math.Ceil(g.layout.Width/step)) + 1, H: int(math.Ceil(g.layout.Height/step)) + 1}
	f.XYZ = make([][3]float32, f.W*f.H)
	return f
}

// Direct is the slow, obvious twin of Shine: a sum over the lit LEDs at every
// point. Its cost is points times lit LEDs.
func (g *Glass) Direct(f *Field, codes []uint8) {
	clear(f.XYZ)
	scale := 1 / (g.depth * g.depth)
	mm := 1 / (1000 * g.depth) // from millimetres to depths
	for i := range g.layout.LEDs {
		led := &g.layout.LEDs[i]
		v, lit := g.led(int(led.Pixel), codes)
		if !lit {
			continue
		}
		for k := range v {
			v[k] *= scale
		}
		for j := range f.H {
			dy := (float64(j)*f.Step - led.Y) * mm
			row := f.XYZ[j*f.W : (j+1)*f.W]
			for x := range row {
				dx := (float64(x)*f.Step - led.X) * mm
				w := g.k(math.Sqrt(dx*dx + dy*dy))
				row[x][0] += float32(w * v[0])
				row[x][1] += float32(w * v[1])
				row[x][2] += float32(w * v[2])
			}
		}
	}
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

// Spot is the standard width of one LED's spot on the pane in millimetres; its
// half width at half height is 1.18 times that.
func (g *Glass) Spot() float64 { return g.spot * 1000 }

// At interpolates the field at a place in millimetres.
func (f *Field) At(x, y float64) [3]float32 {
	px := math.Min(math.Max(x/f.Step, 0), float64(f.W)-1.0001)
	py := math.Min(math.Max(y/f.Step, 0), float64(f.H)-1.0001)
	i, j := int(px), int(py)
	u, v := float32(px-float64(i)), float32(py-float64(j))
	a, b := f.XYZ[j*f.W+i], f.XYZ[j*f.W+i+1]
	c, d := f.XYZ[(j+1)*f.W+i], f.XYZ[(j+1)*f.W+i+1]
	var out [3]float32
	for k := range out {
		out[k] = (a[k]*(1-u)+b[k]*u)*(1-v) + (c[k]*(1-u)+d[k]*u)*v
	}
	return out
}
