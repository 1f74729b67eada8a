package model

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A control that is moved changes the show's text in that value alone, is proved,
// saved, and can be taken back.
func TestControls(t *testing.T) {
	w := openDemo(t, plainProver{})
	old := string(w.doc.now)
	id := ""
	for _, o := range w.order {
		if strings.HasPrefix(o, "control.") && !strings.Contains(o, ".text") && strings.HasSuffix(o, ".depth") {
			id = o
		}
	}
	require.NotEmpty(t, id, "%v", w.order)
	w.drag(id, 0.2, 0.7)
	w.settle()
	require.NotEqual(t, old, string(w.doc.now))
	require.Equal(t, 1, differentLines(old, string(w.doc.now)), "one line is another")
	require.True(t, w.Report().Unsaved)
	onDisk, err := os.ReadFile(w.o.Show)
	require.NoError(t, err)
	require.Equal(t, old, string(onDisk), "not saved yet")
	w.in.Ctrl = true
	w.key("s")
	w.in.Ctrl = false
	onDisk, err = os.ReadFile(w.o.Show)
	require.NoError(t, err)
	require.Equal(t, string(w.doc.now), string(onDisk))
	w.in.Ctrl = true
	w.key("z")
	w.in.Ctrl = false
	w.settle()
	require.Equal(t, old, string(w.doc.now), "one drag is one step back")
	w.in.Ctrl = true
	w.key("y")
	w.in.Ctrl = false
	require.NotEqual(t, old, string(w.doc.now))
}

func differentLines(a, b string) int {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	if len(x) != len(y) {
		return -1
	}
	n := 0
	for i := range x {
		if x[i] != y[i] {
			n++
		}
	}
	return n
}

// The picker writes OKLCH, tells milliamps, and closes again.
func TestPicker(t *testing.T) {
	w := openDemo(t, plainProver{})
	id := ""
	for _, o := range w.order {
		if strings.HasPrefix(o, "control.") && strings.HasSuffix(o, ".low") {
			id = o
		}
	}
	require.NotEmpty(t, id)
	w.click(id)
	w.frame1()
	require.True(t, w.says("one pixel draws"))
	w.drag(id+".plane", 0.3, 0.4)
	w.settle()
	require.Contains(t, string(w.doc.now), `low = "oklch(50.0% 0.1`)
	w.key("escape")
	w.frame1()
	require.False(t, w.says("one pixel draws"))
}
