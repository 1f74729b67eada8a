package panel

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// cone is the half angle, as a direction cosine, of the beam in which traced
// light is gathered around the pane's normal: 5 degrees.
var cone = sine(5)

// tracer follows rays from an LED through the pane. It knows the LED's cosine
// law and how one ray scatters, nothing of luminance, kernels or u's table.
type tracer struct {
	rnd   *rand.Rand
	order float64
	s     float64 // of the lobe
	q     float64 // share that leaves ideally diffuse
	u     []float64
	most  float64
}

// newTracer balances the lobe by a plain sum over a square grid on the disc.
func newTracer(seed uint64, order, sigma, q float64) *tracer {
	t := &tracer{rnd: rand.New(rand.NewPCG(seed, 11)), order: order, s: sine(sigma), q: q}
	const radii, n = 40, 100
	type point struct {
		at   int
		part float64
		g    [radii + 1]float64
	}
	var disc []point
	for i := range n {
		for j := range n {
			x, y := (float64(i)+0.5)*2/n-1, (float64(j)+0.5)*2/n-1
			r := math.Hypot(x, y)
			if r >= 1 {
				continue
			}
			p := point{at: int(r * radii), part: r*radii - math.Floor(r*radii)}
			for k := range p.g {
				dx := x - float64(k)/radii
				p.g[k] = math.Exp(-(dx*dx+y*y)/(2*t.s*t.s)) * 4 / (n * n)
			}
			disc = append(disc, p)
		}
	}
	t.u = make([]float64, radii+2)
	for i := range t.u {
		t.u[i] = 1
	}
	for range 60 {
		var sum [radii + 1]float64
		for i := range disc {
			p := &disc[i]
			u := t.u[p.at]*(1-p.part) + t.u[p.at+1]*p.part
			for k := range sum {
				sum[k] += u * p.g[k]
			}
		}
		for k := range sum {
			t.u[k] = math.Sqrt(t.u[k] / sum[k])
		}
		t.u[radii+1] = t.u[radii]
	}
	for _, v := range t.u {
		t.most = math.Max(t.most, v)
	}
	return t
}

// ray is one photon's place on the pane, in depths, and its way out as lateral
// direction cosines.
func (t *tracer) ray() (r, outX, outY float64) {
	cos := math.Pow(t.rnd.Float64(), 1/(t.order+1)) // flux per cosine is (m+1) cos^m
	sin := math.Sqrt(1 - cos*cos)
	r = sin / cos
	if t.rnd.Float64() < t.q {
		radius, angle := math.Sqrt(t.rnd.Float64()), 2*math.Pi*t.rnd.Float64()
		return r, radius * math.Cos(angle), radius * math.Sin(angle)
	}
	for {
		x, y := sin+t.s*t.rnd.NormFloat64(), t.s*t.rnd.NormFloat64()
		b := math.Hypot(x, y)
		if b >= 1 {
			continue
		}
		at := b * float64(len(t.u)-2)
		i := int(at)
		u := t.u[i] + (at-float64(i))*(t.u[i+1]-t.u[i])
		if t.rnd.Float64()*t.most < u {
			return r, x, y
		}
	}
}

// trace is luminance times depth squared over flux in rings 0.1 depths wide,
// with its standard error.
func (t *tracer) trace(rays int) (value, err [40]float64) {
	var hits [40]int
	for range rays {
		r, x, y := t.ray()
		if i := int(r * 10); i < len(hits) && x*x+y*y < cone*cone {
			hits[i]++
		}
	}
	for i, n := range hits {
		lo, hi := float64(i)/10, float64(i+1)/10
		scale := 1 / (float64(rays) * math.Pi * (hi*hi - lo*lo) * math.Pi * cone * cone)
		value[i], err[i] = float64(n)*scale, math.Sqrt(float64(n))*scale
	}
	return value, err
}

// ring is the closed form's mean over a ring 0.1 depths wide and the cone.
func ring(l *lobe, m, q, middle float64) float64 {
	const n = 12
	sum, area := 0.0, 0.0
	for i := range n {
		r := middle - 0.05 + (float64(i)+0.5)/n*0.1
		cos := 1 / math.Sqrt(1+r*r)
		b := r * cos
		f := 0.0
		for j := range n {
			c := cone * math.Sqrt((float64(j)+0.5)/n)
			for k := range n {
				a := 2 * math.Pi * (float64(k) + 0.5) / n
				dx, dy := c*math.Cos(a)-b, c*math.Sin(a)
				f += l.at(b) * l.at(c) * math.Exp(-(dx*dx+dy*dy)/(2*l.s*l.s)) / (n * n)
			}
		}
		sum += r * math.Pow(cos, m+3) * ((1-q)*f + q/math.Pi)
		area += r
	}
	return sum / area * (m + 1) / (2 * math.Pi) // an LED of 1 cd on axis gives 2 pi/(m+1) lm
}

// Rays against the closed form, within three standard errors of each ring.
func TestTrace(t *testing.T) {
	t.Parallel()
	rays := 2_000_000
	if testing.Short() {
		rays = 400_000
	}
	for seed, c := range []struct{ order, sigma, q float64 }{{1, 10, 0}, {1, 20, 0}, {1, 40, 0}, {1, 20, 1}, {1, 20, 0.15}, {2, 30, 0.3}} {
		value, err := newTracer(uint64(seed+1), c.order, c.sigma, c.q).trace(rays)
		l := newLobe(sine(c.sigma))
		for i := range 15 {
			if !(err[i] < 0.1*value[i]) {
				continue // too few rays to say anything
			}
			middle := float64(i)/10 + 0.05
			want := ring(l, c.order, c.q, middle)
			require.InDelta(t, value[i], want, 3*err[i], "order %v, sigma %v, q %v, r %v", c.order, c.sigma, c.q, middle)
		}
		require.Less(t, err[2], 0.05*value[2], "enough rays")
	}
}

// The same against stored traces of 1e8 rays a case.
func TestStoredTraces(t *testing.T) {
	f, err := os.Open("../../testdata/reference/glass_traces.csv")
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 10)
	for _, row := range rows[1:] {
		var v [5]float64
		for i := range v {
			v[i], err = strconv.ParseFloat(row[i], 64)
			require.NoError(t, err)
		}
		got := ring(newLobe(sine(v[0])), 1, v[1], v[2])
		t.Logf("sigma %v q %v r %v: %.5f, traced %v +- %v", v[0], v[1], v[2], got, v[3], v[4])
		require.InDelta(t, v[3], got, 3*v[4])
	}
}
