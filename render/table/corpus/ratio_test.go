package corpus

import (
	"bytes"
	"fmt"
	"image"
	stdcolor "image/color"
	"image/png"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/color"
	"paneglow/render/power"
	"paneglow/render/table"
)

// yardsticks are general-purpose compressors as they are installed: gzip 9 less
// its 18 bytes around the DEFLATE stream, zstd 19 with a long window, brotli 11,
// xz 9e.
var yardsticks = []struct {
	name string
	args []string
	less int
}{
	{"deflate", []string{"gzip", "-9", "-n", "-c"}, 18},
	{"zstd", []string{"zstd", "-19", "--long=27", "-q", "-c"}, 0},
	{"brotli", []string{"brotli", "-q", "11", "-w", "24", "-c"}, 0},
	{"xz", []string{"xz", "-9e", "-c"}, 0},
}

func compress(b testing.TB, k int, data []byte) int {
	y := yardsticks[k]
	cmd := exec.Command(y.args[0], y.args[1:]...)
	cmd.Stdin = bytes.NewReader(data)
	out, err := cmd.Output()
	require.NoError(b, err, "%v: the yardsticks are programs of Debian's packages gzip, zstd, brotli, xz-utils and optipng", y.args)
	return len(out) - y.less
}

// differences of every code to the frame before, modulo 256.
func differences(codes []uint8, size int) []byte {
	out := append([]byte(nil), codes[:size]...)
	for i := size; i < len(codes); i++ {
		out = append(out, codes[i]-codes[i-size])
	}
	return out
}

// picture is the size of a lossless PNG of time by pixel, made small by optipng.
func picture(b testing.TB, codes []uint8, pixels int) int {
	frames := len(codes) / pixels / 3
	img := image.NewNRGBA(image.Rect(0, 0, pixels, frames))
	for i := 0; i < len(codes); i += 3 {
		img.SetNRGBA(i/3%pixels, i/3/pixels, stdcolor.NRGBA{codes[i], codes[i+1], codes[i+2], 255})
	}
	file := filepath.Join(b.TempDir(), "clip.png")
	f, err := os.Create(file)
	require.NoError(b, err)
	require.NoError(b, (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(f, img))
	require.NoError(b, f.Close())
	out, err := exec.Command("optipng", "-q", "-o2", file).CombinedOutput()
	require.NoError(b, err, "optipng: %s", out)
	s, err := os.Stat(file)
	require.NoError(b, err)
	return int(s.Size())
}

// showOf is a show of nothing but a layout's strips.
func showOf(l *Layout, fps int) *table.Show {
	s := &table.Show{Title: "corpus", FPS: fps, Then: table.None, Lines: []string{"a"}, Steady: 1e9, Surge: 1e9, Least: 1e9, Raise: 1e6,
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
			Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}}}
	for i, n := range l.Strips {
		s.Strips = append(s.Strips, table.Strip{Name: fmt.Sprint(i), Pixels: n})
	}
	return s
}

// clipRecord is a clip's record in the header (docs/table-format.md, section 2).
const clipRecord = 24

// ours is what a clip takes in a table: payload, checksum and record.
func ours(b testing.TB, c *Clip, fps int, codes []uint8) (int, table.ClipReport) {
	rep, err := table.Write(io.Discard, showOf(c.Layout, fps),
		[]table.Clip{{Name: c.Name, Frames: c.Frames(fps), Channels: c.Layout.Pixels() * 3, Bytes: codes, Loop: true}},
		table.Options{Pack: table.Best})
	require.NoError(b, err)
	return rep.Clips[0].Bytes + clipRecord, rep.Clips[0]
}

// ways are the yardsticks on codes and on differences, and the picture.
var ways = func() (names []string) {
	for _, y := range yardsticks {
		names = append(names, y.name, y.name+" of differences")
	}
	return append(names, "png")
}()

// tell prints a line of the table behind the figures; a benchmark's own log is
// cut after ten.
func tell(format string, args ...any) { fmt.Fprintf(os.Stderr, "    "+format+"\n", args...) }

// figures of one set.
type figures struct{ deflate, bestShow, bestClip, worstClass float64 }

// measure packs every clip of a set in every way.
func measure(b testing.TB, clips []Clip, fps int) figures {
	type row struct {
		ours int
		way  []int
		rep  table.ClipReport
	}
	rows := make([]row, len(clips))
	show := make([][]byte, 2)
	for i := range clips {
		c := &clips[i]
		codes := c.Codes(fps)
		size := c.Layout.Pixels() * 3
		diff := differences(codes, size)
		show[0], show[1] = append(show[0], codes...), append(show[1], diff...)
		r := &rows[i]
		r.ours, r.rep = ours(b, c, fps, codes)
		r.way = make([]int, len(ways))
		var wg sync.WaitGroup
		for k := range yardsticks {
			wg.Go(func() { r.way[2*k], r.way[2*k+1] = compress(b, k, codes), compress(b, k, diff) })
		}
		wg.Wait()
		r.way[len(ways)-1] = picture(b, codes, c.Layout.Pixels())
	}
	total, perClip, pictures := 0, 0, 0
	class := map[string][]int{} // ours, then every way
	for i, r := range rows {
		best := 0
		for k := range r.way {
			if r.way[k] < r.way[best] {
				best = k
			}
		}
		tell("%-13s %8d -> %7d   best yardstick %7d (%s)   %.2f   %s", clips[i].Name, r.rep.Raw, r.ours, r.way[best], ways[best], float64(r.way[best])/float64(r.ours), r.rep.Why)
		total += r.ours
		perClip += r.way[best]
		pictures += r.way[len(ways)-1]
		sum := class[clips[i].Kind]
		if sum == nil {
			sum = make([]int, 1+len(ways))
		}
		sum[0] += r.ours
		for k := range r.way {
			sum[k+1] += r.way[k]
		}
		class[clips[i].Kind] = sum
	}
	f := figures{worstClass: 1e9}
	bestShow := pictures
	for k := range yardsticks {
		for d := range 2 {
			n := compress(b, k, show[d])
			tell("whole show, %-24s %8d", ways[2*k+d], n)
			bestShow = min(bestShow, n)
			if k == 0 && d == 0 {
				f.deflate = float64(n) / float64(total)
			}
		}
	}
	f.bestShow, f.bestClip = float64(bestShow)/float64(total), float64(perClip)/float64(total)
	for _, kind := range Kinds() {
		sum := class[kind]
		best := sum[1]
		for _, n := range sum[1:] {
			best = min(best, n)
		}
		tell("class %-10s ours %7d, its best yardstick %7d: %.2f", kind, sum[0], best, float64(best)/float64(sum[0]))
		f.worstClass = min(f.worstClass, float64(best)/float64(sum[0]))
	}
	tell("ours %d, best whole show %d, png %d, best per clip %d", total, bestShow, pictures, perClip)
	return f
}

// Ratios of bytes on the same codes in one run, 30 frames a second, exact.
func BenchmarkRatio(b *testing.B) {
	for b.Loop() {
		f := measure(b, First(), 30)
		b.ReportMetric(f.deflate, "table_ratio_deflate")
		b.ReportMetric(f.bestShow, "table_ratio_best_show")
		b.ReportMetric(f.bestClip, "table_ratio_best_clip")
		b.ReportMetric(f.worstClass, "table_worst_class")
	}
}

// The second set, which nothing was tuned on.
func BenchmarkRatioSecond(b *testing.B) {
	for b.Loop() {
		f := measure(b, Second(), 30)
		b.ReportMetric(f.deflate, "table_ratio_deflate_second")
		b.ReportMetric(f.bestShow, "table_ratio_best_show_second")
		b.ReportMetric(f.bestClip, "table_ratio_best_clip_second")
		b.ReportMetric(f.worstClass, "table_worst_class_second")
	}
}

// fine are a clip's duties in 256ths of a code.
func (c *Clip) fine(fps int) []uint16 {
	d := c.Duties(fps)
	out := make([]uint16, len(d))
	for i, x := range d {
		out[i] = uint16(x*table.FineFull + 0.5)
	}
	return out
}

// differ is CIEDE2000 of light relative to the corpus's own white.
func differ(dst []float64, a, b []float32) []float64 {
	lab := func(d []float32) [3]float64 {
		var l color.Light
		for ch := range 3 {
			l[ch] = d[ch] / float32(white[ch]*top)
		}
		return color.FromLight(l).LabD65()
	}
	for i := 0; i+3 <= len(a); i += 3 {
		dst = append(dst, color.DeltaE2000(lab(a[i:i+3]), lab(b[i:i+3])))
	}
	return dst
}

// BenchmarkSmooth compares tables of the same clips at 60 frames a second: codes
// with the rounding error carried, every frame equal, and key frames.
func BenchmarkSmooth(b *testing.B) {
	for b.Loop() {
		exact, smooth, mean, clips := 0, 0, 0.0, First()
		for i := range clips {
			c := &clips[i]
			n, _ := ours(b, c, 60, c.Dithered(60))
			exact += n
			rep, err := table.Write(io.Discard, showOf(c.Layout, 60), []table.Clip{{Name: c.Name, Frames: c.Frames(60), Channels: c.Layout.Pixels() * 3, Bytes: c.Codes(60), Loop: true,
				Smooth: &table.Smooth{Fine: c.fine(60), Differ: differ}}}, table.Options{Pack: table.Best})
			require.NoError(b, err)
			r := rep.Clips[0]
			smooth += r.Bytes + clipRecord
			mean += r.Mean
			tell("%-13s dithered %7d, smooth %7d  dE %.2f, 95 %% %.2f  %s", c.Name, n, r.Bytes+clipRecord, r.Mean, r.High, r.Why)
		}
		b.ReportMetric(float64(exact)/float64(smooth), "table_smooth_ratio")
		b.ReportMetric(mean/float64(len(clips)), "table_smooth_de2000")
	}
}
