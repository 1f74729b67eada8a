package panel

import "math"

// Field is luminance on a grid: point (i, j) stands at (i*Step, j*Step) mm from
// the lower left corner, rows from the bottom up.
type Field struct {
	W, H int
	Step float64 // mm
	XYZ  [][3]float32

	scratch      scratch
	spline       bool    // the points are the near grid's: between them its spline is read
	sharp        []light // of sharp images, where there are any; part of XYZ
	tapsX, tapsY []views
}

// NewField makes an empty field of w by h points, step mm apart.
func NewField(w, h int, step float64) *Field {
	return &Field{W: w, H: h, Step: step, XYZ: make([][3]float32, w*h)}
}

// Grid makes an empty field for this panel, on the points of its own near grid,
// so that At reads the spline itself. A panel summed up directly gets points a
// third of its spot apart, 1 to 8 mm.
func (g *Glass) Grid() *Field {
	step := math.Min(math.Max(g.spot/3, 1), 8)
	own := !g.tooFine()
	if own {
		step = g.build().near.step
	}
	f := NewField(int(math.Ceil(g.layout.Width/step))+1, int(math.Ceil(g.layout.Height/step))+1, step)
	f.spline = own
	return f
}

// Direct is the slow, obvious twin of Shine: a sum over the lit LEDs at every
// point. Its cost is points times lit LEDs.
func (g *Glass) Direct(f *Field, codes []uint8) {
	clear(f.XYZ)
	for i := range g.layout.LEDs {
		v, lit := g.led(int(g.layout.LEDs[i].Pixel), codes)
		if !lit {
			continue
		}
		for j := range f.H {
			row := f.XYZ[j*f.W : (j+1)*f.W]
			for x := range row {
				w := g.Influence(i, float64(x)*f.Step, float64(j)*f.Step)
				row[x][0] += float32(w * v[0])
				row[x][1] += float32(w * v[1])
				row[x][2] += float32(w * v[2])
			}
		}
	}
	g.addSharp(f, codes)
}

// At is the field at a place in millimetres, never below zero: by the spline
// that fills it where the field is Grid's, else by Catmull-Rom cubics through
// its points.
func (f *Field) At(x, y float64) [3]float32 {
	px := math.Min(math.Max(x/f.Step, 0), float64(f.W)-1)
	py := math.Min(math.Max(y/f.Step, 0), float64(f.H)-1)
	if f.spline && f.scratch.of != nil {
		return f.splineAt(px, py)
	}
	i, j := int(px), int(py)
	wx, wy := cubicThrough(px-float64(i)), cubicThrough(py-float64(j))
	var sum [3]float64
	for b := range 4 {
		row := min(max(j-1+b, 0), f.H-1) * f.W
		for a := range 4 {
			add(&sum, &f.XYZ[row+min(max(i-1+a, 0), f.W-1)], wx[a]*wy[b])
		}
	}
	return notBelow(&sum)
}

// splineAt reads the near grid's spline, px and py in steps.
func (f *Field) splineAt(px, py float64) [3]float32 {
	m := &f.scratch.of.near
	i, j := min(int(px)-2-m.x0, m.w-6), min(int(py)-2-m.y0, m.h-6)
	wx, wy := quinticWeights(px-float64(i+2+m.x0)), quinticWeights(py-float64(j+2+m.y0))
	var sum [3]float64
	for b := range 6 {
		row := f.scratch.near[(j+b)*m.w+i:]
		for a := range 6 {
			add(&sum, &row[a], wx[a]*wy[b])
		}
	}
	if f.sharp != nil {
		add(&sum, &f.sharp[int(py+0.5)*f.W+int(px+0.5)], 1)
	}
	return notBelow(&sum)
}

func add(sum *[3]float64, v *light, w float64) {
	sum[0] += w * float64(v[0])
	sum[1] += w * float64(v[1])
	sum[2] += w * float64(v[2])
}

func notBelow(sum *[3]float64) (out [3]float32) {
	for k := range out {
		out[k] = float32(math.Max(sum[k], 0))
	}
	return out
}

// cubicThrough are the weights of a cubic through the two middle of four points,
// with the slope of their neighbours (Catmull and Rom 1974).
func cubicThrough(t float64) [4]float64 {
	return [4]float64{
		t * (-0.5 + t*(1-0.5*t)),
		1 + t*t*(-2.5+1.5*t),
		t * (0.5 + t*(2-1.5*t)),
		t * t * (-0.5 + 0.5*t),
	}
}
