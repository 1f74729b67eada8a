package script

import (
	"fmt"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/color"
)

// BenchmarkOperations measures each operation by what it adds to a pattern: a
// sum of many of it. The weights of the operation table are these figures over
// that of add, rounded.
func BenchmarkOperations(b *testing.B) {
	forms := map[string]string{
		"add": "a + at.u * %d", "mul": "(a + %d) * at.u", "div": "(a + %d) / (at.u + 1)", "mod": "mod(a + %d, 3)", "min": "min(a + %d, at.v)",
		"clamp": "clamp(a * %d, 0, 1)", "abs": "abs(a - %d)", "floor": "floor(a * %d)", "fract": "fract(a * %d)", "step": "step(%d, a)",
		"smoothstep": "smoothstep(0.1, 0.9, a * %d)", "sqrt": "sqrt(a * %d)", "exp": "exp(a * -%d)", "log": "log(a + %d)",
		"pow": "pow(a + %d, 0.7)", "sin": "sin(a * %d)", "tan": "tan(a * %d)", "asin": "asin(a / %d)", "atan2": "atan(a, at.v + %d)",
		"hash1": "hash(a * %d)", "hash2": "hash(a * %d, at.v)", "hash3": "hash(a * %d, at.v, at.u)",
		"noise1": "noise(a * %d)", "noise2": "noise(a * %d, at.v)", "noise3": "noise(a * %d, at.v, now.cycle(1))", "lightness": "lightness(a / %d)",
	}
	var names []string
	for n := range forms {
		names = append(names, n)
	}
	sort.Strings(names)
	l := benchLayout()
	for _, name := range names {
		b.Run(name, func(b *testing.B) {
			src := "def light(at, now):\n    a = at.along + now.cycle(1)\n    s = at.x * 0\n"
			for i := 1; i <= 20; i++ {
				src += "    s = s + " + fmt.Sprintf(forms[name], i) + "\n"
			}
			src += "    return color(\"white\") * s\n"
			p := traced2(b, src, Options{Layout: l, Frames: 60, FPS: 30, Loop: true})
			r, dst := p.Start(), make([]color.Light, len(l.Pixels))
			b.ResetTimer()
			for range b.N {
				require.NoError(b, r.Next(dst))
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*20*len(l.Pixels)), "ns/pixel-op")
		})
	}
}
