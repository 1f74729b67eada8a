package panel

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// plain is a setting of one straight LED, a point, at a depth in mm.
func plain(depth, sigma, q float64) setting {
	return setting{depth: depth, half: 60, s: sine(sigma), q: q, haze: 1}
}

func sourceFrom(set setting) *source { return newSource(set, newLobe(set.s)) }

// A face 5 mm wide dims the first harmonic of a row by sinc(5/p) (handbook: the
// transform of a uniform line). The round face that stands for the square one
// does the same within 0.5 %.
func TestEmitter(t *testing.T) {
	const p, depth = 16.667, 20.0
	harmonic := func(s *source) float64 {
		sum, mean := 0.0, 0.0
		const n = 4000
		for i := range n {
			// Across the row's endless length the harmonic is an integral over one LED.
			x := (float64(i) + 0.5) / n * 20 * depth
			for j := -200; j <= 200; j++ {
				v := s.at(x, float64(j)*2)
				sum += v * math.Cos(2*math.Pi*x/p)
				mean += v
			}
		}
		return sum / mean
	}
	for _, sigma := range []float64{10, 20, 40} {
		point, face := plain(depth, sigma, 0), plain(depth, sigma, 0)
		face.emitter = 5
		x := math.Pi * 5 / p
		require.InDelta(t, math.Sin(x)/x, harmonic(sourceFrom(face))/harmonic(sourceFrom(point)), 0.005, "sigma %v", sigma)
	}
	// The face keeps the light: same integral over the pane.
	total := func(s *source) (sum float64) {
		for r := 0.5; r < 800; r++ {
			sum += 2 * math.Pi * r * s.at(r, 0) * 1e-6
		}
		return sum
	}
	face := plain(20, 20, 0)
	face.emitter = 8
	require.InEpsilon(t, total(sourceFrom(plain(20, 20, 0))), total(sourceFrom(face)), 2e-3)
}

// A tilted LED against rays: directions are drawn by the cosine law about the
// tilted aim, and hit the pane or the wall behind.
func TestTilt(t *testing.T) {
	for seed, c := range []struct{ half, tilt, towards float64 }{{60, 30, 0}, {60, 60, 90}, {40, 45, 200}, {60, 90, 0}} {
		set := plain(30, 20, 1) // an ideal diffuser shows the light on the pane: L = E/pi
		set.half, set.tilt, set.towards = c.half, c.tilt, c.towards
		s := sourceFrom(set)
		rnd := rand.New(rand.NewPCG(uint64(seed), 5))
		const cell, n, rays = 15.0, 12, 1_000_000 // mm; cells each way from the LED
		var hits [2 * n][2 * n]int
		forward := 0
		ax, ay, az := s.aim[0], s.aim[1], s.aim[2]
		// Two directions across the aim.
		ux, uy, uz := -ay, ax, 0.0
		if l := math.Hypot(ux, uy); l > 0 {
			ux, uy = ux/l, uy/l
		} else {
			ux = 1
		}
		vx, vy, vz := ay*uz-az*uy, az*ux-ax*uz, ax*uy-ay*ux
		for range rays {
			cos := math.Pow(rnd.Float64(), 1/(s.order+1))
			sin, phi := math.Sqrt(1-cos*cos), 2*math.Pi*rnd.Float64()
			a, b := sin*math.Cos(phi), sin*math.Sin(phi)
			x, y, z := cos*ax+a*ux+b*vx, cos*ay+a*uy+b*vy, cos*az+a*uz+b*vz
			if z <= 0 {
				continue
			}
			forward++
			i, j := int(math.Floor(30*x/z/cell))+n, int(math.Floor(30*y/z/cell))+n
			if i >= 0 && j >= 0 && i < 2*n && j < 2*n {
				hits[j][i]++
			}
		}
		require.InDelta(t, float64(forward)/rays, s.forward(), 0.002, "tilt %v", c.tilt)
		flux := 2 * math.Pi / (s.order + 1)
		for j := range 2 * n {
			for i := range 2 * n {
				if hits[j][i] < 400 {
					continue
				}
				want := 0.0
				const m = 7
				for b := range m {
					for a := range m {
						want += s.at((float64(i-n)+(float64(a)+0.5)/m)*cell, (float64(j-n)+(float64(b)+0.5)/m)*cell) / (m * m)
					}
				}
				got := float64(hits[j][i]) / rays * flux / (cell * cell * 1e-6) / math.Pi
				require.InDelta(t, want, got, 4*got/math.Sqrt(float64(hits[j][i]))+0.003*want, "tilt %v, cell %d %d", c.tilt, i, j)
			}
		}
	}
}

// The box against rays that go to and fro between two endless planes until they
// leave or are swallowed.
func TestBox(t *testing.T) {
	for seed, c := range []struct{ half, pane, wall float64 }{{60, 0.15, 0.8}, {60, 0.5, 0.9}, {40, 0.3, 0.6}} {
		set := plain(1000, 20, 1)
		set.half, set.pane, set.wall = c.half, c.pane, c.wall
		s := sourceFrom(set)
		rnd := rand.New(rand.NewPCG(uint64(seed), 9))
		lambert := func(x, y float64) (float64, float64) {
			sin2 := rnd.Float64()
			r, phi := math.Sqrt(sin2/(1-sin2)), 2*math.Pi*rnd.Float64()
			return x + r*math.Cos(phi), y + r*math.Sin(phi)
		}
		// Light that hits the pane again, by distance in depths; the first hit is not the box's.
		const rays = 1_000_000
		var hits [30]int
		all := 0
		for range rays {
			cos := math.Pow(rnd.Float64(), 1/(s.order+1))
			x, y := math.Sqrt(1-cos*cos)/cos, 0.0
			for {
				if rnd.Float64() >= c.pane {
					break
				}
				x, y = lambert(x, y)
				if rnd.Float64() >= c.wall {
					break
				}
				x, y = lambert(x, y)
				all++
				if i := int(math.Hypot(x, y) / 0.2); i < len(hits) {
					hits[i]++
				}
			}
		}
		// Over the whole pane the rounds are a geometric sum.
		g := c.pane * c.wall
		require.InEpsilon(t, g/(1-g), float64(all)/rays, 0.01)
		flux := 2 * math.Pi / (s.order + 1)
		for i, n := range hits[:20] {
			lo, hi := 0.2*float64(i), 0.2*float64(i+1)
			area := math.Pi * (hi*hi - lo*lo)
			got := float64(n) / rays * flux / area / math.Pi
			want := 0.0
			for j := range 10 {
				r := lo + (float64(j)+0.5)*0.02
				want += s.box.at(r) * r / (5 * (lo + hi))
			}
			require.InDelta(t, want, got, 4*got/math.Sqrt(float64(n))+0.003*want, "half angle %v, ring %d", c.half, i)
		}
	}
}

// Haze shares the light out between the lobe and a sharp image, whose luminance
// is that of the bare LED: intensity over area (handbook identity).
func TestClearGlass(t *testing.T) {
	m, l := machine(1, 10, 20, scatterOf(15), 0)
	m.Parts[0].Emitter = unitMM(4)
	m.Panel.Glass.Haze = 0
	m.Panel.Glass.Transmittance = [3]float64{0.9, 0.9, 0.9}
	g, err := New(m, l)
	require.NoError(t, err)
	f := NewField(401, 401, 1)
	codes := []uint8{255, 255, 255}
	g.Shine(f, codes)
	// 3 cd through 0.9 on 16 mm2, at the LED and nowhere else.
	require.InEpsilon(t, 3*0.9/16e-6, float64(f.XYZ[200*401+205][1]), 1e-5)
	require.Zero(t, f.XYZ[200*401+215][1])
	sum := 0.0
	for _, v := range f.XYZ {
		sum += float64(v[1]) * 1e-6
	}
	require.InEpsilon(t, 2.7, sum, 1e-4, "all of the intensity towards the viewer")
	require.InEpsilon(t, 3*0.9/16e-6, g.Metrics(m.Panel.Room, codes).Clear, 1e-9)
	// Half haze is half of each.
	m.Panel.Glass.Haze = 0.5
	half, err := New(m, l)
	require.NoError(t, err)
	m.Panel.Glass.Haze = 1
	full, err := New(m, l)
	require.NoError(t, err)
	h, k := NewField(401, 401, 1), NewField(401, 401, 1)
	half.Shine(h, codes)
	full.Shine(k, codes)
	for i := range h.XYZ {
		want := (float64(f.XYZ[i][1]) + float64(k.XYZ[i][1])) / 2
		require.InDelta(t, want, float64(h.XYZ[i][1]), 1e-5*want+1e-3)
	}
}

// A viewer far off on the normal sees what the far model says; one close by sees
// spots moved towards the line of sight.
func TestViewer(t *testing.T) {
	set := plain(30, 12, 0.1)
	set.emitter = 5
	s := sourceFrom(set)
	far := &Eye{X: 0, Y: 0, Z: 1e6}
	for _, x := range []float64{0, 5, 20, 60} {
		require.InDelta(t, s.at(x, 0), s.from(x, 0, 0, 0, far), 4e-3*s.at(0, 0), "%v mm", x)
	}
	// The straight line from the eye to the LED meets the pane at 300 x 30/330. A
	// narrow lobe shows the spot there; a wider one draws it towards the LED, where
	// more light falls.
	near := &Eye{X: 300, Y: 0, Z: 300}
	peak := func(sigma float64) (at float64) {
		s, most := sourceFrom(plain(30, sigma, 0)), 0.0
		for x := -20.0; x < 60; x += 0.25 {
			if v := s.from(x, 0, 0, 0, near); v > most {
				most, at = v, x
			}
		}
		return at
	}
	require.InDelta(t, 300.0*30/330, peak(2), 0.5)
	require.Less(t, peak(12), peak(6))
	require.Less(t, peak(6), peak(2))
	_, err := NewFrom(nil, nil, Eye{Z: 0})
	require.ErrorContains(t, err, "above 0")
}

// Rays through the lobe towards a slanted direction, against the closed form for
// a viewer there: the tracer knows nothing of luminance or kernels.
func TestViewerTrace(t *testing.T) {
	const sigma, slant, rays = 20, 40, 3_000_000
	tr := newTracer(77, 1, sigma, 0)
	set := plain(1000, sigma, 0)
	s := sourceFrom(set)
	// A far eye in the direction (sin 40, 0): direction cosines.
	eye := &Eye{X: 1e9 * sine(slant), Z: 1e9 * math.Cos(slant*math.Pi/180)}
	// Only rays that meet the pane along +x are counted, in steps of 0.25 depths.
	var hits [8]int
	for range rays {
		r, outX, outY := tr.ray() // the ray fell along +x
		if i := int(r / 0.25); i < len(hits) && (outX-sine(slant))*(outX-sine(slant))+outY*outY < cone*cone {
			hits[i]++
		}
	}
	for i, n := range hits {
		if n < 300 {
			continue
		}
		want := 0.0
		for j := range 20 {
			r := 0.25*float64(i) + (float64(j)+0.5)*0.0125
			// Rays of all azimuths are drawn along +x: the ring's area counts.
			want += s.from(1000*r, 0, 0, 0, eye) * 2 * math.Pi * r * 0.0125
		}
		got := float64(n) / rays * math.Pi / (math.Pi * cone * cone)
		require.InDelta(t, want, got, 4*got/math.Sqrt(float64(n))+0.02*want, "ring %d", i)
	}
}

// Strips of two depths share grids, and the deeper one's kernel is cut in its tail:
// there, where the face of an LED was no longer integrated but taken for a point, the
// curvature was once taken from an edge.
func TestTwoDepths(t *testing.T) {
	t.Parallel()
	for _, x := range [][2]float64{{13, 1.5826}, {13.3125, 1.612}, {14, 1.6736}, {20, 1}, {6, 1.808}} {
		m, l := strips(3)
		m.Panel.Depth = unitMM(80)
		m.Panel.Glass.Scatter = unitDeg(scatterOf(x[0]))
		m.Strips[1].Depth = unitMM(80 / x[1])
		g, err := New(m, l)
		require.NoError(t, err)
		codes := make([]byte, l.Channels())
		codes[0] = 128
		f, twin := NewField(41, 31, 7.3), NewField(41, 31, 7.3)
		g.Shine(f, codes)
		g.Direct(twin, codes)
		require.LessOrEqual(t, worst(f, twin), fieldError, "scatter %v, depths %v to one", x[0], x[1])
	}
}

// The mean over a face, worked out point by point, on both sides of where the integral
// over it ends.
func TestFacesFarAway(t *testing.T) {
	gauss := tabulate(0.001, 4, func(r float64) float64 { return math.Exp(-r * r / (2 * 0.2 * 0.2)) })
	const radius = 0.036
	soft := gauss.soften(radius, 0.2)
	for _, r := range []float64{0.5, 0.7, 0.71, 0.72, 0.73, 0.74, 0.8, 1} {
		sum, n := 0.0, 0
		for y := -1.0; y <= 1; y += 0.01 {
			for x := -1.0; x <= 1; x += 0.01 {
				if x*x+y*y <= 1 {
					sum += math.Exp(-(math.Pow(r+radius*x, 2) + radius*radius*y*y) / (2 * 0.2 * 0.2))
					n++
				}
			}
		}
		require.InEpsilon(t, sum/float64(n), soft.at(r), 0.004, "%v depths away", r)
	}
}

// Whatever the strips' depths, tilts, faces, walls and haze, and wherever the
// viewer is: the field is the direct sum's, within the stated error or, where tilted
// LEDs' light has an edge or a viewer is near by, within 1 %.
func TestMixedFields(t *testing.T) {
	t.Parallel()
	straight, tilted := 0.0, 0.0
	rapid.Check(t, func(t *rapid.T) {
		m, l := strips(3)
		m.Panel.Depth = unitMM(rapid.Float64Range(20, 80).Draw(t, "depth"))
		m.Panel.Glass.Scatter = unitDeg(scatterOf(rapid.Float64Range(6, 50).Draw(t, "sigma")))
		m.Panel.Walls = rapid.SampledFrom([]float64{0, 0.8}).Draw(t, "walls")
		m.Panel.Glass.Haze = rapid.SampledFrom([]float64{1, 0.7}).Draw(t, "haze")
		m.Strips[1].Depth = unitMM(rapid.Float64Range(15, 120).Draw(t, "second depth"))
		limit, most := fieldError, &straight
		if rapid.Bool().Draw(t, "tilted") {
			m.Strips[2].Tilt = unitDeg(rapid.Float64Range(1, 90).Draw(t, "tilt"))
			m.Strips[2].Towards = unitDeg(rapid.Float64Range(0, 360).Draw(t, "towards"))
			most, limit = &tilted, 0.01
		}
		g, err := New(m, l)
		require.NoError(t, err)
		if g.spot > 10 && rapid.IntRange(0, 9).Draw(t, "near by") == 0 {
			g, err = NewFrom(m, l, Eye{X: rapid.Float64Range(-200, 500).Draw(t, "x"), Y: 100, Z: rapid.Float64Range(100, 2000).Draw(t, "z")})
			require.NoError(t, err)
			most, limit = &tilted, 0.01
		}
		codes := rapid.SliceOfN(rapid.Byte(), l.Channels(), l.Channels()).Draw(t, "codes")
		codes[0] |= 128
		f, twin := NewField(41, 31, 7.3), NewField(41, 31, 7.3)
		g.Shine(f, codes)
		g.Direct(twin, codes)
		e := worst(f, twin)
		*most = math.Max(*most, e)
		require.LessOrEqual(t, e, limit)
	})
	t.Logf("greatest error %.3f %% straight, %.3f %% tilted or near by", 100*straight, 100*tilted)
}
