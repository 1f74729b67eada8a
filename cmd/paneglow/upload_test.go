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
	"paneglow/render/prove"
	"paneglow/render/table"
)

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
