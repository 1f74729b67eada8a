package panel

import (
	"math"
	"slices"

	"paneglow/anim/show"
)

// What is told about a panel's glass, and where it is called too much.
const (
	// Acceptable ripple is visible and mostly accepted, Smooth is smooth at a
	// glance; both as (max-min)/(max+min) (common practice).
	Acceptable = 0.10
	Smooth     = 0.02
	// Muddy is the spot's full width at half height, in pixel pitches, beyond
	// which neighbours' colours no longer stay apart (common practice: 1 to 1.5).
	Muddy = 1.5
	// Points is how bright a sharp image of a LED may be over the glass around it
	// before it is told: as visible as the ripple that is mostly accepted.
	Points = 0.2
	// Legible is the least contrast of lit to unlit glass by day (ISO 15008, from memory).
	Legible = 3.0
	// Glaring is the unified glare rating of the roughest work rooms (EN 12464-1, from memory).
	Glaring = 28.0

	glareDistance = 500.0 // mm: where glare is judged
)

// Metrics is what a frame looks like through the glass, in figures.
type Metrics struct {
	Strips []StripMetrics // as in the layout
	Peak   float64        // cd/m2, brightest point of the panel
	Mean   float64        // cd/m2, over the lit strips' lines
	Day    Contrast
	Night  Contrast
	Glare  float64 // unified glare rating at 0.5 m by night; 0 without night light
	Clear  float64 // cd/m2 of the brightest sharp image of a LED; 0 where all light is scattered
}

// Contrast is lit against unlit glass in room light.
type Contrast struct {
	Lux   float64
	Room  float64 // cd/m2 of the unlit pane
	Ratio float64 // (Mean + Room) / Room; 0 where no room light is given
}

// StripMetrics is one strip's.
type StripMetrics struct {
	Name      string
	LEDs      Ripple  // every LED lit alike
	Alternate Ripple  // every second pixel lit: how well neighbours stay apart
	Spot      float64 // mm, full width at half height
	Mixing    float64 // Spot over the pixel pitch
}

// Ripple is how even light is along a strip. The zero value is a strip of fewer
// than two LEDs.
type Ripple struct {
	Michelson float64 // (max-min)/(max+min)
	Uniform   float64 // min/mean, as EN 12464-1 counts evenness
	Period    float64 // mm
	Threshold float64 // the Michelson that is just seen at the viewer's distance
	Seen      bool    // a viewer's distance is given, and Michelson is above Threshold
}

// Metrics measures a frame of codes, or, without one, all dies at full duty.
// Ripple is of the strips' geometry and does not depend on the frame, except
// that brighter light shows finer ripple.
func (g *Glass) Metrics(room show.Room, codes []uint8) Metrics {
	if codes == nil {
		codes = make([]uint8, g.layout.Channels())
		for i := range codes {
			codes[i] = 255
		}
	}
	f := g.Grid()
	g.Shine(f, codes)
	var m Metrics
	for _, v := range f.XYZ {
		m.Peak = math.Max(m.Peak, float64(v[1]))
	}
	lit := 0
	off := g.peaks()
	for i := range g.layout.LEDs {
		led := &g.layout.LEDs[i]
		if v, on := g.led(int(led.Pixel), codes); on {
			// A tilted LED's light is brightest beside it.
			dx, dy := off[g.layout.Pixels[led.Pixel].Strip][0], off[g.layout.Pixels[led.Pixel].Strip][1]
			m.Mean += float64(f.At(led.X+dx, led.Y+dy)[1])
			lit++
			if im, ok := g.sharpOf(i); ok {
				m.Clear = math.Max(m.Clear, im.luminance*v[1])
			}
		}
	}
	m.Mean /= math.Max(1, float64(lit))
	m.Day, m.Night = g.contrast(float64(room.Day), m.Mean), g.contrast(float64(room.Night), m.Mean)
	m.Glare = unifiedGlare(f, glareDistance, float64(room.Night)/math.Pi)
	for s := range g.layout.Strips {
		st := &g.layout.Strips[s]
		sm := StripMetrics{Name: st.Name, Spot: g.strips[s].width(), LEDs: g.stripRipple(s, 1, off[s]), Alternate: g.stripRipple(s, 2, off[s])}
		if st.PixelPitch > 0 {
			sm.Mixing = sm.Spot / st.PixelPitch
		}
		for _, r := range []*Ripple{&sm.LEDs, &sm.Alternate} {
			if room.Viewer > 0 && r.Period > 0 && m.Mean > 0 {
				v := float64(room.Viewer)
				size := degrees(math.Sqrt(g.layout.Width*g.layout.Height), v)
				r.Threshold = math.Min(1, 1/sensitivity(1/degrees(r.Period, v), m.Mean, size))
				r.Seen = r.Michelson > r.Threshold
			}
		}
		m.Strips = append(m.Strips, sm)
	}
	return m
}

func (g *Glass) contrast(lux, mean float64) Contrast {
	c := Contrast{Lux: lux, Room: g.Room(lux)[1]}
	if c.Room > 0 {
		c.Ratio = (mean + c.Room) / c.Room
	}
	return c
}

// stripRipple is the median ripple over windows of one period along a strip,
// away from its ends, where every n-th pixel of the whole panel is lit. off is
// where a LED's light is brightest, in mm from it.
func (g *Glass) stripRipple(strip, every int, off [2]float64) Ripple {
	st := &g.layout.Strips[strip]
	var all, own []int // LEDs that are lit; those of the strip, in order
	for i := range g.layout.LEDs {
		p := &g.layout.Pixels[g.layout.LEDs[i].Pixel]
		if p.Strip == strip {
			own = append(own, i)
		}
		if p.Index%every == 0 {
			all = append(all, i)
		}
	}
	// A window runs over n steps from LED to LED.
	n := 1
	period := st.LEDPitch
	if every > 1 {
		period = float64(every) * st.PixelPitch
		n = max(1, int(math.Round(period/math.Max(st.LEDPitch, 1e-6))))
	}
	if len(own) <= n {
		return Ripple{}
	}
	margin := int(2 * g.strips[strip].depth / math.Max(st.LEDPitch, 1e-6))
	lo, hi := margin, len(own)-1-n-margin // first LED of the windows
	if lo > hi {
		lo = (len(own) - 1 - n) / 2
		hi = lo
	}
	const most, samples = 9, 32
	var michelson, uniform []float64
	for k := range most {
		first := lo + (hi-lo)*k/(most-1)
		a, b, sum := math.Inf(1), 0.0, 0.0
		for i := range samples * n {
			x, y := g.between(own, float64(first)+float64(i)/samples)
			v := g.glow(all, x+off[0], y+off[1])
			a, b, sum = math.Min(a, v), math.Max(b, v), sum+v
		}
		if b > 0 {
			michelson = append(michelson, (b-a)/(b+a))
			uniform = append(uniform, a/(sum/float64(samples*n)))
		}
	}
	if len(michelson) == 0 {
		return Ripple{}
	}
	slices.Sort(michelson)
	slices.Sort(uniform)
	return Ripple{Michelson: michelson[len(michelson)/2], Uniform: uniform[len(uniform)/2], Period: period}
}

// between is the place u LEDs along a strip.
func (g *Glass) between(own []int, u float64) (x, y float64) {
	i := min(int(u), len(own)-2)
	a, b, t := &g.layout.LEDs[own[i]], &g.layout.LEDs[own[i+1]], u-float64(i)
	return a.X + t*(b.X-a.X), a.Y + t*(b.Y-a.Y)
}

// glow is the light of LEDs that all shine alike, at a place, per candela of each.
func (g *Glass) glow(leds []int, x, y float64) float64 {
	sum := 0.0
	for _, i := range leds {
		sum += g.Influence(i, x, y)
	}
	return sum
}

// peaks is where each strip's LEDs are brightest, in mm from them.
func (g *Glass) peaks() [][2]float64 {
	off := make([][2]float64, len(g.strips))
	for i, s := range g.strips {
		off[i][0], off[i][1] = s.peak()
	}
	return off
}
