package power

import (
	"testing"

	"paneglow/anim/show"
	"paneglow/render/drive"
)

// power_sum_ratio and its like: counting a frame of 300 pixels over a bare sum
// of its bytes, in the same run.
func BenchmarkCurrent(b *testing.B) {
	const n = 300
	codes := make([]uint8, 3*n)
	for i := range codes {
		codes[i] = uint8(i * 7)
	}
	var sink int64
	bare := 0.0
	b.Run("bare", func(b *testing.B) {
		for b.Loop() {
			sink += bareSum(codes)
		}
		bare = float64(b.Elapsed().Nanoseconds()) / float64(b.N)
	})
	for _, law := range []show.Law{show.Sum, show.Largest, show.Ceiling} {
		p := rgb(law, 12_000)
		p.Ceiling = 20_000
		m := meter(b, p, n)
		b.Run(law.String(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				sink += m.Current(codes)
			}
			ns := float64(b.Elapsed().Nanoseconds()) / float64(b.N)
			b.ReportMetric(ns, "power_"+law.String()+"_ns")
			if bare > 0 { // not alone
				b.ReportMetric(ns/bare, "power_"+law.String()+"_ratio")
			}
		})
	}
	_ = sink
}

//go:noinline
func bareSum(codes []uint8) (s int64) {
	for _, c := range codes {
		s += int64(c)
	}
	return s
}

func BenchmarkGain(b *testing.B) {
	m := meter(b, rgb(show.Sum, 12_000), 300)
	drives := make([]float32, m.Channels())
	for i := range drives {
		drives[i] = float32(i%97) / 97
	}
	scratch := make([]uint8, len(drives))
	for b.Loop() {
		m.Gain(drives, 1_000_000, scratch, drive.FullGain)
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N), "power_gain_us")
}
