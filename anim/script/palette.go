package script

import (
	"math"

	"paneglow/anim/color"
)

// paletteSteps is how finely a gradient is tabulated. Between two entries the
// light is a straight line; TestPaletteAccuracy holds the error.
const paletteSteps = 1024

// palette is a gradient as a table of light, entry i at i/paletteSteps. One
// more entry follows, so that t = 1 needs no case of its own.
type palette [paletteSteps + 2][4]float32

func newPalette(g *color.Gradient) *palette {
	p := new(palette)
	for i := range p {
		l := g.At(math.Min(float64(i)/paletteSteps, 1))
		p[i] = [4]float32{l[0], l[1], l[2]}
	}
	return p
}

// at is one lane of the light at t; outside 0..1 the ends continue.
func (p *palette) at(t float32, lane int) float32 {
	x, f := place32(t)
	return p[x][lane] + float32(f*(p[x+1][lane]-p[x][lane]))
}

func place32(t float32) (int32, float32) {
	if t < 0 {
		t = 0
	}
	if t > 1 {
		t = 1
	}
	t = float32(t * paletteSteps)
	i := int32(t)
	return i, t - float32(i)
}

// gradientV looks all three lanes up at once.
func gradientV(r, g, b, t []float32, p *palette) {
	t, g, b = t[:len(r)], g[:len(r)], b[:len(r)]
	for k := range r {
		i, f := place32(t[k])
		if uint32(i) > paletteSteps {
			continue // never: place32 is bounded; it spares the checks below
		}
		e, n := &p[i], &p[i+1]
		r[k] = e[0] + float32(f*(n[0]-e[0]))
		g[k] = e[1] + float32(f*(n[1]-e[1]))
		b[k] = e[2] + float32(f*(n[2]-e[2]))
	}
}

// palette finds or tabulates a gradient; the key is its text.
func (b *builder) palette(key string, g *color.Gradient) int {
	if i, ok := b.paletteAt[key]; ok {
		return i
	}
	p := newPalette(g)
	b.palettes = append(b.palettes, p)
	b.paletteAt[key] = len(b.palettes) - 1
	return len(b.palettes) - 1
}

// span bounds a lane: mixing may leave the stops' own range, so the table is
// what counts.
func (p *palette) span(lane int) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for i := range p {
		v := float64(p[i][lane])
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	return wide(lo, hi)
}
