package panel

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
)

func sine(degrees float64) float64 { return math.Sin(degrees * math.Pi / 180) }

// K(r; d = 1) per candela, m = 1, q = 0, T = 1, by standard angle of the lobe.
// Values derived for the model by separate quadrature and checked there by a
// Monte Carlo ray trace of 1e8 rays.
func TestPointValues(t *testing.T) {
	r := []float64{0, .25, .5, 1, 2}
	for sigma, want := range map[float64][]string{
		10: {"5.2769", "1.7634", ".12245", "3.29e-4", "4.45e-7"},
		20: {"1.3112", ".90058", ".36138", ".04467", ".00253"},
		40: {".42769", ".36454", ".24053", ".07806", ".01047"},
	} {
		l := newLobe(sine(sigma))
		for i, v := range r {
			value, digit := digits(t, want[i])
			// To the last digit given, or to four of them.
			require.InDelta(t, value, kernelAt(l, 1, 0, v), math.Max(0.51*digit, 1e-4*value), "sigma %v, r %v", sigma, v)
		}
	}
}

// digits is a printed value and the size of its last digit.
func digits(t *testing.T, s string) (value, digit float64) {
	t.Helper()
	value, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	mantissa, exponent, _ := strings.Cut(s, "e")
	_, fraction, _ := strings.Cut(mantissa, ".")
	e, _ := strconv.Atoi(exponent)
	return value, math.Pow(10, float64(e-len(fraction)))
}

// The ideal diffuser is cos^4 over pi: handbook identity, E = I0 cos^4 / d^2.
func TestIdealDiffuser(t *testing.T) {
	l := newLobe(sine(20))
	for r, want := range map[float64]float64{0: .318310, .25: .281963, .5: .203718, 1: .0795775, 2: .0127324} {
		require.InEpsilon(t, want, kernelAt(l, 1, 1, r), 1e-5)
	}
}

func TestLobeTable(t *testing.T) {
	for sigma, want := range map[float64][3]float64{20: {1.026, 1.205, 1.829}, 40: {1.152, 1.389, 1.832}} {
		l := newLobe(sine(sigma))
		for i, b := range []float64{.5, .75, 1} {
			require.InDelta(t, want[i], l.at(b)/l.at(0), 0.01, "sigma %v, b %v", sigma, b)
		}
	}
}

// All light that reaches the pane leaves it: integrated over directions, by a
// sum over the disc that shares nothing with the table's own integration.
func TestEnergyIsKept(t *testing.T) {
	for _, sigma := range []float64{5, 20, 40} {
		l := newLobe(sine(sigma))
		for _, b := range []float64{0, 0.3, 0.7} {
			const n = 800
			sum := 0.0
			for i := range n {
				x := (float64(i)+0.5)/n*2 - 1
				for j := range n {
					y := (float64(j)+0.5)/n*2 - 1
					c := math.Hypot(x, y)
					if c >= 1 {
						continue
					}
					d2 := (x-b)*(x-b) + y*y
					sum += l.at(c) * math.Exp(-d2/(2*l.s*l.s))
				}
			}
			sum *= l.at(b) * 4 / (n * n)
			require.InDelta(t, 1, sum, 0.004, "sigma %v, b %v", sigma, b)
		}
	}
}

// machine is a row of n LEDs of one die at a pitch, in the middle of a wide pane.
func machine(n int, pitch, depth, scatter, lambertian float64) (*show.Machine, *layout.Layout) {
	m := &show.Machine{Parts: []show.Part{{Name: "p", Order: "RGB", LEDsPerPixel: 1, HalfAngle: 60}}}
	for c, nm := range []float64{622, 523, 466} {
		m.Parts[0].Light[c].Wavelength, m.Parts[0].Light[c].Intensity = unitNM(nm), 1000
	}
	m.Panel.Depth, m.Panel.Glass.Scatter, m.Panel.Glass.Lambertian = unitMM(depth), unitDeg(scatter), lambertian
	m.Panel.Glass.Transmittance = [3]float64{1, 1, 1}
	m.Panel.Glass.Reflectance, m.Panel.Glass.Haze = 0.2, 1
	l := &layout.Layout{Width: float64(n)*pitch + 400, Height: 400, Strips: []layout.Strip{{Name: "s", Count: n, Dies: 3}}}
	for i := range n {
		l.Pixels = append(l.Pixels, layout.Pixel{Index: i, Offset: 3 * i})
		l.LEDs = append(l.LEDs, layout.LED{X: 200 + (float64(i)+0.5)*pitch, Y: 200, Pixel: int32(i)})
	}
	return m, l
}

// ripple is (max-min)/(max+min) of Y along the row over one pitch in its middle.
func ripple(t *testing.T, pitch, depth, scatter, lambertian float64) float64 {
	t.Helper()
	n := 2*int(20*depth/pitch) + 1
	m, l := machine(n, pitch, depth, scatter, lambertian)
	g, err := New(m, l)
	require.NoError(t, err)
	codes := make([]uint8, 3*n)
	for i := range codes {
		codes[i] = 255
	}
	mid := l.LEDs[n/2].X
	lo, hi := math.Inf(1), 0.0
	for i := range 101 {
		x := mid + pitch*float64(i)/100
		sum := 0.0
		for _, led := range l.LEDs {
			v, _ := g.led(int(led.Pixel), codes)
			sum += v[1] * g.strips[0].k(math.Abs(x-led.X)/depth)
		}
		lo, hi = math.Min(lo, sum), math.Max(hi, sum)
	}
	return (hi - lo) / (hi + lo)
}

// B-08: an infinite row of Lambertian LEDs on an ideal diffuser, pitch 16.667 mm.
func TestRowRipple(t *testing.T) {
	for depth, want := range map[float64]float64{8: 0.383, 12: 0.120, 16.667: 0.0272, 25: 0.00168} {
		require.InEpsilon(t, want, ripple(t, 16.667, depth, 40, 1), 0.01, "depth %v", depth)
	}
}

// Ripple behind a lobe, by depth over pitch (same derivation as the point values).
func TestLobeRipple(t *testing.T) {
	for _, c := range []struct{ sigma, dp, want float64 }{{10, 1.5, .530}, {10, 2, .219}, {20, 1, .309}, {20, 1.5, .067}, {40, .5, .471}, {40, 1, .056}} {
		require.InEpsilon(t, c.want, ripple(t, 10, 10*c.dp, c.sigma/sigmaPerFWHM, 0), 0.02, "sigma %v, d/p %v", c.sigma, c.dp)
	}
}

// A field is in cd/m2: one LED of 3 cd (three dies of 1 cd) at 48 mm through an
// ideal diffuser gives I/(pi d^2) above it (handbook: L = T E/pi).
func TestFieldScale(t *testing.T) {
	m, l := machine(1, 10, 48, 40, 1)
	g, err := New(m, l)
	require.NoError(t, err)
	f := g.Grid()
	g.Shine(f, []uint8{255, 255, 255})
	want := 3 / (math.Pi * 0.048 * 0.048)
	require.InEpsilon(t, want, float64(f.At(l.LEDs[0].X, 200)[1]), 0.01)
	g.Shine(f, []uint8{0, 0, 0})
	for _, v := range f.XYZ {
		require.Equal(t, [3]float32{}, v, "black stays black")
	}
	// 500 lx on a pane of reflectance 0.2: 32 cd/m2.
	require.InDelta(t, 31.83, g.Room(500)[1], 0.01)
}

func TestRefused(t *testing.T) {
	for name, change := range map[string]func(*show.Machine){
		"depth":         func(m *show.Machine) { m.Panel.Depth = 0 },
		"scatter":       func(m *show.Machine) { m.Panel.Glass.Scatter = 0 },
		"transmittance": func(m *show.Machine) { m.Panel.Glass.Transmittance[1] = 1.2 },
		"share":         func(m *show.Machine) { m.Panel.Glass.Lambertian = -0.1 },
		"half angle":    func(m *show.Machine) { m.Parts[0].HalfAngle = 95 },
	} {
		m, l := machine(1, 10, 48, 40, 0)
		change(m)
		_, err := New(m, l)
		require.ErrorContains(t, err, name)
	}
}

func unitNM(v float64) unit.Wavelength { return unit.Wavelength(v) }
func unitMM(v float64) unit.Length     { return unit.Length(v) }
func unitDeg(v float64) unit.Angle     { return unit.Angle(v) }
