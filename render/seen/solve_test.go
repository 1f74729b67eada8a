package seen

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// stored is a problem as a general solver solved it; see testdata/seen/make.py.
type stored struct {
	Pixels    int
	Gram      [][]float32
	Dies      [][3]float32
	Asked     [][3]float32
	Cost      []float32
	Limit     *float64
	X         []float64
	Objective float64
	Target    float64
}

func (s *stored) problem() (*problem, *work) {
	p := &problem{pixels: s.Pixels, cost: s.Cost}
	for i, row := range s.Gram {
		p.gram = append(p.gram, row...)
		p.first = append(p.first, 3*i)
		p.die = append(p.die, s.Dies...)
		p.most = append(p.most, 1, 1, 1)
	}
	p.first = append(p.first, 3*s.Pixels)
	p.curvature()
	return p, workFor(p)
}

func workFor(p *problem) *work {
	n := len(p.die)
	return &work{x: make([]float32, n), y: make([]float32, n), old: make([]float32, n), light: make([][3]float32, p.pixels), pull: make([][3]float32, p.pixels)}
}

// objective is 1/2 v'Gv - b'v summed over channels, in float64.
func (p *problem) objective(x []float64, b [][3]float32) float64 {
	sum := 0.0
	for c := range 3 {
		v := make([]float64, p.pixels)
		for i := range v {
			for k := p.first[i]; k < p.first[i+1]; k++ {
				v[i] += x[k] * float64(p.die[k][c])
			}
		}
		for i := range v {
			for j := range v {
				sum += v[i] * v[j] * float64(p.gram[i*p.pixels+j]) / 2
			}
			sum -= v[i] * float64(b[i][c])
		}
	}
	return sum
}

func wide(x []float32) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = float64(v)
	}
	return out
}

// Against scipy's bounded least squares (bvls) and, with a budget, its SLSQP: the
// same least squares within a ten-thousandth of the target's.
func TestGeneralSolver(t *testing.T) {
	data, err := os.ReadFile("../../testdata/seen/problems.json")
	require.NoError(t, err)
	var all []stored
	require.NoError(t, json.Unmarshal(data, &all))
	require.Len(t, all, 6)
	for i, s := range all {
		p, w := s.problem()
		limit := math.Inf(1)
		if s.Limit != nil {
			limit = *s.Limit
		}
		p.solve(w, s.Asked, limit)
		got, want := p.objective(wide(w.x), s.Asked), p.objective(s.X, s.Asked)
		require.InDelta(t, s.Objective-s.Target, want, 1e-4, "the vectors mean what is read")
		spent := 0.0
		for k, v := range w.x {
			require.True(t, v >= 0 && v <= 1)
			spent += float64(v) * float64(p.cost[k])
		}
		require.LessOrEqual(t, spent, limit*(1+1e-5))
		worst := 0.0
		for k := range w.x {
			worst = math.Max(worst, math.Abs(float64(w.x[k])-s.X[k]))
		}
		t.Logf("problem %d: %d rounds, objective %.6f, general solver %.6f, duties within %.4f", i, w.rounds, got, want, worst)
		require.LessOrEqual(t, got-want, 1e-4*s.Target)
	}
}

// problemOf is a random row of pixels with overlapping light.
func problemOf(rnd *rand.Rand, n int, width float64) (*problem, [][3]float32) {
	p := &problem{pixels: n}
	for i := range n {
		for j := range n {
			d := float64(i-j) / width
			p.gram = append(p.gram, float32(math.Exp(-d*d/4)))
		}
		p.first = append(p.first, 3*i)
		p.die = append(p.die, [3]float32{0.5, 0.02, 0}, [3]float32{0.4, 0.7, 0.05}, [3]float32{0.02, 0.1, 0.9})
		p.most = append(p.most, 1, 1, 1)
		p.cost = append(p.cost, 1, 1.2, 0.9)
	}
	p.first = append(p.first, 3*n)
	p.curvature()
	b := make([][3]float32, n)
	for i := range b {
		for k := range b[i] {
			b[i][k] = float32(rnd.Float64()*3 - 0.3)
		}
	}
	return p, b
}

// descend is the slow twin: one duty at a time to its best value, in float64,
// until nothing moves. It knows no budget.
func descend(p *problem, b [][3]float32) []float64 {
	x := make([]float64, len(p.die))
	light := make([][3]float64, p.pixels)
	for range 20000 {
		moved := 0.0
		for i := range p.pixels {
			for k := p.first[i]; k < p.first[i+1]; k++ {
				slope, bend := 0.0, 0.0
				for c := range 3 {
					pull := -float64(b[i][c])
					for j := range light {
						pull += float64(p.gram[i*p.pixels+j]) * light[j][c]
					}
					slope += float64(p.die[k][c]) * pull
					bend += float64(p.die[k][c]) * float64(p.die[k][c]) * float64(p.gram[i*p.pixels+i])
				}
				next := math.Min(math.Max(x[k]-slope/bend, 0), float64(p.most[k]))
				for c := range 3 {
					light[i][c] += (next - x[k]) * float64(p.die[k][c])
				}
				moved = math.Max(moved, math.Abs(next-x[k]))
				x[k] = next
			}
		}
		if moved < 1e-7 {
			break
		}
	}
	return x
}

func TestTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 14).Draw(t, "pixels")
		p, b := problemOf(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3)), n, rapid.Float64Range(0.3, 2).Draw(t, "width"))
		w := workFor(p)
		p.solve(w, b, math.Inf(1))
		best := p.objective(descend(p, b), b)
		scale := 0.0
		for i := range b {
			for k := range b[i] {
				scale += float64(b[i][k]) * float64(b[i][k])
			}
		}
		require.LessOrEqual(t, p.objective(wide(w.x), b)-best, 3e-4*scale+1e-6)
	})
}

// Less to spend never brings the light closer, and what is spent stays within it.
func TestBudget(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, b := problemOf(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 4)), 8, 0.8)
		last := math.Inf(-1)
		for _, limit := range []float64{30, 6, 2, 0.5, 0} {
			w := workFor(p)
			p.solve(w, b, limit)
			spent := 0.0
			for k, v := range w.x {
				spent += float64(v) * float64(p.cost[k])
			}
			require.LessOrEqual(t, spent, limit*(1+1e-5)+1e-6)
			o := p.objective(wide(w.x), b)
			require.GreaterOrEqual(t, o, last-2e-3*math.Abs(o)-1e-6)
			last = o
		}
	})
}
