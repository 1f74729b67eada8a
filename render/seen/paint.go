package seen

import (
	"math"

	"paneglow/render/drive"
)

// Target is one picture on the glass: linear sRGB, 1 = the panel's white, at the
// canvas's points.
type Target [][3]float32

// Miss is how far the light on the glass is from a target, over the whole panel.
type Miss struct {
	RMS  float64 // of white, over points and channels
	Dark float64 // share of the target's light that is missing
	Over float64 // light beside the target, as a share of the target's
}

// Painter solves for one clip's targets, each from where the last one ended. It
// serves one goroutine.
type Painter struct {
	canvas *Canvas
	w      work
	b      [][3]float32
	codes  []uint8
	duties []float32
	limit  int64
	fit    float64 // of the linear cost, so that the recount fits the limit
}

// NewPainter prepares a clip that may draw at most limit microamperes, idle
// included.
func (c *Canvas) NewPainter(limit int64) *Painter {
	n := c.layout.Channels()
	return &Painter{
		canvas: c, limit: limit, fit: 1, codes: make([]uint8, n), duties: make([]float32, n),
		b: make([][3]float32, c.p.pixels),
		w: work{x: make([]float32, n), y: make([]float32, n), old: make([]float32, n), light: make([][3]float32, c.p.pixels), pull: make([][3]float32, c.p.pixels)},
	}
}

// Paint sets dst to the duties that come closest to a target. It allocates
// nothing. The rounded codes draw at most the limit, by the meter's own count,
// unless the dark panel alone draws more.
func (p *Painter) Paint(dst []float32, t Target) {
	c := p.canvas
	c.ask(p.b, t)
	room := float64(p.limit - c.meter.Idle())
	// Costs are those of law sum. Where dies share current (largest, ceiling) the
	// recount leaves room, and the limit of the sum is raised step by step.
	for range 6 {
		allowed := max(room*p.fit, 0)
		c.p.solve(&p.w, p.b, allowed)
		counted, summed := p.count(), p.summed()
		if counted <= 0 || summed < 0.98*allowed {
			break // the limit does not bite
		}
		if r := room / counted; r > 1.01 || r < 1 {
			p.fit *= min(r, 4)
			continue
		}
		break
	}
	// Rounding may be over by a few codes.
	for range 40 {
		if p.count() <= room || room <= 0 {
			break
		}
		c.p.project(p.w.x, p.summed()*0.998)
	}
	copy(dst, p.duties)
	if room <= 0 {
		clear(dst)
	}
}

// count is the current of the rounded codes, idle taken off. It leaves the
// duties in p.duties.
func (p *Painter) count() float64 {
	copy(p.duties, p.w.x)
	for k, f := range p.canvas.factor {
		p.duties[k] = float32(p.duties[k] * f)
	}
	drive.Round(p.codes, p.duties, drive.FullGain)
	return float64(p.canvas.meter.Current(p.codes) - p.canvas.meter.Idle())
}

// summed is the linear cost of the duties.
func (p *Painter) summed() float64 {
	sum := 0.0
	for k, v := range p.w.x {
		sum += float64(float64(v) * float64(p.canvas.p.cost[k]))
	}
	return sum
}

// Rounds is how many steps the last solution took.
func (p *Painter) Rounds() int { return p.w.rounds }

// ask gathers what a target asks of each pixel.
func (c *Canvas) ask(b [][3]float32, t Target) {
	for p := range c.spans {
		var a0, a1, a2 float32
		for _, s := range c.spans[p] {
			w := c.weight[s.weight : s.weight+s.n]
			row := t[s.at : s.at+s.n]
			row = row[:len(w)]
			for i, v := range w {
				k, l := float32(v), &row[i]
				a0 += float32(k * l[0])
				a1 += float32(k * l[1])
				a2 += float32(k * l[2])
			}
		}
		b[p] = [3]float32{float32(a0 * c.one), float32(a1 * c.one), float32(a2 * c.one)}
	}
}

// Light is what duties look like on the canvas, in the target's units.
func (c *Canvas) Light(duties []float32) Target {
	out := make(Target, c.W*c.H)
	for p := range c.spans {
		var v [3]float32
		for k := c.p.first[p]; k < c.p.first[p+1]; k++ {
			d := duties[k]
			if c.factor != nil && c.factor[k] > 0 {
				d /= c.factor[k]
			}
			for j := range v {
				v[j] += float32(float32(d*c.p.die[k][j]) * c.one)
			}
		}
		if v == ([3]float32{}) {
			continue
		}
		for _, s := range c.spans[p] {
			for i, w := range c.weight[s.weight : s.weight+s.n] {
				o := &out[int(s.at)+i]
				for j := range v {
					o[j] += float32(float32(w) * v[j])
				}
			}
		}
	}
	return out
}

// Compare says how far light is from a target.
func Compare(light, target Target) Miss {
	var square, dark, over, all float64
	for i := range target {
		for k := range 3 {
			d := float64(light[i][k]) - float64(target[i][k])
			square += float64(d * d)
			dark += math.Max(-d, 0)
			over += math.Max(d, 0)
			all += float64(target[i][k])
		}
	}
	m := Miss{RMS: math.Sqrt(square / float64(3*len(target)))}
	if all > 0 {
		m.Dark, m.Over = dark/all, over/all
	}
	return m
}
