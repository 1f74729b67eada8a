package corpus

import (
	"fmt"
	"io"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/table"
)

// BenchmarkFrontier measures bytes against cycles: the first set at 30 frames a
// second, packed as small as can be under several limits of what a frame may cost to
// unpack, every frame equal and smooth, in one run. docs/table-format.md has the
// table.
func BenchmarkFrontier(b *testing.B) {
	for b.Loop() {
		for _, limit := range []struct {
			name   string
			cycles int
		}{{"120k", 120_000}, {"175k", 174_800}, {"220k", 220_000}, {"any", 1 << 30}} {
			clips := First()
			var mu sync.Mutex
			var wg sync.WaitGroup
			var exact, smooth int
			var mean float64
			costliest := [2]uint32{}
			free := make(chan struct{}, 2)
			for i := range clips {
				free <- struct{}{}
				wg.Go(func() {
					defer func() { <-free }()
					c := &clips[i]
					plain := table.Clip{Name: c.Name, Frames: c.Frames(30), Channels: c.Layout.Pixels() * 3, Bytes: c.Codes(30), Loop: true}
					kept := plain
					kept.Smooth = &table.Smooth{Fine: c.fine(30), Differ: differ}
					var reps [2]table.ClipReport
					for k, x := range []table.Clip{plain, kept} {
						rep, err := table.Write(io.Discard, showOf(c.Layout, 30), []table.Clip{x}, table.Options{Pack: table.Best, Cycles: limit.cycles})
						require.NoError(b, err)
						reps[k] = rep.Clips[0]
					}
					mu.Lock()
					defer mu.Unlock()
					exact += reps[0].Bytes + clipRecord
					smooth += reps[1].Bytes + clipRecord
					mean += reps[1].Mean
					for k := range costliest {
						costliest[k] = max(costliest[k], reps[k].Cycles)
					}
				})
			}
			wg.Wait()
			tell("%-5s exact %7d, costliest frame %7d; smooth %7d, costliest frame %7d, mean CIEDE2000 %.3f", limit.name, exact, costliest[0], smooth, costliest[1], mean/float64(len(clips)))
			b.ReportMetric(float64(exact), fmt.Sprintf("table_bytes_exact_%s", limit.name))
			b.ReportMetric(float64(smooth), fmt.Sprintf("table_bytes_smooth_%s", limit.name))
		}
	}
}
