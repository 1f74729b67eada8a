package view

import (
	"fmt"
	"math"
	"time"

	"github.com/hajimehoshi/ebiten/v2"

	"paneglow/preview/model"
	_ "paneglow/preview/view/display" // before ebiten looks for one
)

// Model is the window without a window. Its methods are called on one goroutine.
type Model interface {
	// Update takes in what happened since the last tick, 60 times a second, and
	// tells whether the window shall close.
	Update(model.Input) (quit bool)
	// Draw is what to show; the view keeps nothing of it and changes nothing in it.
	Draw() *model.List
	// Light is what Glass shows; nil: nothing, a Glass stays dark.
	Light() *model.Light
	// Title is the window's name.
	Title() string
}

// Options say how the window opens.
type Options struct {
	W, H   int // in logical pixels; 0: 1280 by 800
	Frames int // closes after so many frames; 0: when the model says so
	Hurry  bool
	// Hurry draws as fast as the machine can, for measuring; ticks stay tied to
	// frames.
}

// Smallest window, in logical pixels.
const leastW, leastH = 640, 480

// Told is what a window did.
type Told struct {
	Frames int       // drawn
	First  time.Time // when the first picture was on the screen
	Panel  time.Time // when the first picture of a panel was
}

// Run opens the window and serves it until the model or the count of frames ends
// it. It must be called from main's goroutine, once.
func Run(m Model, o Options) (Told, error) {
	if o.W <= 0 || o.H <= 0 {
		o.W, o.H = 1280, 800
	}
	g := &game{model: m, frames: o.Frames}
	w, h := max(o.W, leastW), max(o.H, leastH)
	// What was remembered on a larger screen would put its edges out of reach.
	if mw, mh := ebiten.Monitor().Size(); mw > 0 && mh > 0 {
		w, h = min(w, max(mw, leastW)), min(h, max(mh, leastH))
	}
	ebiten.SetWindowSize(w, h)
	ebiten.SetWindowSizeLimits(leastW, leastH, -1, -1)
	ebiten.SetWindowResizingMode(ebiten.WindowResizingModeEnabled)
	ebiten.SetWindowClosingHandled(true)
	ebiten.SetScreenClearedEveryFrame(false)
	if o.Hurry {
		ebiten.SetVsyncEnabled(false)
		ebiten.SetTPS(ebiten.SyncWithFPS)
	}
	g.retitle()
	err := ebiten.RunGameWithOptions(g, &ebiten.RunGameOptions{X11ClassName: "Paneglow", X11InstanceName: "paneglow-preview"})
	if err != nil {
		err = fmt.Errorf("the window ended: %w", err)
	}
	return g.told, err
}

// game is what ebiten calls.
type game struct {
	model  Model
	frames int // to draw, or 0

	title string
	scale float64 // screen pixels in a logical one
	w, h  float64 // the window in logical pixels
	hands hands
	paint painter
	panel bool // the frame before showed one
	told  Told
}

// LayoutF makes the screen as fine as the display is.
func (g *game) LayoutF(w, h float64) (float64, float64) {
	g.scale = ebiten.Monitor().DeviceScaleFactor()
	if !(g.scale > 0) {
		g.scale = 1
	}
	g.w, g.h = w, h
	return math.Ceil(w * g.scale), math.Ceil(h * g.scale)
}

// Layout is never called where LayoutF is there.
func (g *game) Layout(w, h int) (int, int) { return w, h }

func (g *game) Update() error {
	if g.model.Update(g.hands.since(g.w, g.h, g.scale)) {
		return ebiten.Termination
	}
	if g.frames > 0 && g.told.Frames >= g.frames {
		return ebiten.Termination
	}
	g.retitle()
	return nil
}

func (g *game) Draw(screen *ebiten.Image) {
	// A frame was on the screen when the next one begins.
	if g.told.Frames == 1 {
		g.told.First = time.Now()
	}
	if g.panel && g.told.Panel.IsZero() {
		g.told.Panel = time.Now()
	}
	g.told.Frames++
	list, light := g.model.Draw(), g.model.Light()
	g.paint.frame(screen, list, light, g.scale)
	g.panel = g.panel || light != nil
}

func (g *game) retitle() {
	if t := g.model.Title(); t != g.title {
		g.title = t
		ebiten.SetWindowTitle(t)
	}
}
