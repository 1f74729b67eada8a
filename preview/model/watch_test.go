package model

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A file of a show is told however it is saved; an editor's own files are not,
// and many writes at once are told once.
func TestWatch(t *testing.T) {
	dir := t.TempDir()
	changed, err := Watch(dir)
	require.NoError(t, err)
	told := func(within time.Duration) bool {
		select {
		case <-changed:
			return true
		case <-time.After(within):
			return false
		}
	}
	write := func(name string) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte("x"), 0o644))
	}
	write(".show.toml.swp")
	write("show.toml~")
	write("notes.txt")
	require.False(t, told(6*quiet), "not ours")
	for range 5 {
		write("show.toml")
	}
	require.True(t, told(10*time.Second))
	require.False(t, told(6*quiet), "once")
	// Beside and renamed, twice: the folder is watched, not the file.
	for range 2 {
		write("next~")
		require.NoError(t, os.Rename(filepath.Join(dir, "next~"), filepath.Join(dir, "drops.star")))
		require.True(t, told(10*time.Second))
	}
	require.NoError(t, os.Remove(filepath.Join(dir, "drops.star")))
	require.True(t, told(10*time.Second), "a script that is gone")
	_, err = Watch(filepath.Join(dir, "nowhere"))
	require.ErrorContains(t, err, "cannot watch")
}
