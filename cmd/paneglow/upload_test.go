package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/controller/boardtest"
	"paneglow/examples"
	"paneglow/render/power"
	"paneglow/render/prove"
	"paneglow/render/table"
)

// A table is held against the budgets that stand in it, of every supply, before the
// line is opened: exports keep them, other programs may not.
func TestTablesOverTheirBudget(t *testing.T) {
	for _, c := range []struct {
		first, second int64 // microamperes that the second state allows; a pixel draws 13 mA
		says          string
	}{
		{100_000, 100_000, ""},
		{20_000, 100_000, `clip "bright" draws 39 mA, state "turning" allows 20`},
		{100_000, 20_000, `clip "bright" draws 52 mA from supply "motors", state "turning" allows 20`},
	} {
		s := &table.Show{Title: "shelf", FPS: 50, Then: table.None, Lines: []string{"a"}, Steady: 4_000_000, Surge: 4_000_000, Raise: 4000,
			Further: []table.Supply{{Name: "motors", Steady: 4_000_000, Surge: 4_000_000, Raise: 4000}},
			Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
				Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}},
			Strips: []table.Strip{{Name: "s", Pixels: 3}, {Name: "t", Pixels: 4, Supply: 1}}}
		var clips []table.Clip
		for i, name := range []string{"dark", "bright"} {
			clips = append(clips, table.Clip{Name: name, Frames: 1, Channels: 21, Bytes: bytes.Repeat([]byte{0, 0, uint8(255 * i)}, 7)})
		}
		s.States = []table.State{{Name: "rest", Then: table.None, Budget: 100_000, Further: []int64{100_000}},
			{Name: "turning", Clip: 1, Then: table.None, Budget: c.first, Further: []int64{c.second}}}
		s.Least, s.Further[0].Least = min(c.first, 100_000), min(c.second, 100_000)
		var out bytes.Buffer
		_, err := table.Write(&out, s, clips, table.Options{Workers: 1})
		require.NoError(t, err)
		path := filepath.Join(t.TempDir(), "a.table")
		require.NoError(t, os.WriteFile(path, out.Bytes(), 0o666))
		var said, errs bytes.Buffer
		require.Equal(t, 1, run([]string{"upload", path, "--to", "exec:exit 3"}, &said, &errs))
		if c.says == "" {
			require.Contains(t, errs.String(), "the command ended with exit status 3", "it went on to the line")
			continue
		}
		require.Contains(t, errs.String(), c.says)
		require.NotContains(t, errs.String(), "exit status 3")
	}
}

// One color of the demo is changed: less than a tenth of its table goes over the
// line, the rest is copied on the board.
func TestOneColorIsASmallUpload(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	require.NoError(t, copyShow(examples.Umbrella(), dir))
	p := prove.Open(dir, "")
	require.NoError(t, p.Found.Err())
	panel, err := table.NewShow(p.Show, p.Machine, p.On.Layout)
	require.NoError(t, err)
	b := boardtest.New(t, panel, nil)
	defer boardtest.CleanUp()
	send := func() (r uploadReport) {
		var out, errs bytes.Buffer
		require.Zero(t, run([]string{"upload", dir, "--to", b.Target(), "--pack", "quick", "--all-stopped", "--json"}, &out, &errs), errs.String())
		require.NoError(t, json.Unmarshal(out.Bytes(), &r))
		return r
	}
	first := send()
	require.Equal(t, first.Bytes, first.Sent)
	path := filepath.Join(dir, "show.toml")
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	const was = `tint = "oklch(85% 0.09 70)"` // of the clip "wake"
	require.Contains(t, string(text), was)
	require.NoError(t, os.WriteFile(path, []byte(strings.Replace(string(text), was, `tint = "oklch(80% 0.09 90)"`, 1)), 0o644))
	second := send()
	t.Logf("%d bytes, %d sent, %d copied", second.Bytes, second.Sent, second.Copied)
	require.Less(t, second.Sent*10, second.Bytes)
	require.Equal(t, second.Bytes, second.Sent+second.Copied+second.Found)
}
