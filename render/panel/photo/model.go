package photo

import (
	"math"
	"sync"

	"paneglow/anim/unit"
	"paneglow/render/panel"
)

// The range of scatter that is looked through: from what the model's lobe
// resolves to the widest that a machine file takes.
const (
	leastScatter unit.Angle = 1.4
	mostScatter  unit.Angle = 120
	nodes                   = 48
)

const sigmaPerFWHM = 1 / 2.3548200450309493

// widthOf is the model's s of a scatter, scatterOf undoes it.
func widthOf(a unit.Angle) float64 {
	return math.Sin(float64(a) * sigmaPerFWHM * math.Pi / 180)
}
func scatterOf(s float64) unit.Angle {
	return unit.Angle(math.Asin(math.Min(s, 1)) / sigmaPerFWHM * 180 / math.Pi)
}

// lobes are the model's lobes at scatters with equal steps of ln s.
var lobes = sync.OnceValues(func() ([]*panel.Lobe, error) {
	var out []*panel.Lobe
	lo, hi := math.Log(widthOf(leastScatter)), math.Log(widthOf(mostScatter))
	for i := range nodes {
		l, err := panel.NewLobe(scatterOf(math.Exp(lo + (hi-lo)*float64(i)/(nodes-1))))
		if err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, nil
})

// model is light by radius for one geometry, at fixed radii: of the lobe, by
// its width, and of the Lambertian part. Both are luminance for an LED of 1 cd
// at unit depth, averaged over the LED's lit face and seen by the camera.
type model struct {
	lo, step float64   // of ln s at the nodes
	at       []float64 // the radii
	radii    [][]point
	lambert  []float64
}

// point is one place of the LED's face as seen from one radius.
type point struct {
	light float64        // that it throws on the pane
	b2    float64        // squared angle between ray and view, as direction cosines
	log   [nodes]float32 // ln of the lobe's balance of both directions, by node
}

// faces is into how many places a side of the LED's face is divided.
const faces = 10

// newModel takes radii, emitter and distance in depths; a distance of 0 is far.
func newModel(radii []float64, order, emitter, distance float64) (*model, error) {
	ls, err := lobes()
	if err != nil {
		return nil, err
	}
	m := &model{lo: math.Log(ls[0].Width()), at: radii}
	m.step = (math.Log(ls[nodes-1].Width()) - m.lo) / (nodes - 1)
	side := faces
	if emitter == 0 {
		side = 1
	}
	emitter /= math.Sqrt(math.Max(1-1/float64(side*side), 0.5)) // so that the places' variance is a square's
	for _, r := range radii {
		var points []point
		lambert := 0.0
		for i := range side {
			for j := range side {
				// A ring meets a square face at all angles: each place is turned by
				// its own. A disc of the face's own moments would do as well.
				u, v := ((float64(i)+0.5)/float64(side)-0.5)*emitter, ((float64(j)+0.5)/float64(side)-0.5)*emitter
				turn := 2.399963229728653 * float64(i*side+j) // the golden angle
				x, y := r+u*math.Cos(turn)-v*math.Sin(turn), u*math.Sin(turn)+v*math.Cos(turn)
				p := place(x, y, r, order, distance)
				lambert += p.light
				for k, l := range ls {
					p.log[k] = float32(math.Log(l.Balance(p.in) * l.Balance(p.out)))
				}
				points = append(points, p.point)
			}
		}
		for i := range points {
			points[i].light /= float64(side * side)
		}
		m.radii = append(m.radii, points)
		m.lambert = append(m.lambert, lambert/float64(side*side)/math.Pi)
	}
	return m, nil
}

type seen struct {
	point
	in, out float64 // lengths of the direction cosines
}

// place is the light at a radius r of a place of the face that lies (x, y) from
// there, and how its ray stands to the camera above the spot's middle.
func place(x, y, r, order, distance float64) seen {
	square := 1 + x*x + y*y
	inX, inY := x/math.Sqrt(square), y/math.Sqrt(square)
	outX := 0.0
	if distance > 0 {
		outX = -r / math.Hypot(r, distance)
	}
	p := seen{in: math.Hypot(inX, inY), out: -outX}
	p.light = math.Pow(square, -(order+3)/2)
	p.b2 = (inX-outX)*(inX-outX) + inY*inY
	return p
}

// lobe fills dst with the lobe's light by radius, at ln s.
func (m *model) lobe(dst []float64, lnS float64) {
	at := math.Min(math.Max((lnS-m.lo)/m.step, 0), nodes-1.000001)
	i := min(max(int(at), 1), nodes-3)
	t := at - float64(i)
	// Through the four nodes around, by Lagrange.
	w := [4]float64{-t * (t - 1) * (t - 2) / 6, (t + 1) * (t - 1) * (t - 2) / 2, -(t + 1) * t * (t - 2) / 2, (t + 1) * t * (t - 1) / 6}
	k := -math.Exp(-2*lnS) / 2
	for r, points := range m.radii {
		sum := 0.0
		for j := range points {
			p := &points[j]
			log := w[0]*float64(p.log[i-1]) + w[1]*float64(p.log[i]) + w[2]*float64(p.log[i+1]) + w[3]*float64(p.log[i+2])
			sum += p.light * math.Exp(log+k*p.b2)
		}
		dst[r] = sum
	}
}
