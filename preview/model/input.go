package model

// Input is what happened since the last frame, as the view saw it.
type Input struct {
	W, H       float64 // the window in logical pixels
	Seconds    float64 // since the window opened; never runs backwards
	X, Y       float64 // the pointer
	Down       bool    // the left button is held
	Pressed    bool    // ... went down now
	Released   bool    // ... went up now
	RightPress bool
	Wheel      float64 // notches, away from the person is positive
	Shift      bool
	Ctrl       bool
	Keys       []Key  // that went down now, repeats included
	Typed      []rune // characters typed
	Close      bool   // the window's own close button was pressed
}

// Key is a key by what stands on it: "a" to "z", "0" to "9", "f1" to "f12",
// "space", "enter", "escape", "tab", "backspace", "delete", "left", "right", "up",
// "down", "home", "end", "pageup", "pagedown", "plus", "minus", "comma", "period",
// "slash".
type Key string
