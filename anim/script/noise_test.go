package script

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

// samples draws noise of n coordinates far from regular places.
func samples(n, count int, seed uint32) []float64 {
	out := make([]float64, count)
	o := opNoise1 + op(n-1)
	f := field{seed: seed}
	for i := range out {
		// Steps of irrational numbers cover the cells evenly (Weyl).
		x := math.Mod(float64(i)*0.7548776662466927*7.13, 4096) - 2048
		y := math.Mod(float64(i)*0.5698402909980532*5.71, 4096) - 2048
		z := math.Mod(float64(i)*0.8191725133961645*6.37, 4096) - 2048
		out[i] = eval64(o, f.imm(), x, y, z)
	}
	return out
}

// The spread stated in the package comment, mean and range, over several seeds.
func TestNoiseSpread(t *testing.T) {
	want := map[int]float64{1: 0.28, 2: 0.30, 3: 0.22}
	for n, rms := range want {
		for seed := range uint32(4) {
			s := samples(n, 200000, seed*7919)
			mean, dev := stat.MeanStdDev(s, nil)
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, v := range s {
				lo, hi = math.Min(lo, v), math.Max(hi, v)
			}
			t.Logf("noise%d seed %d: mean %.4f rms %.4f range %.3f..%.3f", n, seed, mean, dev, lo, hi)
			require.InDelta(t, 0, mean, 0.02)
			require.InDelta(t, rms, dev, 0.01)
			require.GreaterOrEqual(t, lo, -1.0)
			require.LessOrEqual(t, hi, 1.0)
			require.Greater(t, hi-lo, 1.3, "it uses its range")
		}
	}
}

func TestNoiseIsZeroOnTheLatticeAndContinuous(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 3).Draw(t, "n")
		f := field{rapid.Uint32().Draw(t, "seed"), int32(rapid.IntRange(0, 9).Draw(t, "period"))}
		o := opNoise1 + op(n-1)
		var c [3]float64
		for i := range c {
			c[i] = float64(rapid.IntRange(-5000, 5000).Draw(t, "cell"))
		}
		require.Zero(t, eval64(o, f.imm(), c[0], c[1], c[2]))
		// Across a cell's border the value and the slope go on.
		at := func(d float64) float64 { return eval64(o, f.imm(), c[0]+d, c[1]+d*0.7, c[2]-d*0.4) }
		const h = 1.0 / 1024
		left, right := (at(0)-at(-h))/h, (at(h)-at(0))/h
		require.InDelta(t, left, right, 0.1)
	})
}

func TestNoisePeriod(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.IntRange(1, 50).Draw(t, "period")
		f := field{rapid.Uint32().Draw(t, "seed"), int32(p)}
		x, y, z := float64(rapid.IntRange(-9000, 9000).Draw(t, "x"))/16, float64(rapid.IntRange(-9000, 9000).Draw(t, "y"))/16, float64(rapid.IntRange(-9000, 9000).Draw(t, "z"))/16
		require.Equal(t, eval64(opNoise1, f.imm(), x, 0, 0), eval64(opNoise1, f.imm(), x+float64(p), 0, 0))
		require.Equal(t, eval64(opNoise2, f.imm(), x, y, 0), eval64(opNoise2, f.imm(), x, y+float64(p), 0))
		require.Equal(t, eval64(opNoise3, f.imm(), x, y, z), eval64(opNoise3, f.imm(), x, y, z-float64(p)))
	})
}

// hash is even (chi-square over 64 bins, 63 degrees of freedom: the 0.01 % point
// is 112.9, from gonum's distribution), and neighbours are unrelated.
func TestHashIsEven(t *testing.T) {
	const n, bins = 1 << 16, 64
	for name, f := range map[string]func(i int) float32{
		"line":    func(i int) float32 { return hash1(1, int32(i)) },
		"plane":   func(i int) float32 { return hash2(1, int32(i%256), int32(i/256)) },
		"space":   func(i int) float32 { return hash3(1, int32(i%32), int32(i/32%32), int32(i/1024)) },
		"seeds":   func(i int) float32 { return hash1(seedFrom(int64(i), 0), 5) },
		"scripts": func(i int) float32 { return hash1(seedFrom(0, int64(i)), 5) },
	} {
		var count [bins]float64
		expect := make([]float64, bins)
		a, b := make([]float64, n), make([]float64, n)
		for i := range n {
			v := f(i)
			require.True(t, v >= 0 && v < 1)
			count[int(v*bins)]++
			a[i], b[i] = float64(v), float64(f(i+1))
		}
		for i := range expect {
			expect[i] = n / bins
		}
		chi := stat.ChiSquare(count[:], expect)
		t.Logf("%s: chi-square %.1f, correlation of neighbours %.4f", name, chi, stat.Correlation(a, b, nil))
		require.Less(t, chi, 112.9, name)
		require.Less(t, math.Abs(stat.Correlation(a, b, nil)), 0.02, name)
	}
}

// Fixed values: a change of noise or hash changes every shown picture and the
// operation set's version. Computed by this package at version 1.
func TestLatticeIsFrozen(t *testing.T) {
	require.Equal(t, 1, OpSet)
	got := []float32{hash1(0, 1), hash2(3, -1, 7), hash3(9, 1, 2, 3),
		noise1(field{seed: 1}, 3, 0.25), noise2(field{seed: 1}, 3, -2, 0.25, 0.5), noise3(field{1, 4}, 3, -2, 7, 0.25, 0.5, 0.75)}
	t.Log(got)
	require.Equal(t, frozen, got)
}

var frozen = []float32{0.4380048, 0.23508132, 0.22863144, 0.4504366, 0.28916037, -0.10913249}

func TestSlopesAreUnitVectors(t *testing.T) {
	var sx, sy, sz float64
	for i := range slopes3 {
		require.InDelta(t, 1, math.Hypot(float64(slopes2[i][0]), float64(slopes2[i][1])), 1e-6)
		g := slopes3[i]
		require.InDelta(t, 1, math.Sqrt(float64(g[0]*g[0]+g[1]*g[1]+g[2]*g[2])), 1e-6)
		sx, sy, sz = sx+float64(g[0]), sy+float64(g[1]), sz+float64(g[2])
	}
	require.Less(t, math.Sqrt(sx*sx+sy*sy+sz*sz)/256, 0.12, "no direction is preferred")
}
