package model

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A broken file leaves the last good show on, tells where, and mends.
func TestBrokenFile(t *testing.T) {
	w := openDemo(t, plainProver{})
	good, err := os.ReadFile(w.o.Show)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(w.o.Show, []byte(strings.Replace(string(good), `fps = 40`, `fps = "many"`, 1)), 0o644))
	w.FilesChanged()
	w.settle()
	require.True(t, w.says("the last good show goes on"))
	require.True(t, w.says("show.toml:"))
	require.Equal(t, "rest", w.State())
	require.NoError(t, os.WriteFile(w.o.Show, good, 0o644))
	w.FilesChanged()
	w.settle()
	require.Nil(t, w.told)
}

// An edit outside while there are edits here is told, and neither is lost.
func TestOutsideEdit(t *testing.T) {
	for _, keep := range []string{"outside.mine", "outside.theirs"} {
		w := openDemo(t, plainProver{})
		mine := strings.Replace(string(w.doc.now), "fps = 40", "fps = 20", 1)
		w.doc.change([]byte(mine))
		theirs := strings.Replace(string(w.doc.disk), "fps = 40", "fps = 30", 1)
		require.NoError(t, os.WriteFile(w.o.Show, []byte(theirs), 0o644))
		w.save()
		w.frame1()
		require.True(t, w.says("changed outside"))
		onDisk, _ := os.ReadFile(w.o.Show)
		require.Equal(t, theirs, string(onDisk), "nothing was written over it")
		w.click(keep)
		w.settle()
		if keep == "outside.mine" {
			require.Equal(t, mine, string(w.doc.now))
			w.save()
			onDisk, _ = os.ReadFile(w.o.Show)
			require.Equal(t, mine, string(onDisk))
		} else {
			require.Equal(t, theirs, string(w.doc.now))
			w.undo()
			require.Equal(t, mine, string(w.doc.now))
		}
	}
}

// The state file is whole JSON at any time; quitting asks once where edits would
// be lost.
func TestStateFileAndQuit(t *testing.T) {
	w := openDemo(t, plainProver{})
	w.tick(0.5)
	b, err := os.ReadFile(w.o.StateFile)
	require.NoError(t, err)
	var r Report
	require.NoError(t, json.Unmarshal(stripSeverities(b), &r))
	require.Equal(t, "rest", r.State)
	require.NotEmpty(t, r.Places)
	w.doc.change(append([]byte("# more\n"), w.doc.now...))
	w.key("q")
	require.False(t, w.quit)
	require.Contains(t, w.notice, "not saved")
	w.key("q")
	require.True(t, w.quit)
}
