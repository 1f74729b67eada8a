package script

import (
	"math"
	"sort"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/anim/color"
	"paneglow/anim/layout"
)

// The speed of a traced pattern is measured against a loop written by hand for
// the same picture: float32, the same functions, everything that can be
// computed once a clip or once a frame computed there. The loops are also the
// proof that the patterns mean what they say: TestHandLoopsAgree.

const simpleSource = `
low, high = "#024", "#fc8"
def light(at, now):
    return mix(color(low), color(high), fract(at.v + now.cycle(4)))
`

const mediumSource = `
def light(at, now):
    c = now.cycle(6)
    w = sin(at.x * 0.011 + c * radians(360)) * 0.5 + 0.5
    n = noise(at.u * 3, at.v * 7 - c * 8, period = 8)
    h = smoothstep(0.2, 0.9, at.v + n * 0.3 + w * 0.2)
    g = clamp(abs(fract(at.v * 2 - c) - 0.5) * 2 + n * 0.2, 0, 1)
    k = h * g + max(w - h, 0) * 0.25
    return mix(color("#013"), color("#fd9"), k) * (h * 0.6 + 0.4)
`

const heavySource = `
warm = gradient("#000010", "#10206a 25%", "#8a3c50 60%", "#ffb060 85%", "#fff4d8")
def light(at, now):
    c = now.cycle(8)
    z = now.cycle(8) * 6
    n = fbm(at.u * 2, at.v * 5 - c * 3, z, octaves = 4, period = 6)
    w = sin(at.v * 19 + n * 4 + c * radians(360))
    s = cos(at.u * 7 - w * 1.5 - c * radians(720))
    d = length(vec2(at.u - 0.5, at.v - 0.5))
    r = smoothstep(0.9, 0.1, d + n * 0.25)
    f = fract(at.along * 3 + c * 2 + n * 0.5)
    e = abs(f - 0.5) * 2
    q = pow(clamp(e * 0.7 + s * 0.3, 0, 1), 2)
    m = max(min(w * 0.5 + 0.5, r), q * 0.6)
    t = clamp(m * 0.55 + n * 0.35 + r * 0.25 + sqrt(q) * 0.1, 0, 1)
    shade = (1 - d * 0.4) * (0.7 + 0.3 * s) * (r * 0.5 + 0.5) + e * 0.05
    return warm(t) * shade
`

// benchLayout has 300 pixels.
func benchLayout() *layout.Layout {
	l := portal()
	for i := 0; len(l.Pixels) < 300; i++ {
		px := l.Pixels[i]
		px.X, px.U = px.X+30, px.U+0.05
		l.Pixels = append(l.Pixels, px)
	}
	return l
}

const benchFrames, benchFPS = 480, 40

// hand is a loop written by hand: it fills a frame.
type hand func(frame int, dst []color.Light)

func lights(text string) [3]float32 {
	c, err := color.Parse(text)
	if err != nil {
		panic(err)
	}
	return c.Light()
}

func turnAt(frame int, seconds float64) float64 {
	turns := int(math.Round(benchFrames / benchFPS / seconds))
	return float64(turns*frame%benchFrames) / benchFrames
}

func simpleLoop(l *layout.Layout) hand {
	v := make([]float32, len(l.Pixels))
	for i, p := range l.Pixels {
		v[i] = float32(p.V)
	}
	a, b := lights("#024"), lights("#fc8")
	d := [3]float32{b[0] - a[0], b[1] - a[1], b[2] - a[2]}
	return func(frame int, dst []color.Light) {
		c := float32(turnAt(frame, 4))
		v := v[:len(dst)]
		for i := range dst {
			t := fract32(v[i] + c)
			dst[i] = color.Light{float32(t*d[0]) + a[0], float32(t*d[1]) + a[1], float32(t*d[2]) + a[2]}
		}
	}
}

func mediumLoop(l *layout.Layout) hand {
	n := len(l.Pixels)
	x, u, v, v7, v2 := make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
	for i, p := range l.Pixels {
		x[i], u[i], v[i] = float32(p.X)*0.011, float32(p.U)*3, float32(p.V)
		v7[i], v2[i] = float32(p.V)*7, float32(p.V)*2
	}
	a, b := lights("#013"), lights("#fd9")
	d := [3]float32{b[0] - a[0], b[1] - a[1], b[2] - a[2]}
	net := field{seedFrom(0, 0), 8}
	return func(frame int, dst []color.Light) {
		c := turnAt(frame, 6)
		angle, fall, c32 := float32(c*(360*degree)), float32(c*8), float32(c)
		slope := float32(1 / 0.7)
		for i := range dst {
			w := float32(sin32(x[i]+angle)*0.5) + 0.5
			nx, ny := u[i], v7[i]-fall
			ix, iy := below(nx), below(ny)
			ns := noise2(net, ix, iy, nx-float32(ix), ny-float32(iy))
			h := smooth32(float32(w*0.2)+(float32(ns*0.3)+v[i]), 0.2, slope)
			f := fract32(v2[i] - c32)
			g := float32(abs32(f-0.5)*2) + float32(ns*0.2)
			if g < 0 {
				g = 0
			}
			if g > 1 {
				g = 1
			}
			k := w - h
			if k < 0 {
				k = 0
			}
			k = float32(h*g) + float32(k*0.25)
			s := float32(h*0.6) + 0.4
			dst[i] = color.Light{
				(float32(k*d[0]) + a[0]) * s,
				(float32(k*d[1]) + a[1]) * s,
				(float32(k*d[2]) + a[2]) * s,
			}
		}
	}
}

func abs32(x float32) float32 { return math.Float32frombits(math.Float32bits(x) &^ (1 << 31)) }

func heavyLoop(l *layout.Layout, warm *palette) hand {
	n := len(l.Pixels)
	type place struct{ u2, v5, v19, u7, along3, d, dim float32 }
	px := make([]place, n)
	for i, p := range l.Pixels {
		u, v := float32(p.U), float32(p.V)
		du, dv := u-0.5, v-0.5
		d := float32(math.Sqrt(float64(float32(du*du) + float32(dv*dv))))
		px[i] = place{u * 2, v * 5, v * 19, u * 7, float32(p.Along) * 3, d, 1 - float32(d*0.4)}
	}
	var net [4]field
	for i := range net {
		net[i] = field{mixBits(seedFrom(0, 0) + uint32(i)*spreadS), 6 << i}
	}
	weights := [4]float32{1 / 1.875, 0.5 / 1.875, 0.25 / 1.875, 0.125 / 1.875}
	return func(frame int, dst []color.Light) {
		c := turnAt(frame, 8)
		drop, z := float32(c*3), float32(c*6)
		angle, angle2, c2 := float32(c*(360*degree)), float32(c*(720*degree)), float32(c*2)
		slope := float32(1 / (0.1 - 0.9))
		for i := range dst {
			p := &px[i]
			x, y, zz := p.u2, p.v5-drop, z
			ns := float32(0)
			for o := range 4 {
				ix, iy, iz := below(x), below(y), below(zz)
				ns += float32(weights[o] * noise3(net[o], ix, iy, iz, x-float32(ix), y-float32(iy), zz-float32(iz)))
				x, y, zz = x*2, y*2, zz*2
			}
			w := sin32(float32(ns*4) + p.v19 + angle)
			s := cos32(p.u7 - float32(w*1.5) - angle2)
			r := smooth32(float32(ns*0.25)+p.d, 0.9, slope)
			f := fract32(float32(ns*0.5) + p.along3 + c2)
			e := abs32(f-0.5) * 2
			q := float32(e*0.7) + float32(s*0.3)
			if q < 0 {
				q = 0
			}
			if q > 1 {
				q = 1
			}
			q *= q
			m := float32(w*0.5) + 0.5
			if r < m {
				m = r
			}
			if q6 := q * 0.6; q6 > m {
				m = q6
			}
			root := float32(math.Sqrt(float64(q)))
			t := float32(root*0.1) + (float32(r*0.25) + (float32(ns*0.35) + float32(m*0.55)))
			shade := float32(p.dim*(float32(s*0.3)+0.7))*(float32(r*0.5)+0.5) + float32(e*0.05)
			j, g := place32(t)
			lo, hi := &warm[j], &warm[j+1]
			dst[i] = color.Light{
				(lo[0] + float32(g*(hi[0]-lo[0]))) * shade,
				(lo[1] + float32(g*(hi[1]-lo[1]))) * shade,
				(lo[2] + float32(g*(hi[2]-lo[2]))) * shade,
			}
		}
	}
}

type contest struct {
	name string
	prog *Program
	loop hand
	l    *layout.Layout
}

func contests(t testing.TB) []contest {
	l := benchLayout()
	o := Options{Layout: l, Frames: benchFrames, FPS: benchFPS, Loop: true}
	simple, medium, heavy := traced2(t, simpleSource, o), traced2(t, mediumSource, o), traced2(t, heavySource, o)
	require.Len(t, heavy.g.palettes, 1)
	return []contest{
		{"simple", simple, simpleLoop(l), l},
		{"medium", medium, mediumLoop(l), l},
		{"heavy", heavy, heavyLoop(l, heavy.g.palettes[0]), l},
	}
}

// The loops round in another order here and there, so they agree to some
// float32 steps, not to the bit; the twin holds the bits. The greatest
// differences seen are 3e-7, 9e-6 and 2e-5.
func TestHandLoopsAgree(t *testing.T) {
	for _, c := range contests(t) {
		r := c.prog.Start()
		a, b := make([]color.Light, len(c.l.Pixels)), make([]color.Light, len(c.l.Pixels))
		worst, least, most := 0.0, math.Inf(1), 0.0
		for f := range benchFrames {
			require.NoError(t, r.Next(a))
			c.loop(f, b)
			for i := range a {
				for k := range 3 {
					worst = math.Max(worst, math.Abs(float64(a[i][k]-b[i][k])))
					least, most = math.Min(least, float64(a[i][k])), math.Max(most, float64(a[i][k]))
				}
			}
		}
		t.Logf("%s: %v, greatest difference %.2g, light %.3g to %.3g", c.name, c.prog.g.Cost(), worst, least, most)
		require.Less(t, worst, 1e-4, c.name)
		require.Greater(t, most-least, 0.3, "%s shows something", c.name)
	}
}

// BenchmarkAgainstLoop alternates program and loop in short rounds and compares
// medians, so that a slow spell of the machine hits both.
func BenchmarkAgainstLoop(b *testing.B) {
	for _, c := range contests(b) {
		b.Run(c.name, func(b *testing.B) {
			dst := make([]color.Light, len(c.l.Pixels))
			r := c.prog.Start()
			const rounds, frames = 41, 60
			var prog, loop []float64
			b.ResetTimer()
			for range b.N {
				for k := range rounds {
					begin := time.Now()
					for range frames {
						if err := r.Next(dst); err != nil {
							b.Fatal(err)
						}
					}
					mid := time.Now()
					for f := range frames {
						c.loop((k*frames+f)%benchFrames, dst)
					}
					end := time.Now()
					per := float64(frames * len(dst))
					prog = append(prog, float64(mid.Sub(begin).Nanoseconds())/per)
					loop = append(loop, float64(end.Sub(mid).Nanoseconds())/per)
				}
			}
			b.StopTimer()
			sort.Float64s(prog)
			sort.Float64s(loop)
			p, l := prog[len(prog)/2], loop[len(loop)/2]
			b.ReportMetric(p/l, "script_ratio_"+c.name)
			b.ReportMetric(l, "script_loop_ns_"+c.name)
			b.ReportMetric(p, "script_ns_"+c.name)
			b.ReportMetric(testing.AllocsPerRun(100, func() { _ = r.Next(dst) }), "script_allocs_per_frame")
			b.ReportMetric(0, "ns/op")
		})
	}
}

func TestNoAllocationAFrame(t *testing.T) {
	for _, c := range contests(t) {
		dst := make([]color.Light, len(c.l.Pixels))
		r := c.prog.Start()
		require.Zero(t, testing.AllocsPerRun(200, func() { _ = r.Next(dst) }), c.name)
	}
}

// BenchmarkTrace is what opening or changing a pattern costs.
func BenchmarkTrace(b *testing.B) {
	l := benchLayout()
	for range b.N {
		p, err := Load("heavy.star", []byte(heavySource))
		if err != nil {
			b.Fatal(err)
		}
		g, err := p.Trace(Options{Layout: l, Frames: benchFrames, FPS: benchFPS, Loop: true})
		if err != nil {
			b.Fatal(err)
		}
		if _, err := g.Compile(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N), "script_open_us")
}
