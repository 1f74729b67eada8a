package model

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// wider gives the demo's machine more strips, until it has at least so many
// pixels.
func wider(tb testing.TB, dir string, pixels int) {
	tb.Helper()
	file := filepath.Join(dir, "machine.toml")
	src, err := os.ReadFile(file)
	require.NoError(tb, err)
	s := string(src)
	var names, more strings.Builder
	n := 0
	for have := 180; have < pixels; have += 77 {
		n++
		x := 80 + 15*float64(n)
		fmt.Fprintf(&names, `, "more%d"`, n)
		fmt.Fprintf(&more, "\n[[strip]]\nname = \"more%d\"\npart = \"bright12\"\npath = [[\"%.1f mm\", \"60 mm\"], [\"%.1f mm\", \"1326.7 mm\"]]\npixels = 77\n\n[[feed]]\nat = [\"more%d\", 0]\nwire = \"0.75 mm2\"\nlength = \"900 mm\"\nfuse = \"4 A\"\n", n, x, x, n)
	}
	s = strings.Replace(s, `strips = ["left", "top", "right"]`, `strips = ["left", "top", "right"`+names.String()+`]`, 1)
	s = strings.Replace(s, `amps = "8.3 A"`, `amps = "60 A"`, 1)
	require.NoError(tb, os.WriteFile(file, []byte(s+more.String()), 0o644))
}

func ms(d time.Duration) float64 { return float64(d.Nanoseconds()) / 1e6 }

// One update of the model at 60 frames a second; beside it the panel's light for
// the shader, which is worked out when the codes have changed.
func BenchmarkUpdate(b *testing.B) {
	for _, c := range []struct {
		key    string
		pixels int
	}{{"window_update_ms", 300}, {"window_update_ms_2000", 2000}} {
		b.Run(c.key, func(b *testing.B) {
			w := openWith(b, plainProver{}, func(dir string) { wider(b, dir, c.pixels) })
			require.GreaterOrEqual(b, len(w.stage.On.Layout.Pixels), c.pixels)
			w.tick(1)
			w.Light()
			w.o.StateFile = ""
			var updates, lights []time.Duration
			for b.Loop() {
				w.in.Seconds += 1.0 / 60
				start := time.Now()
				w.Update(w.in)
				half := time.Now()
				w.Light()
				updates, lights = append(updates, half.Sub(start)), append(lights, time.Since(half))
			}
			// The median: what an ordinary frame costs, whoever else is at work.
			slices.Sort(updates)
			slices.Sort(lights)
			b.ReportMetric(ms(updates[len(updates)/2]), c.key)
			b.ReportMetric(ms(lights[len(lights)/2]), strings.Replace(c.key, "update", "light", 1))
		})
	}
}

// A script saved by an editor to the picture it makes: the folder's watch, its
// quiet time, the whole proof, and the window's next tick.
func BenchmarkReload(b *testing.B) {
	proof := &Proof{}
	w := openWith(b, proof, func(string) {})
	changed, err := Watch(w.dir)
	require.NoError(b, err)
	w.o.Changed = changed
	file := filepath.Join(w.dir, "rise.star")
	src, err := os.ReadFile(file)
	require.NoError(b, err)
	best, n := time.Hour, 0
	for b.Loop() {
		n++
		before := w.stage
		start := time.Now()
		require.NoError(b, os.WriteFile(file, append(src, fmt.Sprintf("\n# %d\n", n)...), 0o644))
		for w.stage == before {
			time.Sleep(time.Second / 60)
			w.frame1()
			require.Less(b, time.Since(start), 20*time.Second)
		}
		best = min(best, time.Since(start))
	}
	b.ReportMetric(ms(best), "window_reload_ms")
}
