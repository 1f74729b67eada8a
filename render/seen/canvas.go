package seen

import (
	"fmt"
	"math"

	"paneglow/anim/color"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/render/drive"
	"paneglow/render/panel"
	"paneglow/render/power"
)

// MostPixels bounds a panel that can be painted: its shared influences are one
// number a pair of pixels.
const MostPixels = 4000

// finest is one over the greatest influence's whole number.
const finest = 1 << 14

// Canvas is what every pixel of a panel does to a grid of points. It is
// immutable and may be shared.
type Canvas struct {
	W, H   int     // points, rows from the bottom up
	Step   float64 // mm; point (i, j) stands at ((i+1/2) Step, (j+1/2) Step)
	layout *layout.Layout
	meter  *power.Meter
	spans  [][]span // by pixel
	weight []uint16 // of all spans
	scale  []float32
	p      problem
	one    float32   // a whole part of influence in units of the target's white
	factor []float32 // from stretches, nil when all are 1
}

// span is one row of a pixel's influence.
type span struct{ at, n, weight int32 }

// New works out a panel's influences. It refuses more than MostPixels pixels,
// and glass that scatters nothing.
func New(m *show.Machine, l *layout.Layout, meter *power.Meter, d *drive.Map) (*Canvas, error) {
	if len(l.Pixels) > MostPixels {
		return nil, fmt.Errorf("%d pixels are over the %d whose light can be worked out together: use as = \"srgb\"", len(l.Pixels), MostPixels)
	}
	g, err := panel.New(m, l)
	if err != nil {
		return nil, err
	}
	if m.Panel.Glass.Haze == 0 {
		return nil, fmt.Errorf("clear glass shows the LEDs themselves: there is no light on it to paint with")
	}
	c := &Canvas{layout: l, meter: meter, factor: d.Factors()}
	c.grid(g)
	if err := c.dies(m); err != nil {
		return nil, err
	}
	c.influences(g)
	c.normalise()
	c.p.curvature()
	return c, nil
}

// grid lays the points two thirds of a spot apart, at most mostPoints of them.
func (c *Canvas) grid(g *panel.Glass) {
	const mostPoints = 40_000
	c.Step = max(g.Spot()*0.65, math.Sqrt(c.layout.Width*c.layout.Height/mostPoints))
	c.W, c.H = max(1, int(math.Ceil(c.layout.Width/c.Step))), max(1, int(math.Ceil(c.layout.Height/c.Step)))
}

// dies sets colours, bounds and costs of all dies.
func (c *Canvas) dies(m *show.Machine) error {
	type part struct {
		color [4][3]float32
		white float64 // cd of the part's white
	}
	var parts []part
	brightest := 0.0
	for i := range m.Parts {
		var p part
		rel, err := drive.Relative(&m.Parts[i])
		if err != nil {
			return fmt.Errorf("part %q: %w", m.Parts[i].Name, err)
		}
		for k := range rel {
			for j, v := range color.LinearFromXYZ(rel[k]) {
				p.color[k][j] = float32(v)
			}
		}
		white, err := drive.White(&m.Parts[i])
		if err != nil {
			return fmt.Errorf("part %q: %w", m.Parts[i].Name, err)
		}
		for k, duty := range white {
			xyz, err := drive.DieXYZ(m.Parts[i].Light[k])
			if err != nil {
				return err
			}
			p.white += float64(float64(duty) * xyz[1])
		}
		brightest = max(brightest, p.white)
		parts = append(parts, p)
	}
	c.p.pixels = len(c.layout.Pixels)
	c.p.most, c.p.cost = make([]float32, c.layout.Channels()), make([]float32, c.layout.Channels())
	c.p.die = make([][3]float32, c.layout.Channels())
	for i := range c.layout.Pixels {
		px := &c.layout.Pixels[i]
		st := &c.layout.Strips[px.Strip]
		c.p.first = append(c.p.first, px.Offset)
		cost := power.PartOf(&m.Parts[st.Part])
		for k := range st.Dies {
			at := px.Offset + k
			c.p.die[at] = parts[st.Part].color[k]
			c.p.cost[at] = float32(cost.Channel[k])
			if !px.Hidden && !px.Missing {
				c.p.most[at] = 1
			}
			if c.factor != nil && c.factor[at] > 0 {
				// x is the light of a sound die; the duty is x times the factor.
				c.p.most[at] = min(c.p.most[at], 1/c.factor[at])
				c.p.cost[at] = float32(c.p.cost[at] * c.factor[at])
			}
		}
		c.scale = append(c.scale, float32(parts[st.Part].white/brightest))
	}
	c.p.first = append(c.p.first, c.layout.Channels())
	return nil
}

// influences samples every pixel's light in whole parts of the greatest.
func (c *Canvas) influences(g *panel.Glass) {
	leds := make([][]int, len(c.layout.Pixels))
	for i := range c.layout.LEDs {
		p := c.layout.LEDs[i].Pixel
		leds[p] = append(leds[p], i)
	}
	light := func(p int, x, y float64) float64 {
		sum := 0.0
		for _, led := range leds[p] {
			sum += g.Influence(led, x, y)
		}
		return sum * float64(c.scale[p]) / float64(max(1, len(leds[p])))
	}
	peak := 0.0
	for p := range leds {
		for _, led := range leds[p] {
			x, y := g.Brightest(led)
			peak = max(peak, light(p, x, y))
		}
	}
	c.spans = make([][]span, len(leds))
	row := make([]uint16, c.W)
	for p := range leds {
		for y := range c.H {
			lo, hi := c.W, 0
			for x := range row {
				// Whole numbers of 16 bits have room for what a coarse look at the
				// peak missed.
				row[x] = uint16(min(math.Round(light(p, (float64(x)+0.5)*c.Step, (float64(y)+0.5)*c.Step)/peak*finest), math.MaxUint16))
				if row[x] > 0 {
					lo, hi = min(lo, x), x+1
				}
			}
			if lo < hi {
				c.spans[p] = append(c.spans[p], span{at: int32(y*c.W + lo), n: int32(hi - lo), weight: int32(len(c.weight))})
				c.weight = append(c.weight, row[lo:hi]...)
			}
		}
	}
}

// normalise makes the light of the white panel 1 over its pixels, and the
// products of influences: exact sums of whole numbers, scaled once.
func (c *Canvas) normalise() {
	white := make([]int64, c.W*c.H)
	for p := range c.spans {
		if px := &c.layout.Pixels[p]; px.Hidden || px.Missing {
			continue
		}
		for _, s := range c.spans[p] {
			for i, w := range c.weight[s.weight : s.weight+s.n] {
				white[int(s.at)+i] += int64(w)
			}
		}
	}
	sum, n := int64(0), int64(0)
	for i := range c.layout.Pixels {
		px := &c.layout.Pixels[i]
		if px.Hidden || px.Missing {
			continue
		}
		x, y := min(max(int(px.X/c.Step), 0), c.W-1), min(max(int(px.Y/c.Step), 0), c.H-1)
		sum += white[y*c.W+x]
		n++
	}
	if sum == 0 {
		return // no pixel lights the pane: nothing can be painted
	}
	c.one = float32(float64(n) / float64(sum))
	size := c.p.pixels
	c.p.gram = make([]float32, size*size)
	dense := make([]int64, c.W*c.H)
	scale := float64(float64(c.one) * float64(c.one))
	for p := range c.spans {
		c.fill(dense, p, false)
		for q := p; q < size; q++ {
			v := int64(0)
			for _, s := range c.spans[q] {
				d := dense[s.at : s.at+s.n]
				for i, w := range c.weight[s.weight : s.weight+s.n] {
					v += d[i] * int64(w)
				}
			}
			c.p.gram[p*size+q] = float32(float64(v) * scale)
			c.p.gram[q*size+p] = c.p.gram[p*size+q]
		}
		c.fill(dense, p, true)
	}
}

// fill writes a pixel's influence, or clears it again.
func (c *Canvas) fill(dense []int64, p int, dark bool) {
	for _, s := range c.spans[p] {
		for i, w := range c.weight[s.weight : s.weight+s.n] {
			if dark {
				w = 0
			}
			dense[int(s.at)+i] = int64(w)
		}
	}
}
