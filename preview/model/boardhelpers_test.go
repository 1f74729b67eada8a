package model

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// openLayout is the demo, laid out.
func openLayout(t *testing.T) *window {
	w := openDemo(t, plainProver{})
	w.click("layout")
	w.frame1()
	require.True(t, w.board.on)
	return w
}

// still waits for what is read, laid and proved off the window's goroutine.
func (w *window) still() {
	for range 2000 {
		w.frame1()
		if b := &w.board; b.reading == "" && !b.laying && !w.busy {
			w.frame1()
			if b.reading == "" && !b.laying && !w.busy {
				return
			}
		}
		time.Sleep(2 * time.Millisecond)
	}
	w.t.Fatal("the window never came to rest")
}

// at is the screen's place of a place of the panel.
func (w *window) to(mm Point) { p := w.board.screen(mm); w.in.X, w.in.Y = p.X, p.Y }

// pressAt presses and lets go at a place of the panel.
func (w *window) pressAt(mm Point) {
	w.to(mm)
	w.in.Pressed, w.in.Down = true, true
	w.frame1()
	w.in.Down, w.in.Released = false, true
	w.frame1()
}

// pullTo drags from one place of the panel to another.
func (w *window) pullTo(from, to Point) {
	w.to(from)
	w.in.Pressed, w.in.Down = true, true
	w.frame1()
	w.to(Point{(from.X + to.X) / 2, (from.Y + to.Y) / 2})
	w.frame1()
	w.to(to)
	w.frame1()
	w.in.Down, w.in.Released = false, true
	w.frame1()
}

func (w *window) ctrl(k Key) {
	w.in.Ctrl = true
	w.key(k)
	w.in.Ctrl = false
}

// typeIn opens a field, empties it and types.
func (w *window) typeIn(id, text string) {
	w.click(id)
	w.entry = ""
	w.in.Typed = []rune(text)
	w.frame1()
	w.key("enter")
}

func (w *window) machine() string { return string(w.board.doc.now) }

// changed is the lines that differ, as "- old" and "+ new".
func changed(a, b string) (out []string) {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range max(len(x), len(y)) {
		switch {
		case i >= len(x):
			out = append(out, "+ "+y[i])
		case i >= len(y):
			out = append(out, "- "+x[i])
		case x[i] != y[i]:
			out = append(out, "- "+x[i], "+ "+y[i])
		}
	}
	return out
}

// addedLines is changed for texts of which one has lines more.
func addedLines(a, b string) (out []string) {
	x := strings.Split(a, "\n")
	for _, line := range strings.Split(b, "\n") {
		if len(x) > 0 && line == x[0] {
			x = x[1:]
			continue
		}
		out = append(out, "+ "+line)
	}
	for _, line := range x {
		out = append(out, "- "+line)
	}
	return out
}
