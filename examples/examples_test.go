package examples

import (
	"io/fs"
	"testing"

	"paneglow/anim/layout"
	"paneglow/anim/show"

	"github.com/stretchr/testify/require"
)

func load(t *testing.T, from fs.FS) (*show.Show, *show.Machine, *layout.Layout) {
	t.Helper()
	src, err := fs.ReadFile(from, "machine.toml")
	require.NoError(t, err)
	m, list := show.ParseMachine("machine.toml", src)
	require.Empty(t, list, list.Error())
	src, err = fs.ReadFile(from, "show.toml")
	require.NoError(t, err)
	s, list := show.ParseShow("show.toml", src)
	require.Empty(t, list, list.Error())
	list = show.CheckShow(s, m)
	require.NoError(t, list.Err())
	for _, f := range list {
		t.Log(f)
		require.NotEqual(t, "warning", f.Severity.String())
	}
	l, err := layout.New(m)
	require.NoError(t, err)
	return s, m, l
}

func TestUmbrella(t *testing.T) {
	_, _, l := load(t, Umbrella())
	require.Len(t, l.Pixels, 180)
}

func TestStarter(t *testing.T) {
	_, _, l := load(t, Starter())
	require.Len(t, l.Pixels, 28)
}
