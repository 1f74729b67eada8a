package sim

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/render/power"
	"paneglow/render/prove"
	"paneglow/render/table"
)

// The table says for every frame how many cycles a controller takes at most to
// unpack it. No frame of the demo takes more, and all together take more than
// nine tenths of it. Opening a clip, reading its head and its palette, comes
// before its first frame and is not in it: a refresh that enters a clip may be late
// by that.
func TestFramesKeepTheirBound(t *testing.T) {
	p := umbrella()
	require.NotNil(t, p.Table, p.Found)
	all, bound := keepTheirBound(t, p.Table, "")
	require.Greater(t, float64(all), 0.9*float64(bound))
}

// Nor does a clip that is kept as key frames or as a field take more, built to be
// small or for speed.
func TestKeyFramesKeepTheirBound(t *testing.T) {
	folder := filepath.Join(Folder(), "..", "examples", "umbrella")
	file := filepath.Join(folder, "show.toml")
	src, err := os.ReadFile(file)
	require.NoError(t, err)
	for _, clip := range []string{"wake", "thanks", "rest"} {
		src = bytes.Replace(src, []byte("name = \""+clip+"\"\nlength"), []byte("name = \""+clip+"\"\nkeep = \"smooth\"\nlength"), 1)
	}
	p := prove.OpenWith(folder, "", map[string][]byte{file: src})
	p.Finish(prove.Workers(), nil)
	p.Pack(table.Quick, prove.Workers())
	require.NoError(t, p.Found.Err())
	kinds := map[table.Kind]int{}
	for i := range p.Table.Clips {
		kinds[p.Table.Clips[i].Kind]++
	}
	t.Logf("clips by kind: %v", kinds)
	require.Positive(t, kinds[table.Keys])
	require.Positive(t, kinds[table.Field])
	for _, optimise := range []string{"", "-O2"} {
		all, bound := keepTheirBound(t, p.Table, optimise)
		require.Greater(t, float64(all), 0.9*float64(bound))
	}
}

// keepTheirBound gives the cycles of all frames but the clips' first, and their
// bounds.
func keepTheirBound(t *testing.T, tab *table.Table, optimise string) (all, bound Cycles) {
	ready(t)
	const most = 50
	dir := t.TempDir()
	var h bytes.Buffer
	config := table.DefaultConfig(tab.Work())
	for i := range tab.Clips {
		if tab.Clips[i].Kind.Between() {
			config.Keys++
		}
	}
	require.NoError(t, table.WriteConfig(&h, &tab.Show, config))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o644))
	path := filepath.Join(dir, "panel.table")
	require.NoError(t, os.WriteFile(path, tab.ForController(), 0o644))
	var clips []string
	for i := range tab.Clips {
		c := &tab.Clips[i]
		clips = append(clips, fmt.Sprintf("{%d, %dUL, %dUL, %dUL}", c.Kind, 0x10000+c.Offset, c.Length, c.Frames))
	}
	s := &Script{}
	s.Until(5 * time.Minute)
	s.Peek("sum")
	r := run(t, Firmware{
		Optimise: optimise,
		Sources:  []string{"sim/testdata/unpack.c", "player/decode.c", "player/keys.c", "player/blend.c", "player/port/avr/pg_stretch.S", "player/port/avr/pg_blend.S", "player/example/table.S"},
		Include:  []string{dir, "player/port/avr", "player"},
		Define:   []string{"TABLE=\"" + path + "\"", "CLIPS=" + strings.Join(clips, ","), fmt.Sprintf("MOST=%d", most)},
		Flags:    []string{"-Wl,--section-start=.panel_table=0x10000", "-Wl,--undefined=panel_table"},
	}, s)
	clip, frame, stated := 0, 0, 0
	var before, costliest, opening Cycles
	taken, kinds := map[table.Kind]Cycles{}, map[table.Kind]Cycles{}
	for _, m := range r.Marks[:len(r.Marks)-1] {
		if m.Value == 4 { // the codes of a frame were added up
			before = m.Busy
			continue
		}
		require.NotEqual(t, byte(3), m.Value, "clip %d, frame %d: the decoder found the bytes bad", clip, frame)
		cost := m.Busy - before
		before = m.Busy
		bounds := tab.Cycles(clip)
		require.NotNil(t, bounds, "clip %d", clip)
		if frame == 0 {
			opening = max(opening, cost-min(cost, Cycles(bounds[0])))
		} else {
			costliest = max(costliest, cost)
			require.LessOrEqual(t, cost, Cycles(bounds[frame]), "clip %d, frame %d", clip, frame)
			stated++
			all, bound = all+cost, bound+Cycles(bounds[frame])
			k := tab.Clips[clip].Kind
			taken[k] += cost
			kinds[k] += Cycles(bounds[frame])
		}
		frame++
		if m.Value == 2 {
			clip, frame = clip+1, 0
		}
	}
	require.LessOrEqual(t, opening, Cycles(table.OpeningCycles))
	require.Equal(t, len(tab.Clips), clip)
	require.Equal(t, sumOf(t, tab, most), uint32(r.Uint("sum")), "the codes are those that Go unpacks")
	require.Positive(t, stated, "no frame states a bound")
	t.Logf("%d frames with a bound: %d cycles of %d stated (%.0f %%); costliest frame %d, costliest opening %d; longest step %d, longest start %d cycles", stated, all, bound,
		100*float64(all)/float64(bound), costliest, opening, r.Section(1).Most, r.Section(2).Most)
	for k := range kinds {
		t.Logf("kind %v: %d cycles of %d stated (%.0f %%)", k, taken[k], kinds[k], 100*float64(taken[k])/float64(kinds[k]))
	}
	return all, bound
}

// sumOf is what the firmware makes of the first frames of every clip.
func sumOf(t *testing.T, tab *table.Table, most int) (sum uint32) {
	codes := make([]uint8, tab.Channels())
	for i := range tab.Clips {
		d := tab.Clip(i).Start()
		for range min(tab.Clips[i].Frames, most) {
			require.NoError(t, d.Next(codes))
			for _, c := range codes {
				sum = sum*31 + uint32(c)
			}
		}
	}
	return sum
}

// Opening a clip keeps its bound: with a map of 184 colours on a winding way, which
// a field takes; 256 colours with nothing in common would take twice as long, and no
// clip is kept so.
func TestOpeningKeepsItsBound(t *testing.T) {
	s := &table.Show{Title: "opening", FPS: 40, Then: table.None, Lines: []string{"a"}, Steady: 1e9, Surge: 1e9, Least: 1e9, Raise: 1e6,
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
			Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}},
		Strips: []table.Strip{{Name: "a", Pixels: 60}}}
	const frames = 20
	r := rand.New(rand.NewPCG(1, 2))
	way := func(i, die int) int { return (i*(die+1)/2*(1-i/96%2*2) + 1000 + r.IntN(2+die)) % 256 }
	cloud := func(_, _ int) int { return r.IntN(256) }
	for _, x := range []struct {
		colours int
		sample  func(i, die int) int
		want    table.Kind
	}{{184, way, table.Field}, {256, cloud, table.Keys}} {
		colours := make([][3]uint16, x.colours)
		for i := range colours {
			// Samples of the scale of lightness under a top of all the light there is.
			for d := range 3 {
				colours[i][d] = uint16(uint32(table.KeyCurve()[x.sample(i, d)]) * table.FineFull >> 16)
			}
		}
		colours[0] = [3]uint16{table.FineFull - 1, table.FineFull - 1, table.FineFull - 1}
		c := table.Clip{Name: "c", Frames: frames, Channels: 180, Loop: true}
		for i := range frames * 60 {
			for _, v := range colours[i%x.colours] {
				c.Smooth, c.Bytes = smoothOf(c.Smooth, v), append(c.Bytes, uint8((uint32(v)+128)>>8))
			}
		}
		var out bytes.Buffer
		rep, err := table.Write(&out, s, []table.Clip{c}, table.Options{})
		require.NoError(t, err)
		require.Equal(t, x.want, rep.Clips[0].Kind, rep.Clips[0].Why)
		tab, err := table.Read(out.Bytes(), table.Limits{})
		require.NoError(t, err)
		keepTheirBound(t, tab, "")
	}
}

// smoothOf adds a duty. Nothing but the duties themselves will do.
func smoothOf(s *table.Smooth, duty uint16) *table.Smooth {
	if s == nil {
		s = &table.Smooth{Differ: func(dst []float64, a, b []float32) []float64 {
			for i := range a {
				if d := a[i] - b[i]; d > 0.001 || d < -0.001 {
					return append(dst, 9)
				}
			}
			return append(dst, 0)
		}}
	}
	s.Fine = append(s.Fine, duty)
	return s
}

// A clip that travels is turned in every later period, within its bound.
func TestTravellingKeepsItsBound(t *testing.T) {
	s := &table.Show{Title: "travelling", FPS: 40, Then: table.None, Lines: []string{"a"}, Steady: 1e9, Surge: 1e9, Least: 1e9, Raise: 1e6,
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
			Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}},
		Strips: []table.Strip{{Name: "a", Pixels: 120}, {Name: "b", Pixels: 60}}}
	var clips []table.Clip
	r := rand.New(rand.NewPCG(3, 4))
	for _, colours := range []int{40, 2000} { // with a palette, and without
		bar := make([]uint8, 3*180)
		for i := range bar {
			bar[i] = uint8(i / 3 * 7 % colours % 200)
			if colours > 256 {
				bar[i] += uint8(r.IntN(50))
			}
		}
		c := table.Clip{Name: fmt.Sprint(colours), Frames: 48, Channels: 540, Loop: true}
		for f := range c.Frames {
			by := f / 4 * 5
			for p := range 180 {
				q := (p + 120 - by%120) % 120
				if p >= 120 {
					q = 120 + (p-120+60-by%60)%60
				}
				for _, v := range bar[3*q : 3*q+3] {
					c.Bytes = append(c.Bytes, v+uint8(f%4))
				}
			}
		}
		clips = append(clips, c)
	}
	var out bytes.Buffer
	rep, err := table.Write(&out, s, clips, table.Options{})
	require.NoError(t, err)
	for _, c := range rep.Clips {
		require.Contains(t, c.Why, "repeats after 4 frames at another place")
	}
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	all, bound := keepTheirBound(t, tab, "-O2")
	require.Greater(t, float64(all), 0.8*float64(bound))
}
