package panel

import (
	"math"

	"paneglow/anim/unit"
)

// Advice is what depth, pitch and glass would suit one strip. Lengths are in
// mm; a 0 says that no value within reach does it.
type Advice struct {
	Strip      string
	Depth      float64 // today's
	LEDPitch   float64
	PixelPitch float64
	Scatter    unit.Angle
	Ripple     float64 // today's, of an endless row, (max-min)/(max+min)

	AcceptableDepth float64 // least depth for a ripple of Acceptable
	SmoothDepth     float64 // least depth for a ripple of Smooth
	DeepestDepth    float64 // at more depth neighbouring pixels' colours run into mud

	AcceptablePitch float64 // greatest LED pitch at today's depth
	SmoothPitch     float64
	FinestPixel     float64 // least pixel pitch whose colours stay apart at today's depth

	AcceptableScatter unit.Angle // least scatter at today's depth and pitch, at most widest
	SmoothScatter     unit.Angle
	OpalAcceptable    float64 // least depth with an ideal diffuser
	OpalSmooth        float64
}

// widest is the greatest scatter that advice proposes: what lies beyond is opal.
const widest = 90

// SecondSheet is the scatter of a further sheet that brings today's to a sum:
// widths of scatterers in series add as squares (common practice for small
// angles). It is 0 where today's is enough.
func SecondSheet(today, sum unit.Angle) unit.Angle {
	if sum <= today {
		return 0
	}
	return unit.Angle(math.Sqrt(float64(sum*sum - today*today)))
}

// Advise works out what would suit a strip, by the model of an endless row. A
// sharp image through clear glass is left out: no depth cures it.
func (g *Glass) Advise(strip int) Advice {
	st, s := &g.layout.Strips[strip], g.strips[strip]
	a := Advice{Strip: st.Name, Depth: s.depth, LEDPitch: st.LEDPitch, PixelPitch: st.PixelPitch, Scatter: g.scatter}
	if !(st.LEDPitch > 0) || s.haze == 0 {
		return a // one LED has no ripple, clear glass no spots
	}
	this, opal := g.along(strip, s.point.at), g.along(strip, s.opal())
	face := s.emitter / st.LEDPitch
	a.Ripple = rowRipple(this, a.Depth/st.LEDPitch, face)
	// The face's blur goes with face over pitch; all else with depth over pitch.
	if ratio := leastRatio(this, face, Acceptable); ratio > 0 {
		a.AcceptableDepth, a.AcceptablePitch = ratio*st.LEDPitch, a.Depth/ratio
	}
	if ratio := leastRatio(this, face, Smooth); ratio > 0 {
		a.SmoothDepth, a.SmoothPitch = ratio*st.LEDPitch, a.Depth/ratio
	}
	if w := s.width() / a.Depth; w > 0 {
		a.DeepestDepth, a.FinestPixel = Muddy*st.PixelPitch/w, s.width()/Muddy
	}
	a.OpalAcceptable, a.OpalSmooth = leastRatio(opal, face, Acceptable)*st.LEDPitch, leastRatio(opal, face, Smooth)*st.LEDPitch
	a.AcceptableScatter = g.leastScatter(strip, a.Depth/st.LEDPitch, face, Acceptable)
	a.SmoothScatter = g.leastScatter(strip, a.Depth/st.LEDPitch, face, Smooth)
	return a
}

// RowRipple is (max-min)/(max+min) along an endless row of a strip's LEDs at a
// pitch and a depth, both in mm, behind this glass.
func (g *Glass) RowRipple(strip int, pitch, depth float64) float64 {
	s := g.strips[strip]
	return rowRipple(g.along(strip, s.point.at), depth/pitch, s.emitter/pitch)
}

// OpalRipple is the same behind an ideal diffuser.
func (g *Glass) OpalRipple(strip int, pitch, depth float64) float64 {
	s := g.strips[strip]
	return rowRipple(g.along(strip, s.opal()), depth/pitch, s.emitter/pitch)
}

// opal is the light behind an ideal diffuser of the same transmittance.
func (s *source) opal() func(r float64) float64 {
	half := -(s.order + 3) / 2
	return func(r float64) float64 { return math.Pow(1+r*r, half) / math.Pi }
}

// along is the light of one LED, a point that gives a straight light, by the
// distance along its strip in depths from where it is brightest.
func (g *Glass) along(strip int, point func(r float64) float64) func(u float64) float64 {
	s := g.strips[strip]
	if s.straight() {
		return func(u float64) float64 { return point(math.Abs(u)) + s.box.at(math.Abs(u)) }
	}
	dx, dy := 1.0, 0.0
	if leds := g.leds[strip]; len(leds) > 1 {
		a, b := &g.layout.LEDs[leds[0]], &g.layout.LEDs[leds[len(leds)-1]]
		if n := math.Hypot(b.X-a.X, b.Y-a.Y); n > 0 {
			dx, dy = (b.X-a.X)/n, (b.Y-a.Y)/n
		}
	}
	px, py := s.peak()
	return func(u float64) float64 {
		x, y := px*s.perMM+u*dx, py*s.perMM+u*dy
		r := math.Hypot(x, y)
		return point(r)*(s.aimed(x, y)+s.back) + s.around*s.box.at(r)
	}
}

// rowRipple sums a LED's light, by the distance in depths, over an endless row,
// and takes the mean over the lit face. Light of an LED 20 depths away is below
// 1e-5 of its peak and nearly even.
func rowRipple(k func(float64) float64, depthOverPitch, faceOverPitch float64) float64 {
	p := 1 / depthOverPitch
	n := int(20/p) + 2
	const samples = 64
	var row [samples]float64
	for i := range row {
		x := p * float64(i) / samples
		for j := -n; j <= n; j++ {
			row[i] += k(float64(j)*p - x)
		}
	}
	lo, hi := math.Inf(1), 0.0
	for i := range row {
		v := faceMean(&row, i, faceOverPitch*samples)
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	if hi == 0 {
		return 0
	}
	return (hi - lo) / (hi + lo)
}

// faceMean is the mean of an endless row's light over a window of a width in
// samples around sample i.
func faceMean(row *[64]float64, i int, width float64) float64 {
	if width <= 1 {
		return row[i]
	}
	sum, half := row[i], width/2
	for d := 1; float64(d)-0.5 < half; d++ {
		w := math.Min(half-float64(d)+0.5, 1)
		sum += w * (row[(i+d)%64] + row[((i-d)%64+64)%64])
	}
	return sum / width
}

// leastRatio is the least depth over pitch whose ripple is at most a limit, up
// to 20; 0 if there is none.
func leastRatio(k func(float64) float64, face, limit float64) float64 {
	lo, hi := 0.2, 20.0
	if rowRipple(k, hi, face) > limit {
		return 0
	}
	for hi-lo > 1e-4*hi {
		if mid := (lo + hi) / 2; rowRipple(k, mid, face) > limit {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// leastScatter is the least scatter whose ripple is at most a limit, within 0.25
// degrees; 0 if even the widest is not enough.
func (g *Glass) leastScatter(strip int, depthOverPitch, face, limit float64) unit.Angle {
	s := g.strips[strip]
	enough := func(scatter float64) bool {
		l := newLobe(math.Sin(scatter * sigmaPerFWHM * math.Pi / 180))
		point := func(r float64) float64 { return s.haze * kernelAt(l, s.order, s.q, r) }
		return rowRipple(g.along(strip, point), depthOverPitch, face) <= limit
	}
	lo, hi := 1.0, float64(widest)
	if !enough(hi) {
		return 0
	}
	for hi-lo > 0.25 {
		if mid := (lo + hi) / 2; enough(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return unit.Angle(math.Round(hi*10) / 10)
}
