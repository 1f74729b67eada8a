package power

import (
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/show"
	"paneglow/render/drive"
)

// slow counts one frame the obvious way, in big rationals.
func slow(m *Meter, codes []uint8, plain bool) int64 {
	total := new(big.Int)
	for p, part := range m.parts {
		num := new(big.Int)
		for _, r := range m.runs {
			if r.Part != p {
				continue
			}
			for px := range r.Pixels {
				sum, biggest := new(big.Int), new(big.Int)
				for c := range part.Dies {
					x := big.NewInt(int64(codes[r.Offset+px*part.Dies+c]))
					x.Mul(x, big.NewInt(part.Channel[c]))
					sum.Add(sum, x)
					if x.Cmp(biggest) > 0 {
						biggest = x
					}
				}
				most := big.NewInt(255 * part.Ceiling)
				switch {
				case plain || part.Law == show.Sum || part.Law == show.Ceiling && sum.Cmp(most) < 0:
					num.Add(num, sum)
				case part.Law == show.Largest:
					num.Add(num, biggest)
				default:
					num.Add(num, most)
				}
				total.Add(total, big.NewInt(part.Idle))
			}
		}
		q, rest := new(big.Int).QuoRem(num, big.NewInt(255), new(big.Int))
		if rest.Sign() > 0 {
			q.Add(q, big.NewInt(1))
		}
		total.Add(total, q)
	}
	return total.Int64()
}

// drawMeter draws a panel of one to three parts under any law, with gaps.
func drawMeter(t *rapid.T) *Meter {
	ua := rapid.Int64Range(0, 60_000)
	var parts []Part
	for range rapid.IntRange(1, 3).Draw(t, "parts") {
		p := Part{Dies: rapid.SampledFrom([]int{3, 4}).Draw(t, "dies"), Law: show.Law(rapid.IntRange(0, 2).Draw(t, "law")),
			Idle: rapid.Int64Range(0, 3000).Draw(t, "idle"), Ceiling: rapid.Int64Range(1, 80_000).Draw(t, "ceiling")}
		for c := range p.Dies {
			p.Channel[c] = ua.Draw(t, "channel")
		}
		parts = append(parts, p)
	}
	var runs []Run
	at := 0
	for range rapid.IntRange(1, 4).Draw(t, "runs") {
		at += rapid.IntRange(0, 5).Draw(t, "gap")
		r := Run{Part: rapid.IntRange(0, len(parts)-1).Draw(t, "part"), Offset: at, Pixels: rapid.IntRange(0, 40).Draw(t, "pixels")}
		runs = append(runs, r)
		at += r.Pixels * parts[r.Part].Dies
	}
	m, err := Build(parts, runs, at)
	require.NoError(t, err)
	return m
}

func drawFrame(t *rapid.T, n int) []uint8 {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
	most := rapid.IntRange(1, 256).Draw(t, "most")
	b := make([]uint8, n)
	for i := range b {
		b[i] = uint8(r.IntN(most))
	}
	return b
}

func TestCountMatchesSlowTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMeter(t)
		codes := drawFrame(t, m.Channels())
		require.Equal(t, slow(m, codes, false), m.Current(codes))
		require.Equal(t, slow(m, codes, true), m.Bound(codes))
		require.LessOrEqual(t, m.Current(codes), m.Bound(codes))
	})
}

// Lanes are emptied every 256 words: long bright strips walk over that edge.
func TestLongBrightStrips(t *testing.T) {
	for _, dies := range []int{3, 4} {
		for _, n := range []int{0, 1, 7, 8, 9, 511, 512, 513, 2047, 2048, 2049, 8192} {
			m, err := Build([]Part{{Dies: dies, Channel: [4]int64{MostPixelCurrent, 3, 5, 7}}}, []Run{{Pixels: n}}, n*dies)
			require.NoError(t, err)
			codes := make([]uint8, n*dies)
			for i := range codes {
				codes[i] = 255
			}
			require.Equal(t, slow(m, codes, false), m.Current(codes), "%d pixels of %d dies", n, dies)
		}
	}
}

func TestGainIsTheGreatestThatFits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMeter(t)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		drives := make([]float32, m.Channels())
		for i := range drives {
			drives[i] = r.Float32() * 1.1
		}
		full := make([]uint8, len(drives))
		drive.Round(full, drives, drive.FullGain)
		most := uint32(rapid.IntRange(0, drive.FullGain).Draw(t, "most"))
		limit := rapid.Int64Range(m.Idle()-2, m.Current(full)+2).Draw(t, "limit")
		scratch := make([]uint8, len(drives))
		k, ok := m.Gain(drives, limit, scratch, most)
		require.Equal(t, m.Idle() <= limit, ok)
		if !ok {
			require.Zero(t, k)
			return
		}
		require.LessOrEqual(t, slow(m, scratch, false), limit)
		again := make([]uint8, len(drives))
		drive.Round(again, drives, k)
		require.Equal(t, again, scratch, "scratch holds the codes of the gain")
		if k < most {
			drive.Round(again, drives, k+1)
			require.Greater(t, slow(m, again, false), limit, "one step more breaks it")
		}
	})
}

func TestScaleBoundHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMeter(t)
		codes := drawFrame(t, m.Channels())
		limit := rapid.Int64Range(m.Idle()-2, m.Bound(codes)+10).Draw(t, "limit")
		k, ok := m.ScaleBound(m.Numerator(codes), limit)
		require.Equal(t, m.Idle() <= limit, ok)
		if !ok {
			return
		}
		// Any smaller gain holds as well: a level may lower it further.
		k = uint32(rapid.IntRange(0, int(k)).Draw(t, "k"))
		scaled := make([]uint8, len(codes))
		Scale(scaled, codes, k)
		require.LessOrEqual(t, slow(m, scaled, false), limit)
	})
}

// Each part's current is rounded up for itself, so two parts of half a
// microampere draw two: the bound leaves room for every part's rounding.
func TestScaleBoundLeavesRoomForRounding(t *testing.T) {
	p := Part{Dies: 3, Channel: [4]int64{1, 1, 1}}
	m, err := Build([]Part{p, p}, []Run{{Pixels: 1}, {Part: 1, Offset: 3, Pixels: 1}}, 6)
	require.NoError(t, err)
	codes := []uint8{128, 0, 0, 128, 0, 0}
	require.EqualValues(t, 2, m.Current(codes))
	for limit := range int64(5) {
		k, ok := m.ScaleBound(m.Numerator(codes), limit)
		require.True(t, ok)
		scaled := make([]uint8, len(codes))
		Scale(scaled, codes, k)
		require.LessOrEqual(t, m.Current(scaled), limit, "limit %d", limit)
	}
}
