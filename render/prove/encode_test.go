package prove

import (
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/render/table"
)

// table_encode_s: seconds from the demo's rendered codes to its written table,
// packed as small as can be on all processors, with every frame unpacked and
// compared; the slowest run. Rendering is not in it. table_encode_bytes is the
// table of the same run.
func BenchmarkEncode(b *testing.B) {
	p := Open(demo, "")
	p.Finish(Workers(), nil)
	require.NoError(b, p.Found.Err())
	worst := time.Duration(0)
	for b.Loop() {
		p.Table, p.Bytes = nil, nil
		runtime.GC()
		start := time.Now()
		p.Pack(table.Best, Workers())
		worst = max(worst, time.Since(start))
		require.NoError(b, p.Found.Err())
		require.NotEmpty(b, p.Bytes)
	}
	b.ReportMetric(worst.Seconds(), "table_encode_s")
	b.ReportMetric(float64(len(p.Bytes)), "table_encode_bytes")
}
