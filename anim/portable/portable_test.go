package portable

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The standard library is the outside reference here: it is not bit-stable
// between processors, but everywhere accurate to about one unit in the last
// place.
func TestAccuracy(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	uniform := func(lo, hi float64) func() float64 {
		return func() float64 { return lo + (hi-lo)*rng.Float64() }
	}
	spread := func(lo, hi float64) func() float64 { // even in the logarithm
		return func() float64 { return math.Exp(math.Log(lo) + (math.Log(hi)-math.Log(lo))*rng.Float64()) }
	}
	absolute := func(got, want float64) float64 { return math.Abs(got - want) }
	relative := func(got, want float64) float64 { return math.Abs(got-want) / math.Abs(want) }
	mixed := func(got, want float64) float64 { return math.Abs(got-want) / math.Max(1, math.Abs(want)) }
	for _, c := range []struct {
		name    string
		f, ref  func(float64) float64
		draw    func() float64
		measure func(got, want float64) float64
		most    float64
	}{
		{"sin", Sin, math.Sin, uniform(-10, 10), absolute, 3e-16},
		{"sin far", Sin, math.Sin, uniform(-1e5, 1e5), absolute, 3e-16},
		{"cos", Cos, math.Cos, uniform(-10, 10), absolute, 3e-16},
		{"cos far", Cos, math.Cos, uniform(-1e5, 1e5), absolute, 3e-16},
		{"exp", Exp, math.Exp, uniform(-700, 700), relative, 4e-16},
		{"exp small", Exp, math.Exp, uniform(-1, 1), relative, 4e-16},
		{"log", Log, math.Log, spread(1e-300, 1e300), mixed, 3e-16},
		{"log near 1", Log, math.Log, uniform(0.5, 2), absolute, 3e-16},
		{"log2", Log2, math.Log2, spread(1e-10, 1e10), mixed, 5e-16},
		{"exp2", Exp2, math.Exp2, uniform(-20, 20), relative, 5e-15},
		{"cbrt", Cbrt, math.Cbrt, spread(1e-300, 1e300), relative, 5e-16},
		{"atan", Atan, math.Atan, uniform(-20, 20), absolute, 5e-16},
		// math.Asin itself loses digits near 1, so the reference stops at 0.9.
		{"asin", Asin, math.Asin, uniform(-0.9, 0.9), absolute, 5e-16},
		{"acos", Acos, math.Acos, uniform(-0.9, 0.9), absolute, 7e-16},
		{"tan", Tan, math.Tan, uniform(-1.5, 1.5), relative, 1e-15},
		{"pow 2.4", func(x float64) float64 { return Pow(x, 2.4) }, func(x float64) float64 { return math.Pow(x, 2.4) }, spread(1e-2, 1e2), relative, 1e-14},
	} {
		t.Run(c.name, func(t *testing.T) {
			worst, at := 0.0, 0.0
			for range 200_000 {
				x := c.draw()
				if e := c.measure(c.f(x), c.ref(x)); e > worst || math.IsNaN(e) {
					worst, at = e, x
				}
			}
			if !(worst <= c.most) {
				t.Errorf("greatest error %.3g at %v, want at most %.3g", worst, at, c.most)
			}
		})
	}
}

func TestAtan2Quadrants(t *testing.T) {
	for _, y := range []float64{-2, -1, -0.1, 0, 0.1, 1, 2} {
		for _, x := range []float64{-2, -1, -0.1, 0, 0.1, 1, 2} {
			if y == 0 && x < 0 {
				continue // the sign of zero decides; covered below
			}
			if got, want := Atan2(y, x), math.Atan2(y, x); math.Abs(got-want) > 5e-16 {
				t.Errorf("Atan2(%v, %v) = %v, want %v", y, x, got, want)
			}
		}
	}
	if got := Atan2(0, -1); got != math.Pi {
		t.Errorf("Atan2(0, -1) = %v, want pi", got)
	}
}

func TestSpecialValues(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	same := func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
	for _, x := range []float64{0, 1, -1, inf, -inf, nan, 710, -750} {
		for name, pair := range map[string][2]func(float64) float64{
			"exp": {Exp, math.Exp}, "cbrt": {Cbrt, math.Cbrt}, "log": {Log, math.Log},
			"log2": {Log2, math.Log2}, "atan": {Atan, math.Atan},
		} {
			got, want := pair[0](x), pair[1](x)
			if !same(got, want) && !(math.Abs(got-want) <= 5e-16*math.Max(1, math.Abs(want))) {
				t.Errorf("%s(%v) = %v, want %v", name, x, got, want)
			}
		}
	}
	for _, c := range [][3]float64{{0, 2, 0}, {0, -1, inf}, {2, 10, 1024}, {-2, 3, -8}, {2, -2, 0.25}, {4, 0.5, 2}, {-8, 1.0 / 3, nan}, {1, nan, 1}} {
		if got := Pow(c[0], c[1]); !same(got, c[2]) {
			t.Errorf("Pow(%v, %v) = %v, want %v", c[0], c[1], got, c[2])
		}
	}
}

// A matrix times its inverse is one; dependent rows have none.
func TestMatrix(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 1000 {
		var m Matrix
		for i := range m {
			for j := range m {
				m[i][j] = rng.Float64()*2 - 1
			}
			m[i][i] += 2
		}
		one := m.Times(m.MustInverse())
		for i := range one {
			for j := range one {
				want := 0.0
				if i == j {
					want = 1
				}
				if math.Abs(one[i][j]-want) > 1e-13 {
					t.Fatalf("%v times its inverse is %v", m, one)
				}
			}
		}
	}
	if _, ok := (Matrix{{1, 2, 3}, {2, 4, 6}, {0, 1, 0}}).Inverse(); ok {
		t.Error("dependent rows have no inverse")
	}
}
