package wiring

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"

	"paneglow/anim/show"
	"paneglow/render/power"
)

// row is one strip of n pixels on ideal supply terminals, with feeds from end to
// end, and frames of codes.
func row(n, feeds, frames int) (Plan, *Draws, [][]uint8) {
	p := Plan{Supplies: []Supply{{Volts: 12}}, Strips: []Strip{even(n, 0.0027, 9)}}
	for f := range feeds {
		p.Feeds = append(p.Feeds, Feed{0, Place{0, f * (n - 1) / (feeds - 1)}, Pair{0.04, 0.04}})
	}
	d := &Draws{pixels: n, channels: 3 * n, runs: []drawRun{{pixels: n, part: power.Part{
		Dies: 3, Law: show.Sum, Idle: 1080, Channel: [4]int64{12960, 12960, 12960}}}}}
	rng := rand.New(rand.NewPCG(1, 2))
	codes := make([][]uint8, frames)
	for f := range codes {
		codes[f] = make([]uint8, 3*n)
		for i := range codes[f] {
			codes[f][i] = uint8(rng.IntN(256))
		}
	}
	return p, d, codes
}

// power_show_ms: every frame of 60 s at 40 fps, 200 pixels, 4 feeds, on one core:
// codes to draws, all voltages solved, the lowest pixel, the currents of the feeds,
// the minus rail at both ends, and the power lost.
func BenchmarkShow(b *testing.B) {
	p, d, codes := row(200, 4, 2400)
	c, err := New(p)
	require.NoError(b, err)
	s, draw := c.Solver(), make([]int64, 200)
	lowest, loss, most, shift := 100.0, 0.0, 0.0, 0.0
	for b.Loop() {
		for _, f := range codes {
			d.Of(draw, f)
			if err := s.Solve(draw); err != nil {
				b.Fatal(err)
			}
			lowest = min(lowest, s.Lowest().Volts)
			for i := range p.Feeds {
				most = max(most, s.Feed(i))
			}
			shift = max(shift, s.Minus(Place{0, 0}), s.Minus(Place{0, 199}))
			loss += s.Loss()
		}
	}
	require.True(b, lowest > 9 && lowest < 12 && loss > 0 && most > 0 && shift > 0)
	b.ReportMetric(1000*b.Elapsed().Seconds()/float64(b.N), "power_show_ms")
	require.Zero(b, testing.AllocsPerRun(10, func() { _ = s.Solve(draw); s.Lowest() }))
}

// power_ladder_ratio: the voltages of all 200 pixels of the same frames of draws,
// here against LAPACK's tridiagonal solver in gonum (Dgtsv), which is given the
// matrix of a strip whose feeds are conductances to the ideal supply. Both write
// every voltage; Dgtsv overwrites its matrix, so it is copied for each frame.
func BenchmarkLadderRatio(b *testing.B) {
	const n, frames = 200, 2400
	p, d, codes := row(n, 4, frames)
	c, err := New(p)
	require.NoError(b, err)
	s := c.Solver()
	draws := make([][]int64, frames)
	for f := range draws {
		draws[f] = make([]int64, n)
		d.Of(draws[f], codes[f])
	}
	volts := make([]float64, n)
	tri := newTridiagonal(&p)
	x := make([]float64, n)
	var ours, theirs time.Duration
	for b.Loop() {
		begun := time.Now()
		for f := range draws {
			if err := s.Solve(draws[f]); err != nil {
				b.Fatal(err)
			}
			s.Volts(volts)
		}
		between := time.Now()
		for f := range draws {
			tri.solve(x, draws[f])
		}
		ours += between.Sub(begun)
		theirs += time.Since(between)
	}
	for i := range x { // the last frame of both
		require.InDelta(b, x[i], volts[i], 1e-9)
	}
	b.ReportMetric(float64(ours)/float64(theirs), "power_ladder_ratio")
}

// tridiagonal is one evenly railed strip as a loop, for Dgtsv.
type tridiagonal struct {
	n                int
	below, on, above []float64 // and room for their copies behind them
	source           []float64
}

func newTridiagonal(p *Plan) *tridiagonal {
	n := p.Strips[0].Pixels
	t := &tridiagonal{n: n, below: make([]float64, 2*(n-1)), on: make([]float64, 2*n), above: make([]float64, 2*(n-1)), source: make([]float64, n)}
	g := 1 / (p.Strips[0].Rails.Plus + p.Strips[0].Rails.Minus)
	for i := range n - 1 {
		t.below[i], t.above[i] = -g, -g
		t.on[i] += g
		t.on[i+1] += g
	}
	for _, f := range p.Feeds {
		w := 1 / (f.Wire.Plus + f.Wire.Minus)
		t.on[f.At.Pixel] += w
		t.source[f.At.Pixel] += w * p.Supplies[0].Volts
	}
	return t
}

func (t *tridiagonal) solve(x []float64, draw []int64) {
	n := t.n
	copy(t.below[n-1:], t.below[:n-1])
	copy(t.on[n:], t.on[:n])
	copy(t.above[n-1:], t.above[:n-1])
	for i := range x {
		x[i] = t.source[i] - float64(draw[i])/Ampere
	}
	a := lapack64.Tridiagonal{N: n, DL: t.below[n-1:], D: t.on[n:], DU: t.above[n-1:]}
	if !lapack64.Gtsv(blas.NoTrans, a, blas64.General{Rows: n, Cols: 1, Stride: 1, Data: x}) {
		panic("singular")
	}
}

// power_ladder_scaling: time per pixel at 2000 pixels over that at 200, 4 feeds,
// from codes to the lowest voltage, turn by turn.
func BenchmarkLadderScaling(b *testing.B) {
	type side struct {
		n     int
		codes [][]uint8
		draws *Draws
		s     *Solver
		draw  []int64
		spent time.Duration
	}
	var sides [2]side
	for i, n := range []int{200, 2000} {
		p, d, codes := row(n, 4, 200_000/n)
		// Thick enough that no pixel starves, which is another path.
		thin := 0.02 / float64(n) / 100
		p.Strips[0].Rails = Pair{thin, thin}
		for f := range p.Feeds {
			p.Feeds[f].Wire = Pair{0.004, 0.004}
		}
		c, err := New(p)
		require.NoError(b, err)
		sides[i] = side{n, codes, d, c.Solver(), make([]int64, n), 0}
	}
	low := 12.0
	for b.Loop() {
		for i := range sides {
			x := &sides[i]
			begun := time.Now()
			for _, f := range x.codes {
				x.draws.Of(x.draw, f)
				if err := x.s.Solve(x.draw); err != nil {
					b.Fatal(err)
				}
				low = min(low, x.s.Lowest().Volts)
			}
			x.spent += time.Since(begun)
		}
	}
	require.Zero(b, sides[0].s.Starved()+sides[1].s.Starved())
	require.True(b, low > 9 && low < 12, low)
	b.ReportMetric(float64(sides[1].spent)/float64(sides[0].spent), "power_ladder_scaling")
}
