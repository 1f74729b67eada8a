package main

import (
	"bytes"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/anim"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/examples"
	"paneglow/patterns"
	"paneglow/render"
	"paneglow/render/power"
	"paneglow/render/prove"
	"paneglow/render/table"
)

// demo_seconds: every clip of the demo rendered, capped, packed and read back,
// from its files; pictures aside.
func BenchmarkDemo(b *testing.B) {
	dir := b.TempDir()
	require.NoError(b, copyShow(examples.Umbrella(), dir))
	for b.Loop() {
		p := open(dir, "")
		p.Finish(prove.Workers(), nil)
		p.Pack(table.Quick, prove.Workers())
		require.NoError(b, p.Found.Err())
		require.NotNil(b, p.Table)
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N), "demo_seconds")
}

// wide is a machine of 300 pixels and a clip of a pattern with about 15
// operations and noise, of a number of frames at 60 fps.
func wide(tb testing.TB, frames int, amps string) (*render.Hardware, *anim.Clip, *show.Show, []power.Budget) {
	tb.Helper()
	m, found := show.ParseMachine("machine.toml", []byte(`
[panel]
size = ["5200 mm", "100 mm"]
depth = "48 mm"
glass = { scatter = "30 deg", lambertian = 0.1, transmittance = [0.9, 0.9, 0.9] }
room = { day = "500 lx", night = "20 lx", viewer = "1.5 m" }
[[part]]
name = "p"
order = "GRB"
pitch = "60 /m"
leds_per_pixel = 1
law = "sum"
current = { idle = "1 mA", red = "12 mA", green = "12 mA", blue = "12 mA", spread = "8 %" }
volts = { nominal = "12 V", least = "10.5 V" }
light = { red = ["622 nm", "400 mcd"], green = ["523 nm", "690 mcd"], blue = ["466 nm", "190 mcd"] }
rails = "0.16 ohm/m"
data = { bit = "1.25 us", latch = "280 us", gap = "5 us", pwm = "2 kHz" }
[[line]]
name = "a"
driver = "5 V"
strips = ["row"]
[[strip]]
name = "row"
part = "p"
path = [["50 mm", "50 mm"], ["5033 mm", "50 mm"]]
pixels = 300
[supply]
volts = "12 V"
amps = "`+amps+`"
[[feed]]
at = ["row", 0]
wire = "2.5 mm2"
length = "900 mm"
fuse = "10 A"
[controller]
clock = "16 MHz"
flash = "248 KiB"
ram = "8 KiB"
machine_flash = "64 KiB"
machine_ram = "1500 B"
machine_share = "40 %"
baud = 500000
`))
	require.NoError(tb, found.Err())
	hw, err := render.NewHardware(m)
	require.NoError(tb, err)
	script := `"""Clouds for a benchmark: about 15 operations and noise."""
def light(at, now):
    t = now.cycle(20)
    n = noise(at.u * 9 + 3 * sin(6.2831853 * t), t * 4) * 0.5 + 0.5
    edge = smoothstep(0.3, 0.8, n + 0.2 * sin(at.u * 12 + 6.2831853 * t))
    sky = mix(color("oklch(35% 0.08 260)"), color("oklch(85% 0.09 80)"), edge)
    return sky * (0.4 + 0.6 * smoothstep(0, 0.2, fract(at.u * 3 - t * 2)))
`
	s := &show.Show{File: "show.toml", FPS: 60, Clips: []show.Clip{{
		Name: "long", Length: 0, Layers: []show.Layer{{Pattern: "clouds.star", Opacity: 1}},
	}}, States: []show.State{{Name: "on", Clip: "long"}}}
	s.Clips[0].Length = timeOf(frames)
	clips, found := anim.Build(s, hw.Layout, anim.Options{Pattern: patterns.Source, ReadFile: func(string) ([]byte, error) { return []byte(script), nil }})
	require.NoError(tb, found.Err())
	require.Equal(tb, frames, clips[0].Frames())
	return hw, clips[0], s, power.ClipBudgets(s, m)
}

// whole runs a clip through everything between a source and a table that was
// read back, on one core.
func whole(tb testing.TB, hw *render.Hardware, clip *anim.Clip, s *show.Show, budgets []power.Budget) (*render.Codes, int) {
	tb.Helper()
	codes, err := render.FinishShow([]*anim.Clip{clip}, hw, budgets, show.CapShow, 1, nil)
	require.NoError(tb, err)
	t, err := table.NewShow(s, hw.Machine, hw.Layout)
	require.NoError(tb, err)
	c := codes[0]
	var b bytes.Buffer
	report, err := table.Write(&b, t, []table.Clip{{Name: clip.Name, Frames: c.Frames, Channels: c.Channels, Bytes: c.Bytes, Current: c.Current, Loop: true}}, table.Options{Workers: 1})
	require.NoError(tb, err)
	require.NotNil(tb, report.Table)
	return c, b.Len()
}

// export_fps: frames a second from script to table, written, decoded, compared
// and read back, 300 pixels, one core. export_fps_capped: the same where the
// budget bites in every frame.
func BenchmarkExport(b *testing.B) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	for _, c := range []struct{ key, amps string }{{"export_fps", "20 A"}, {"export_fps_capped", "2.5 A"}} {
		b.Run(c.key, func(b *testing.B) {
			const frames = 1200
			hw, clip, s, budgets := wide(b, frames, c.amps)
			codes, _ := whole(b, hw, clip, s, budgets)
			require.Equal(b, c.key == "export_fps_capped", codes.Bites() > 0)
			for b.Loop() {
				whole(b, hw, clip, s, budgets)
			}
			b.ReportMetric(float64(frames*b.N)/b.Elapsed().Seconds(), c.key)
		})
	}
}

// mem_mb_10min: the largest heap while ten minutes at 60 fps, 300 pixels, are
// rendered, packed and read back.
func BenchmarkTenMinutes(b *testing.B) {
	most := uint64(0)
	for b.Loop() {
		hw, clip, s, budgets := wide(b, 36_000, "2.5 A")
		stop := make(chan struct{})
		done := make(chan struct{})
		go func() {
			defer close(done)
			var m runtime.MemStats
			for {
				runtime.ReadMemStats(&m)
				most = max(most, m.HeapInuse+m.StackInuse)
				select {
				case <-stop:
					return
				case <-time.After(5 * time.Millisecond):
				}
			}
		}()
		whole(b, hw, clip, s, budgets)
		close(stop)
		<-done
	}
	b.ReportMetric(float64(most)/1e6, "mem_mb_10min")
}

func timeOf(frames int) unit.Time { return unit.Time((int64(frames)*1_000_000_000 + 59) / 60) }
