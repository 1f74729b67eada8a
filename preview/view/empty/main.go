// Command empty opens a window with nothing in it, as ebiten makes it: what a
// window costs here before anything is shown. Measurements of the real one are
// taken beside it.
package main

import (
	"flag"
	"fmt"
	"os"

	"github.com/hajimehoshi/ebiten/v2"

	_ "paneglow/preview/view/display"
)

func main() {
	frames := flag.Int("frames", 60, "close after so many frames")
	width := flag.Int("width", 1280, "width in logical pixels")
	height := flag.Int("height", 800, "height in logical pixels")
	flag.Parse()
	ebiten.SetWindowSize(*width, *height)
	if err := ebiten.RunGame(&game{left: *frames}); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

type game struct{ left int }

func (g *game) Update() error {
	if g.left <= 0 {
		return ebiten.Termination
	}
	return nil
}

func (g *game) Draw(*ebiten.Image)         { g.left-- }
func (g *game) Layout(w, h int) (int, int) { return w, h }
