// Package anim turns a show into light: what every pixel shines in every frame
// of every clip, before the LEDs, the supply or the controller are thought of.
//
// In: a parsed show (anim/show), a laid-out panel (anim/layout), pattern
// scripts and pictures. Out: one Source per clip, whose cursors give frames of
// Light: linear sRGB, D65, 1 is the show's white; values may leave 0..1 and are
// never NaN. A clip in a state repeats, so frame 0 follows the last one; a
// clip that follows a value has 256 frames and frame = value.
//
// What a clip adds to its layers: strips, opacity and blend mode (in linear
// light), iterations and direction (as in Web Animations), easing (CSS). All of
// that is applied here, at export; the controller only plays frames.
//
// Refused with a finding, never drawn as black: a pattern or picture that
// cannot be read, a control that is not declared, a picture whose rows or
// columns do not fit. See Build.
package anim

import (
	"paneglow/anim/color"
)

// Light is a pixel's design light; see color.Light.
type Light = color.Light

// Source is something that plays: a clip, a layer, a picture. It is immutable
// and may be shared; every goroutine starts a cursor of its own.
type Source interface {
	// Frames is the number of frames, at least 1.
	Frames() int
	// Start gives a cursor at frame 0.
	Start() Cursor
}

// Cursor walks a source's frames. After the last frame comes frame 0 again.
type Cursor interface {
	// Seek makes frame the next one, 0 <= frame < Frames. A source with memory
	// replays from its nearest kept frame.
	Seek(frame int) error
	// Next writes the next frame, one Light a pixel in data order. It allocates
	// nothing; an error names the source line.
	Next(dst []Light) error
}
