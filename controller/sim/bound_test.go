package sim

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

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
	all, bound := keepTheirBound(t, p.Table)
	require.Greater(t, float64(all), 0.9*float64(bound))
}

// Nor does a clip that is kept as key frames take more.
func TestKeyFramesKeepTheirBound(t *testing.T) {
	folder := filepath.Join(Folder(), "..", "examples", "umbrella")
	file := filepath.Join(folder, "show.toml")
	src, err := os.ReadFile(file)
	require.NoError(t, err)
	p := prove.OpenWith(folder, "", map[string][]byte{file: bytes.Replace(src, []byte("name = \"wake\"\nlength"), []byte("name = \"wake\"\nkeep = \"smooth\"\nlength"), 1)})
	p.Finish(prove.Workers(), nil)
	p.Pack(table.Quick, prove.Workers())
	require.NoError(t, p.Found.Err())
	keys := 0
	for i := range p.Table.Clips {
		if p.Table.Clips[i].Kind == table.Keys {
			keys++
		}
	}
	require.Greater(t, keys, 0)
	keepTheirBound(t, p.Table)
}

// keepTheirBound gives the cycles of all frames but the clips' first, and their
// bounds.
func keepTheirBound(t *testing.T, tab *table.Table) (all, bound Cycles) {
	ready(t)
	const most = 50
	dir := t.TempDir()
	var h bytes.Buffer
	config := table.DefaultConfig(tab.Work())
	for i := range tab.Clips {
		if tab.Clips[i].Kind == table.Keys {
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
		Sources: []string{"sim/testdata/unpack.c", "player/decode.c", "player/keys.c", "player/port/avr/pg_stretch.S", "player/example/table.S"},
		Include: []string{dir, "player/port/avr", "player"},
		Define:  []string{"TABLE=\"" + path + "\"", "CLIPS=" + strings.Join(clips, ","), fmt.Sprintf("MOST=%d", most)},
		Flags:   []string{"-Wl,--section-start=.panel_table=0x10000", "-Wl,--undefined=panel_table"},
	}, s)
	clip, frame, stated := 0, 0, 0
	var before, costliest, opening Cycles
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
