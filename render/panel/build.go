package panel

import (
	"math"
	"slices"
)

// fewSamples bounds the work of building a coarse grid's weights per LED.
const fewSamples = 2_000_000

// coarseLeast: a smooth part's tail is faint and large. Cut as the near part is,
// it would take 0.5 % of all light.
const coarseLeast = 300

// margin is how many points of darkness a patch gets around its samples, so
// that the prefilter has died away: 0.43^6 is 0.006 of a value that is itself
// near zero there.
const margin = 6

// finest is how many points a near grid may have: a fine spot on a large panel
// would want more. Such a panel is summed up directly, which is slow and exact.
const finest = 1 << 22

// heaviest is how many weights of whole-grid LEDs are kept: half a gigabyte.
// Beyond that the panel is summed up directly too.
const heaviest = 1 << 26

// tooFine tells that a panel is summed up directly.
func (g *Glass) tooFine() bool {
	step := g.plan.near * g.core
	points := (g.layout.Width/step + 8) * (g.layout.Height/step + 8)
	whole := 0
	for i, s := range g.strips {
		if g.eye != nil || !s.straight() {
			whole += len(g.leds[i])
		}
	}
	return points > finest || points*float64(whole) > heaviest
}

// Build makes the panel's grids, which the first Shine would do otherwise, so
// that it may be done in the background.
func (g *Glass) Build() {
	if !g.tooFine() {
		g.build()
	}
}

// build makes the grids once.
func (g *Glass) build() *grids {
	g.once.Do(func() { g.grids = g.newGrids(); g.like = nil })
	return g.grids
}

// newGrids builds the grids, taking over what a panel like this one has.
func (g *Glass) newGrids() *grids {
	p, n := g.plan, &grids{}
	n.mesh(g)
	n.kindsOf(g, p)
	for i, s := range g.strips {
		leds := make([]place, len(g.leds[i]))
		for j, led := range g.leds[i] {
			leds[j] = place{led, g.layout.LEDs[led].X, g.layout.LEDs[led].Y}
		}
		if old := n.takeOver(g, i, s, leds); old != nil {
			n.strips = append(n.strips, old)
			n.reused++
			continue
		}
		n.strips = append(n.strips, n.newStrip(g, p, i, s, leds))
	}
	return n
}

// mesh lays out the grids: those of the panel like this one while they are
// neither too coarse nor much finer than needed, and reach far enough.
func (n *grids) mesh(g *Glass) {
	p, l := g.plan, g.layout
	lox, hix, loy, hiy := 0.0, l.Width, 0.0, l.Height
	for i := range l.LEDs {
		lox, hix = math.Min(lox, l.LEDs[i].X), math.Max(hix, l.LEDs[i].X)
		loy, hiy = math.Min(loy, l.LEDs[i].Y), math.Max(hiy, l.LEDs[i].Y)
	}
	near := newMesh(p.near*g.core, 0, l.Width, 0, l.Height, 0, 2)
	if o := g.like; o != nil && o.near.step <= near.step*1.001 && o.near.step > 0.8*near.step && o.near.covers(0, l.Width, 0, l.Height, 0, 2) {
		fits, fine := true, o.near.step
		for i := range o.levels {
			fits = fits && o.levels[i].covers(lox, hix, loy, hiy, 3*fine, 1)
			fine = o.levels[i].step
		}
		if fits {
			n.near, n.levels = o.near, o.levels
			return
		}
	}
	n.near = near
	fine, smoothing, split := near, quinticSmoothing, p.split*near.step/p.near
	for {
		// A coarse grid's error falls with the fourth power of its step, and counts
		// by its share of the whole kernel's peak.
		most := 0.0
		for _, s := range g.strips {
			k := s.radial()
			smooth := newTail(k, split)
			if peak := k(0); peak > 0 { // clear glass scatters nothing
				most = math.Max(most, smooth.greatest()/peak)
			}
		}
		cells := p.cells * math.Sqrt(math.Sqrt(math.Max(1, most/p.faint)))
		c := level{mesh: newMesh(split/cells, lox, hix, loy, hiy, 3*fine.step, 1)}
		c.toFineX = c.refine(fine.x0, fine.w, c.x0, c.w, fine.step, smoothing)
		c.toFineY = c.refine(fine.y0, fine.h, c.y0, c.h, fine.step, smoothing)
		n.levels = append(n.levels, c)
		if c.w*c.h <= p.last {
			return
		}
		split, fine, smoothing = split*p.grow, c.mesh, cubicSmoothing
	}
}

// splits are the ends of the parts of a grid: the near one's, then every level's.
func (n *grids) split(p plan, level int) float64 {
	return p.split * n.near.step / p.near * math.Pow(p.grow, float64(level))
}

// radial is the source's light by the distance in mm.
func (s *source) radial() func(r float64) float64 {
	return func(r float64) float64 { return s.scale * s.k(r*s.perMM) }
}

// kindsOf cuts the kernels of straight LEDs into parts.
func (n *grids) kindsOf(g *Glass, p plan) {
	of := map[*source]int{}
	for i, s := range g.strips {
		if g.eye != nil || !s.straight() {
			n.light = append(n.light, -1)
			continue
		}
		at, ok := of[s]
		if !ok {
			at = len(n.kinds)
			of[s] = at
			leds := 0
			for j := range g.strips {
				if g.strips[j] == s {
					leds += len(g.leds[j])
				}
			}
			n.kinds = append(n.kinds, n.newKind(p, s, leds))
		}
		n.light = append(n.light, at)
		_ = i
	}
}

func (n *grids) newKind(p plan, s *source, leds int) *kind {
	k := &kind{source: s}
	kernel := s.radial()
	smooth := newTail(kernel, n.split(p, 0))
	for i := range n.levels {
		c := &n.levels[i]
		next := newTail(kernel, n.split(p, i+1))
		cut := smooth
		t := stencil{part: func(r float64) float64 { return cut.at(r) - next.at(r) }, ends: next.r0}
		if i == len(n.levels)-1 {
			t.part, t.ends = cut.at, c.step*float64(c.w+c.h)
		}
		if side := int(2 * t.ends / c.step); leds < c.w*c.h && leds*side*side < fewSamples {
			t.few = true
		} else {
			t.tabulate(c.mesh, p.least/coarseLeast)
		}
		k.parts = append(k.parts, t)
		smooth = next
	}
	return k
}

// tabulate makes the stencil: the kernel from point to point, filtered once for
// the spline that spreads the LEDs and once for the one that is read.
func (t *stencil) tabulate(c mesh, least float64) {
	half := int(math.Ceil(t.ends/c.step)) + margin
	n := 2*half + 1
	patch := make([]float64, n*n)
	for b := range n {
		for a := range n {
			r := c.step * math.Hypot(float64(a-half), float64(b-half))
			if r < t.ends {
				patch[b*n+a] = t.part(r)
			}
		}
	}
	prefilterPatch(patch, n, n, cubicPoles)
	prefilterPatch(patch, n, n, cubicPoles)
	least *= math.Abs(patch[half*n+half])
	for dy := 0; dy <= half && dy < c.h; dy++ {
		row := patch[(half+dy)*n : (half+dy+1)*n]
		k := min(half, c.w-1)
		for k >= 0 && math.Abs(row[half+k]) < least {
			k--
		}
		var s []float32
		for dx := -k; dx <= k; dx++ {
			s = append(s, float32(row[half+dx]))
		}
		t.rows, t.reach = append(t.rows, s), append(t.reach, k)
	}
}

// newStrip makes one strip's weights.
func (n *grids) newStrip(g *Glass, p plan, i int, s *source, leds []place) *stripGrids {
	out := &stripGrids{source: s, leds: leds}
	if n.light[i] < 0 {
		out.near.whole(n.near, quinticPoles, leds, g.Influence)
		return out
	}
	k := n.kinds[n.light[i]]
	kernel, split := s.radial(), n.split(p, 0)
	smooth := newTail(kernel, split)
	out.near.radial(n.near, func(r float64) float64 { return kernel(r) - smooth.at(r) }, split, p.least*kernelShare(kernel, &smooth), quinticPoles, leds)
	for j := range n.levels {
		c, t := &n.levels[j], &k.parts[j]
		var sl stripLevel
		if t.few {
			sl.shares.radial(c.mesh, t.part, t.ends, p.least/coarseLeast, cubicPoles, leds)
		} else {
			sl.place(c.mesh, leds)
		}
		out.coarse = append(out.coarse, sl)
	}
	return out
}

// kernelShare turns a share of a kernel's peak into one of its near part's: a
// wide spot among fine ones has hardly any near part.
func kernelShare(kernel func(float64) float64, smooth *tail) float64 {
	k := kernel(0)
	if k == 0 {
		return 1
	}
	return k / math.Max(math.Abs(k-smooth.at(0)), 1e-9*k)
}

// takeOver finds the weights of an unchanged strip in the panel like this one.
func (n *grids) takeOver(g *Glass, i int, s *source, leds []place) *stripGrids {
	o := g.like
	if o == nil || i >= len(o.strips) || g.eye != nil || n.near != o.near || len(n.levels) != len(o.levels) || &n.levels[0] != &o.levels[0] {
		return nil
	}
	old := o.strips[i]
	if old.source.setting != s.setting || !slices.Equal(old.leds, leds) || (n.light[i] < 0) != (o.light[i] < 0) {
		return nil
	}
	if n.light[i] >= 0 {
		a, b := n.kinds[n.light[i]], o.kinds[o.light[i]]
		for j := range a.parts {
			if a.parts[j].few != b.parts[j].few {
				return nil
			}
		}
	}
	return old
}

// covers tells that a grid reaches around a rectangle as newMesh would make it.
func (m *mesh) covers(lox, hix, loy, hiy, margin float64, side int) bool {
	w := newMesh(m.step, lox, hix, loy, hiy, margin, side)
	return m.x0 <= w.x0 && m.y0 <= w.y0 && m.x0+m.w >= w.x0+w.w && m.y0+m.h >= w.y0+w.h
}

// newMesh covers a rectangle, widened by a margin, with the points that a
// spline needs around every place: side more than the two beside it.
func newMesh(step, lox, hix, loy, hiy, margin float64, side int) mesh {
	m := mesh{step: step}
	m.x0 = int(math.Floor((lox-margin)/step)) - side
	m.y0 = int(math.Floor((loy-margin)/step)) - side
	m.w = int(math.Floor((hix+margin)/step)) + side + 2 - m.x0
	m.h = int(math.Floor((hiy+margin)/step)) + side + 2 - m.y0
	return m
}

// place finds the points that each LED spreads to.
func (s *stripLevel) place(c mesh, leds []place) {
	for _, l := range leds {
		u, v := l.x/c.step, l.y/c.step
		iu, iv := math.Floor(u), math.Floor(v)
		s.led = append(s.led, l.led)
		s.cellX, s.cellY = append(s.cellX, int32(int(iu)-1-c.x0)), append(s.cellY, int32(int(iv)-1-c.y0))
		wx, wy := splineWeights(u-iu), splineWeights(v-iv)
		var w [8]float32
		for k := range 4 {
			w[k], w[4+k] = float32(wx[k]), float32(wy[k])
		}
		s.spread = append(s.spread, w)
	}
}

// refine makes the taps of a finer grid's points in one direction.
func (c *level) refine(fine0, n, coarse0, width int, step, smoothing float64) []taps {
	t := make([]taps, n)
	for i := range t {
		u := float64(fine0+i) * step / c.step
		iu := math.Floor(u)
		t[i].at = int32(min(max(int(iu)-1-coarse0, 0), width-4))
		for k, w := range refineWeights(u-iu, step/c.step, smoothing) {
			t[i].w[k] = float32(w)
		}
	}
	return t
}
