package script

import (
	"fmt"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"paneglow/anim/finding"
	"paneglow/anim/show"
)

// open loads and traces, and gives the first error.
func open(src string, o Options) error {
	p, err := Load("chunk.star", []byte(src))
	if err != nil {
		return err
	}
	if o.Layout == nil {
		o.Layout = portal()
	}
	if o.Frames == 0 {
		o.Frames, o.FPS, o.Loop = 80, 40, true
	}
	g, err := p.Trace(o)
	if err != nil {
		return err
	}
	_, err = g.Compile()
	return err
}

// Every refused script names the line that causes it, within a second and
// 50 MB; hostile ones included.
func TestRefusedScripts(t *testing.T) {
	text, err := os.ReadFile("testdata/errors.star")
	require.NoError(t, err)
	first := 1
	for _, chunk := range strings.Split(string(text), "---\n") {
		lines := strings.Split(chunk, "\n")
		want, line := "", 0
		for i, l := range lines {
			if _, w, ok := strings.Cut(l, "### "); ok {
				want, line = w, i+1
			}
		}
		name := fmt.Sprintf("errors.star:%d", first+line-1)
		first += len(lines) - 1 + 1
		require.NotZero(t, line, name)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		begin := time.Now()
		err := open(chunk, Options{})
		took := time.Since(begin)
		runtime.ReadMemStats(&after)
		if !assert.Error(t, err, name) {
			continue
		}
		list := findings(err)
		if !assert.NotEmpty(t, list, "%s: %v", name, err) {
			continue
		}
		assert.Contains(t, err.Error(), want, name)
		assert.Equal(t, line, list[0].Pos.Line, "%s: %v", name, err)
		assert.NotZero(t, list[0].Pos.Col, "%s: %v", name, err)
		assert.Equal(t, finding.Error, list[0].Severity)
		assert.Less(t, took, time.Second, name)
		assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(50<<20), name)
	}
}

// Deep and huge sources, made rather than written.
func TestHostileSources(t *testing.T) {
	for name, src := range map[string]string{
		"brackets": "x = " + strings.Repeat("(", 15000) + strings.Repeat(")", 15000),
		"minus":    "x = " + strings.Repeat("- ", 15000) + "1",
		"not":      "x = " + strings.Repeat("not ", 7000) + "1",
		"sum":      "x = 1" + strings.Repeat("+1", 15000),
		"dots":     "x = a" + strings.Repeat(".x", 15000),
		"lambdas":  "x = " + strings.Repeat("lambda: ", 3000) + "1",
		"choices":  "x = " + strings.Repeat("1 if 1 else ", 2000) + "1",
		"huge":     strings.Repeat("x = 1\n", 100000),
		"digits":   "x = " + strings.Repeat("9", 30000),
		"ladder":   ladder(25),
		"zero":     "\x00\xff\xfe",
	} {
		begin := time.Now()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		err := open(src, Options{})
		runtime.ReadMemStats(&after)
		require.Error(t, err, name)
		require.NotEmpty(t, findings(err), "%s: %v", name, err)
		require.Less(t, time.Since(begin), time.Second, name)
		require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(50<<20), name)
	}
}

// ladder is functions that each call the one before twice: 2^n calls.
func ladder(n int) string {
	s := "def f0(x):\n    return x\n"
	for i := 1; i <= n; i++ {
		s += fmt.Sprintf("def f%d(x):\n    return f%d(f%d(x))\n", i, i-1, i-1)
	}
	return s + fmt.Sprintf("y = f%d(1)\n", n)
}

func TestColumnsAreBytes(t *testing.T) {
	err := open("def light(at, now):\n    return color(\"red\", help = \"für\") * att.v\n", Options{})
	f := findings(err)[0]
	require.Equal(t, "chunk.star:2:42", f.Where, "the u umlaut is two bytes")
	require.Equal(t, "there is no att", f.Message)
	require.Equal(t, "write at", f.Fix)
	require.Equal(t, 3, f.Pos.End-f.Pos.Start)
}

const controlled = `
"""Shows. Turn ` + "`every`" + `."""
every = number(5, min = 0.5, max = 30, unit = "s", help = "time")
many = number(3, min = 1, max = 9)
tint = color("#fc8", help = "tint")
side = choice("left", ["left", "right"])
glow = toggle(True)
def light(at, now):
    if glow and side == "right" and many > 4 and every == 0.25 * 8:
        return tint
    return color("black")
`

func TestControls(t *testing.T) {
	p, err := Load("c.star", []byte(controlled))
	require.NoError(t, err)
	require.Equal(t, "Shows. Turn `every`.", p.Doc())
	var names []string
	for _, c := range p.Controls() {
		names = append(names, c.Name+" "+c.Kind+" "+c.Default)
	}
	require.Equal(t, []string{"every number 5 s", "many number 3", "tint color #fc8", "side choice left", "glow toggle true"}, names)
	require.Equal(t, 3, p.Controls()[0].Pos.Line)
	trace := func(with map[string]show.Control) (*Graph, error) {
		return p.Trace(Options{Layout: portal(), Frames: 4, FPS: 2, With: with})
	}
	g, err := trace(map[string]show.Control{
		"every": {Text: "2000 ms", Kind: 's'}, "many": {Text: "5", Kind: 'n'}, "side": {Text: "right", Kind: 's'}, "tint": {Text: "white", Kind: 's'},
	})
	require.NoError(t, err)
	require.Equal(t, "const", g.Nodes()[g.Out()[0]].Op)
	require.Equal(t, 1.0, g.Nodes()[g.Out()[0]].Value, "the branch on controls was taken")
	at := show.Pos{File: "show.toml", Line: 7, Col: 3}
	for want, c := range map[string]struct {
		name string
		show.Control
	}{
		"the largest is 30 s":       {"every", show.Control{Text: "31 s", Kind: 's'}},
		`write "6 s"`:               {"every", show.Control{Text: "6", Kind: 'n'}},
		`"6 mm" is not in s`:        {"every", show.Control{Text: "6 mm", Kind: 's'}},
		"the smallest is 1":         {"many", show.Control{Text: "0", Kind: 'n'}},
		"plain number":              {"many", show.Control{Text: "3", Kind: 's'}},
		"CSS colors":                {"tint", show.Control{Text: "reddish", Kind: 's'}},
		`write "right"`:             {"side", show.Control{Text: "rigth", Kind: 's'}},
		"write true or false":       {"glow", show.Control{Text: "yes", Kind: 's'}},
		"write every; its controls": {"evry", show.Control{Text: "2 s", Kind: 's'}},
		"not a finite number":       {"many", show.Control{Text: "nan", Kind: 'n'}},
	} {
		c.Pos = at
		_, err := trace(map[string]show.Control{c.name: c.Control})
		require.ErrorContains(t, err, want)
		require.Equal(t, "show.toml:7:3", findings(err)[0].Where)
	}
}

func FuzzLoadTrace(f *testing.F) {
	text, err := os.ReadFile("testdata/errors.star")
	if err != nil {
		f.Fatal(err)
	}
	for _, chunk := range strings.Split(string(text), "---\n") {
		f.Add(chunk)
	}
	for _, s := range []string{simpleSource, mediumSource, heavySource, controlled} {
		f.Add(s)
	}
	l := portal()
	f.Fuzz(func(t *testing.T, src string) {
		p, err := Load("fuzz.star", []byte(src))
		if err == nil {
			var g *Graph
			if g, err = p.Trace(Options{Layout: l, Frames: 3, FPS: 2, Loop: true}); err == nil {
				if g.Cost().Weight > 1e5 {
					return
				}
				prog, err := g.Compile()
				require.NoError(t, err)
				r, w := prog.Start(), newTwin(g)
				got := make([]lightOf, len(l.Pixels))
				require.NoError(t, r.Next(got))
				if prog.trails == 0 {
					bits(t, w.frame(0), got, src)
				}
				return
			}
		}
		if len(findings(err)) == 0 {
			t.Fatalf("an error without a place: %T %v", err, err)
		}
	})
}
