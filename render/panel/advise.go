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

// Advise works out what would suit a strip, by the model of an endless row.
func (g *Glass) Advise(strip int) Advice {
	st := &g.layout.Strips[strip]
	a := Advice{Strip: st.Name, Depth: g.depth * 1000, LEDPitch: st.LEDPitch, PixelPitch: st.PixelPitch, Scatter: g.scatter}
	if !(st.LEDPitch > 0) {
		return a
	}
	a.Ripple = g.RowRipple(st.LEDPitch, a.Depth)
	// Ripple depends on depth over pitch alone.
	if ratio := leastRatio(g.k, Acceptable); ratio > 0 {
		a.AcceptableDepth, a.AcceptablePitch = ratio*st.LEDPitch, a.Depth/ratio
	}
	if ratio := leastRatio(g.k, Smooth); ratio > 0 {
		a.SmoothDepth, a.SmoothPitch = ratio*st.LEDPitch, a.Depth/ratio
	}
	if w := g.spotWidth() / a.Depth; w > 0 {
		a.DeepestDepth, a.FinestPixel = Muddy*st.PixelPitch/w, g.spotWidth()/Muddy
	}
	a.OpalAcceptable, a.OpalSmooth = leastRatio(g.opal, Acceptable)*st.LEDPitch, leastRatio(g.opal, Smooth)*st.LEDPitch
	a.AcceptableScatter = g.leastScatter(a.Depth/st.LEDPitch, Acceptable)
	a.SmoothScatter = g.leastScatter(a.Depth/st.LEDPitch, Smooth)
	return a
}

// RowRipple is (max-min)/(max+min) along an endless row of LEDs of a pitch at a
// depth, both in mm, behind this glass.
func (g *Glass) RowRipple(pitch, depth float64) float64 { return rowRipple(g.k, depth/pitch) }

// OpalRipple is the same behind an ideal diffuser.
func (g *Glass) OpalRipple(pitch, depth float64) float64 { return rowRipple(g.opal, depth/pitch) }

// opal is the kernel of an ideal diffuser, in any unit.
func (g *Glass) opal(r float64) float64 { return math.Pow(1+r*r, -(g.order+3)/2) }

// rowRipple sums a kernel, in depths, over an endless row. Light of an LED 20
// depths away is below 1e-5 of its peak and nearly even.
func rowRipple(k func(float64) float64, depthOverPitch float64) float64 {
	p := 1 / depthOverPitch
	n := int(20/p) + 2
	lo, hi := math.Inf(1), 0.0
	const samples = 32 // over half a pitch: the other half mirrors it
	for i := range samples + 1 {
		x := p / 2 * float64(i) / samples
		sum := 0.0
		for j := -n; j <= n; j++ {
			sum += k(math.Abs(float64(j)*p - x))
		}
		lo, hi = math.Min(lo, sum), math.Max(hi, sum)
	}
	if hi == 0 {
		return 0
	}
	return (hi - lo) / (hi + lo)
}

// leastRatio is the least depth over pitch whose ripple is at most a limit, up
// to 20; 0 if there is none.
func leastRatio(k func(float64) float64, limit float64) float64 {
	lo, hi := 0.2, 20.0
	if rowRipple(k, hi) > limit {
		return 0
	}
	for hi-lo > 1e-4*hi {
		if mid := (lo + hi) / 2; rowRipple(k, mid) > limit {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// leastScatter is the least scatter whose ripple is at most a limit, within 0.25
// degrees; 0 if even the widest is not enough.
func (g *Glass) leastScatter(depthOverPitch, limit float64) unit.Angle {
	enough := func(scatter float64) bool {
		l := newLobe(math.Sin(scatter * sigmaPerFWHM * math.Pi / 180))
		return rowRipple(func(r float64) float64 { return kernelAt(l, g.order, g.q, r) }, depthOverPitch) <= limit
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
