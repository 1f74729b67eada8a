//go:build display

package view

import (
	"fmt"
	"os"
	"testing"

	"github.com/hajimehoshi/ebiten/v2"
)

// These tests need a display and are built with the tag "display" only: a package
// that holds ebiten cannot even start without one, to say that it skips. Package
// preview/endtoend runs them on a display of its own.
//
// Pixels can be read only while a game runs, so the tests run inside of one.
func TestMain(m *testing.M) {
	ebiten.SetWindowSize(320, 200)
	ebiten.SetVsyncEnabled(false)
	h := &harness{m: m}
	if err := ebiten.RunGameWithOptions(h, &ebiten.RunGameOptions{InitUnfocused: true}); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
	os.Exit(h.code)
}

type harness struct {
	m    *testing.M
	done chan struct{}
	code int
}

func (h *harness) Update() error {
	if h.done == nil {
		h.done = make(chan struct{})
		go func() {
			defer close(h.done)
			h.code = 1 // where a test ends the goroutine
			h.code = h.m.Run()
		}()
	}
	select {
	case <-h.done:
		return ebiten.Termination
	default:
		return nil
	}
}

func (h *harness) Draw(*ebiten.Image)         {}
func (h *harness) Layout(w, y int) (int, int) { return w, y }
