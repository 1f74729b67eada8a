package panel

import (
	"fmt"
	"math"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
)

// setting is all that decides what one LED does to the pane. Strips of equal
// settings share a source.
type setting struct {
	depth   float64 // mm, from the LED's face to the glass
	half    float64 // degrees, half-intensity half angle
	emitter float64 // mm, side of the lit face
	tilt    float64 // degrees from the pane's normal
	towards float64 // degrees on the panel, from x towards y
	s       float64 // sine of the lobe's standard angle
	q, haze float64
	pane    float64 // reflectances of the box's two planes
	wall    float64
}

func sineOf(scatter unit.Angle) float64 {
	return math.Sin(math.Min(float64(scatter)*sigmaPerFWHM*math.Pi/180, math.Pi/2))
}

// settingOf collects a strip's setting.
func settingOf(m *show.Machine, st *layout.Strip) (setting, error) {
	p := &m.Panel
	set := setting{
		depth: float64(p.Depth), half: 60, s: sineOf(p.Glass.Scatter), q: p.Glass.Lambertian,
		haze: p.Glass.Haze, pane: p.Glass.Reflectance, wall: p.Walls,
	}
	part := &m.Parts[st.Part]
	if h := float64(part.HalfAngle); h > 0 {
		set.half = h
	}
	set.emitter = float64(part.Emitter)
	for i := range m.Strips {
		if s := &m.Strips[i]; s.Name == st.Name {
			if s.Depth > 0 {
				set.depth = float64(s.Depth)
			}
			set.tilt, set.towards = float64(s.Tilt), float64(s.Towards)
		}
	}
	switch {
	case !(set.half > 0 && set.half < 90):
		return set, fmt.Errorf("a half angle of %g deg is outside 0 to 90 deg", set.half)
	case !(set.tilt >= 0 && set.tilt <= 90):
		return set, fmt.Errorf("a tilt of %g deg is outside 0 (straight at the glass) to 90 (along it)", set.tilt)
	case !(set.emitter >= 0):
		return set, fmt.Errorf("a lit face of %g mm is below 0", set.emitter)
	}
	if set.tilt == 0 {
		set.towards = 0
	}
	return set, nil
}

// source is one LED of 1 cd on its axis, behind glass of transmittance 1: what
// luminance it gives to places around it. Tables run over the lateral distance
// in depths, for a depth of 1 m.
type source struct {
	setting
	lobe   *lobe
	order  float64    // of the LED's cosine law
	scale  float64    // 1/d^2 in 1/m2
	perMM  float64    // depths a millimetre
	disc   float64    // radius in depths of the round face that stands for the square one
	aim    [3]float64 // unit vector, z towards the pane
	point  table      // scattered light of a point, straight aim
	direct table      // ... of the lit face
	box    table      // light of the box, of a straight LED
	both   table      // their sum
	back   float64    // light that hits the back wall beside a tilted LED and starts from there, as a share
	around float64    // flux that the box gets, as a share of a straight LED's
	spot   float64    // mm, standard width of the spot
	core   float64    // mm, of its sharpest part
}

func newSource(set setting, l *lobe) *source {
	s := &source{setting: set, lobe: l, order: -math.Ln2 / math.Log(math.Cos(set.half*math.Pi/180))}
	d := set.depth / 1000
	s.scale, s.perMM = 1/(d*d), 1/set.depth
	// A disc of the square's second moment: both blur alike (TestEmitter).
	s.disc = set.emitter / math.Sqrt(3) * s.perMM
	tilt, towards := set.tilt*math.Pi/180, set.towards*math.Pi/180
	s.aim = [3]float64{math.Sin(tilt) * math.Cos(towards), math.Sin(tilt) * math.Sin(towards), math.Cos(tilt)}
	forward := 1.0
	if set.tilt > 0 {
		forward = s.forward()
	}
	s.back = set.wall * (1 - forward)
	s.around = forward + s.back

	m, q, h := s.order, set.q, set.haze
	s.point = tabulate(math.Min(l.s/100, 0.005), m+3, func(r float64) float64 { return h * kernelAt(l, m, q, r) })
	s.direct = s.point.soften(s.disc, l.s)
	s.box = newBox(m, set.pane*set.wall)
	s.both = table{step: s.direct.step, v: append([]float64(nil), s.direct.v...), falls: s.direct.falls}
	for i := range s.both.v {
		s.both.v[i] += s.box.at(float64(i) * s.both.step)
	}

	s.spot = set.depth * l.s / math.Sqrt(1+(m+3)*l.s*l.s)
	s.core = s.spot
	if (1-q)*l.toward(0) < 0.05*q/math.Pi {
		s.spot = set.depth / math.Sqrt(m+3) // an ideal diffuser but for a trace
		s.core = 0.85 * s.spot              // more pointed than a Gaussian of its width
	}
	if set.tilt > 0 {
		s.core = math.Min(s.core, set.depth/5) // its light has an edge
	}
	return s
}

// kernelAt is K(r; d = 1) per candela: luminance towards a far viewer on the
// normal, of an LED of order m at unit depth and lateral distance r, T = h = 1.
func kernelAt(l *lobe, m, q, r float64) float64 {
	cos := 1 / math.Sqrt(1+r*r)
	e := math.Pow(cos, m+3)
	return e * ((1-q)*l.toward(r*cos) + q/math.Pi)
}

// straight tells that a LED is aimed at the glass, so that its light depends on
// the distance alone.
func (s *source) straight() bool { return s.tilt == 0 }

// k is the luminance per candela at depth 1 m, r depths beside a straight LED.
func (s *source) k(r float64) float64 { return s.both.at(r) }

// at is the luminance per candela at a place dx, dy mm beside the LED, for a
// viewer far away.
func (s *source) at(dx, dy float64) float64 {
	r := math.Sqrt(dx*dx+dy*dy) * s.perMM
	if s.straight() {
		return s.scale * s.both.at(r)
	}
	return s.scale * (s.direct.at(r)*(s.aimed(dx*s.perMM, dy*s.perMM)+s.back) + s.around*s.box.at(r))
}

// aimed is the light of a tilted LED over that of a straight one, at x, y
// depths beside it: (cos of the angle to its aim over cos to the normal)^m,
// averaged over the lit face, which softens the edge of its light.
func (s *source) aimed(x, y float64) float64 {
	lateral := math.Hypot(s.aim[0], s.aim[1])
	u := x*s.aim[0] + y*s.aim[1] + s.aim[2]
	const n = 5
	half := s.emitter / 2 * s.perMM * lateral
	sum := 0.0
	for i := range n {
		if v := u + half*(2*(float64(i)+0.5)/n-1); v > 0 {
			if math.Abs(s.order-1) > 1e-9 {
				v = math.Pow(v, s.order)
			}
			sum += v
		}
	}
	return sum / n
}

// forward is the share of a tilted LED's flux that goes towards the pane.
func (s *source) forward() float64 {
	lateral := math.Hypot(s.aim[0], s.aim[1])
	const n = 400
	sum := 0.0
	for i := range n {
		// Flux is spread evenly over cos^(m+1).
		c := math.Pow((float64(i)+0.5)/n, 1/(s.order+1))
		// It goes forward where c aim_z + sin cos(phi) lateral > 0.
		edge := -c * s.aim[2] / (math.Sqrt(1-c*c) * lateral)
		sum += math.Acos(math.Min(math.Max(edge, -1), 1)) / math.Pi
	}
	return sum / n
}

// width is the full width at half height of the spot of one straight LED, in mm.
func (s *source) width() float64 {
	half := s.k(0) / 2
	if half == 0 {
		return 0
	}
	lo, hi := 0.0, 4.0
	for range 50 {
		if mid := (lo + hi) / 2; s.k(mid) > half {
			lo = mid
		} else {
			hi = mid
		}
	}
	return 2 * hi * s.depth
}

// peak is where a LED's light is brightest, in mm from it: off the LED where it
// is tilted.
func (s *source) peak() (dx, dy float64) {
	if s.straight() {
		return 0, 0
	}
	lateral := math.Hypot(s.aim[0], s.aim[1])
	best, at := 0.0, 0.0
	for i := range 600 {
		u := float64(i) / 200 * s.depth
		if v := s.at(u*s.aim[0]/lateral, u*s.aim[1]/lateral); v > best {
			best, at = v, u
		}
	}
	return at * s.aim[0] / lateral, at * s.aim[1] / lateral
}
