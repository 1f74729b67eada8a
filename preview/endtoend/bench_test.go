package endtoend

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// spent is what a program took from its start to its end.
type spent struct {
	cpu   time.Duration // user and system, of the program alone: the X server is another
	most  float64       // of memory, in MiB
	first time.Duration // to the first picture of the panel
	out   string
}

// spend runs a program on a display.
func spend(b *testing.B, on *display, name string, args ...string) spent {
	b.Helper()
	cmd := exec.Command(name, args...)
	cmd.Env = on.env()
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	begun := time.Now()
	require.NoError(b, cmd.Run(), errs.String())
	use, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage)
	require.True(b, ok)
	s := spent{cpu: cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime(), most: float64(use.Maxrss) / 1024, out: out.String()}
	var told struct {
		Panel time.Time `json:"first_panel"`
	}
	if out.Len() > 0 {
		require.NoError(b, json.Unmarshal(out.Bytes(), &told), out.String())
		s.first = told.Panel.Sub(begun)
	}
	return s
}

// window_ratio_empty: processor time of a frame of the window, with the demo
// playing at 1280 by 800, over that of a frame of an empty window that ebiten
// clears, in one run, turn by turn. Both are the difference of a longer and a
// shorter run, so that starting up is in neither.
// window_mb: the most memory that the longer run held.
// window_first_ms: from the start of the program to the first picture of the panel,
// the median of the runs.
func BenchmarkWindow(b *testing.B) {
	d := newDisplay(b, "1280x800")
	window, empty := build(b, "paneglow/cmd/paneglow-preview"), build(b, "paneglow/preview/view/empty")
	dir := demo(b)
	const short, long = 60, 300
	var of, by, most float64
	var firsts []time.Duration
	for b.Loop() {
		for range 3 {
			for _, n := range []int{short, long} {
				sign := 1.0
				if n == short {
					sign = -1
				}
				e := spend(b, d, empty, "--frames", fmt.Sprint(n))
				w := spend(b, d, window, dir, "--frames", fmt.Sprint(n))
				by += sign * e.cpu.Seconds()
				of += sign * w.cpu.Seconds()
				require.Positive(b, w.first, w.out)
				firsts = append(firsts, w.first)
				most = max(most, w.most)
			}
		}
	}
	require.Positive(b, by)
	slices.Sort(firsts)
	b.ReportMetric(of/by, "window_ratio_empty")
	b.ReportMetric(1000*of/float64(3*b.N*(long-short)), "window_frame_cpu_ms")
	b.ReportMetric(float64(firsts[len(firsts)/2].Microseconds())/1000, "window_first_ms")
	b.ReportMetric(most, "window_mb")
}

// window_growth_mb: what the window's memory grew by from frame 1,000 to frame
// 10,000, drawn as fast as they come, in a small window.
func BenchmarkGrowth(b *testing.B) {
	d := newDisplay(b, "1280x800")
	dir := demo(b)
	for b.Loop() {
		w := open(b, d, dir, "--width", "640", "--height", "480", "--hurry")
		rss := func(frames int) float64 {
			for {
				w.alive()
				if s, ok := w.look(); ok && s.Frames >= frames {
					return resident(b, w.cmd.Process.Pid)
				}
				time.Sleep(20 * time.Millisecond)
			}
		}
		early := rss(1000)
		b.ReportMetric(rss(10000)-early, "window_growth_mb")
	}
}

// resident is a process's memory in MiB.
func resident(tb testing.TB, pid int) float64 {
	tb.Helper()
	f, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	require.NoError(tb, err)
	_, rest, ok := strings.Cut(string(f), "VmRSS:")
	require.True(tb, ok)
	var kib float64
	_, err = fmt.Sscan(rest, &kib)
	require.NoError(tb, err)
	return kib / 1024
}
