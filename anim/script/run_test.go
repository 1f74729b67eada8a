package script

import (
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/color"
)

type lightOf = color.Light

const remembering = `
def light(at, now):
    place = now.cycle(2)
    hit = 1 - smoothstep(0, 0.03, abs(at.along - place))
    return color("white") * trail(hit, half = "0.3 s")
`

// A seek gives the frame that playing gives, for a pattern with memory too, and
// every lap is the same.
func TestSeekEqualsPlaying(t *testing.T) {
	p := traced2(t, remembering, Options{Frames: 200, FPS: 50, Loop: true})
	require.Greater(t, len(p.kept), 2)
	r := p.Start()
	var lap [][]color.Light
	for range 200 {
		f := make([]color.Light, 180)
		require.NoError(t, r.Next(f))
		lap = append(lap, f)
	}
	got := make([]color.Light, 180)
	for _, f := range []int{0, 199, 31, 32, 33, 100, 5, 198} {
		require.NoError(t, r.Seek(f))
		require.NoError(t, r.Next(got))
		bits(t, lap[f], got, "after seek")
	}
	require.NoError(t, r.Seek(199))
	require.NoError(t, r.Next(got))
	require.NoError(t, r.Next(got))
	bits(t, lap[0], got, "after the last frame")
	require.Error(t, r.Seek(-1))
	require.Error(t, r.Seek(200))
	require.Error(t, r.Next(got[:7]))
}

// The memory halves every half and reaches across the loop's joint.
func TestTrailHalves(t *testing.T) {
	src := "def light(at, now):\n    return color(\"white\") * trail(step(0.5, now.cycle(2)) + at.u * 0, half = \"0.5 s\")\n"
	p := traced2(t, src, Options{Frames: 80, FPS: 40, Loop: true})
	r, got := p.Start(), make([]color.Light, 180)
	for f := range 80 {
		require.NoError(t, r.Next(got))
		switch f {
		case 19: // 20 frames after the last lit one of the lap before
			require.InDelta(t, 0.5, got[3][0], 1e-5)
		case 39:
			require.InDelta(t, 0.25, got[3][0], 1e-5)
		case 40, 79:
			require.Equal(t, float32(1), got[3][0])
		}
	}
}

func TestCyclesAreWholeTurns(t *testing.T) {
	p := traced2(t, "def light(at, now):\n    return color(\"white\") * now.cycle(\"5 s\")\n", Options{Frames: 480, FPS: 40, Loop: true})
	c := p.g.Cycles()
	require.Len(t, c, 1)
	require.Equal(t, Cycle{5, 2, 6, c[0].Pos}, c[0])
	notes := p.Notes()
	require.Len(t, notes, 1)
	require.Equal(t, "script.cycle_snapped", notes[0].Code)
	require.Contains(t, notes[0].Message, "6 s instead of 5 s")
	once := traced2(t, "def light(at, now):\n    return color(\"white\") * now.cycle(5)\n", Options{Frames: 480, FPS: 40})
	require.Empty(t, once.Notes(), "a clip that plays once keeps the time asked for")
}

func TestSeamIsMeasured(t *testing.T) {
	p := traced2(t, "def light(at, now):\n    return color(\"white\") * fract(now.seconds * 0.375)\n", Options{Frames: 40, FPS: 20, Loop: true})
	require.Len(t, p.Notes(), 1)
	require.Equal(t, "script.seam", p.Notes()[0].Code)
	require.Contains(t, p.Notes()[0].Message, "0.75 of white", "2 s x 0.375 Hz")
	closed := traced2(t, "def light(at, now):\n    return color(\"white\") * fract(now.seconds * 0.5)\n", Options{Frames: 40, FPS: 20, Loop: true})
	require.Empty(t, closed.Notes())
}

func TestValueClips(t *testing.T) {
	p := traced2(t, "def light(at, now):\n    return color(\"white\") * now.value\n", Options{Value: true, Frames: 3, FPS: 10})
	require.Equal(t, 256, p.Frames())
	r, got := p.Start(), make([]color.Light, 180)
	require.NoError(t, r.Seek(51))
	require.NoError(t, r.Next(got))
	require.Equal(t, float32(0.2), got[0][0])
	require.ErrorContains(t, open("def light(at, now):\n    return color(\"red\") * now.cycle(2)\n", Options{Value: true, Frames: 1}), "no time")
	require.ErrorContains(t, open("def light(at, now):\n    return color(\"red\") * trail(at.v)\n", Options{Value: true, Frames: 1}), "no time")
}

func TestProgressReachesOneOnce(t *testing.T) {
	src := "def light(at, now):\n    return color(\"white\") * now.progress\n"
	r, got := traced2(t, src, Options{Frames: 11, FPS: 10}).Start(), make([]color.Light, 180)
	require.NoError(t, r.Seek(10))
	require.NoError(t, r.Next(got))
	require.Equal(t, float32(1), got[0][0])
	eased := traced2(t, src, Options{Frames: 11, FPS: 10, Easing: func(p float64) float64 { return p * p }}).Start()
	require.NoError(t, eased.Seek(5))
	require.NoError(t, eased.Next(got))
	require.Equal(t, float32(0.25), got[0][0])
}

func TestSeedsAndHints(t *testing.T) {
	src := "def light(at, now):\n    return color(\"white\") * hash(at.index)\n"
	a, b := make([]color.Light, 180), make([]color.Light, 180)
	require.NoError(t, traced2(t, src, Options{Seed: 1}).Start().Next(a))
	require.NoError(t, traced2(t, src, Options{Seed: 2}).Start().Next(b))
	require.NotEqual(t, a, b)
	p := traced2(t, "def light(at, now):\n    return color(\"white\") * hash(at.along)\n", Options{})
	require.Equal(t, "script.hash_fraction", p.Notes()[0].Code)
}

// What all pixels share is computed once a frame, what does not move once a
// clip, equal expressions once; a constant factor joins what is shared.
func TestClasses(t *testing.T) {
	p := traced2(t, "def light(at, now):\n    a = sin(at.x) * 2\n    b = sin(now.cycle(1)) * 3\n    return color(\"white\") * (a * b + sin(at.x) * 2)\n", Options{})
	require.Equal(t, Cost{Clip: 2, Frame: 3, Pixel: 2, Weight: 2}, p.g.Cost())
	for _, n := range p.g.Nodes() {
		for _, k := range n.Args {
			require.LessOrEqual(t, p.g.Nodes()[k].Class&^n.Class, Class(0))
		}
	}
}

func TestOneProgramManyRuns(t *testing.T) {
	p := traced2(t, remembering, Options{Frames: 50, FPS: 25, Loop: true})
	var wg sync.WaitGroup
	out := make([][]color.Light, 4)
	for i := range out {
		wg.Add(1)
		go func() {
			defer wg.Done()
			r := p.Start()
			out[i] = make([]color.Light, 180)
			for range 33 {
				if r.Next(out[i]) != nil {
					return
				}
			}
		}()
	}
	wg.Wait()
	for i := range out {
		require.Equal(t, out[0], out[i])
	}
}
