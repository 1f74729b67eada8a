package show

import "paneglow/anim/unit"

// Show is the design: the content of show.toml as plain data.
type Show struct {
	File   string
	Source []byte
	Keys   Keys
	Dir    string // pictures and scripts are relative to it

	Title       string
	MachineFile string
	FPS         int
	Cap         Cap
	Window      unit.Time // CapMoment: over which the gain is smoothed; default 1 s
	Encoding    Encoding
	Host        Host
	Clips       []Clip
	States      []State
	Levels      []LevelAt
}

// Cap says which frames share one gain when the budget bites.
type Cap uint8

const (
	// CapShow uses one gain for the whole show.
	CapShow Cap = iota
	// CapClip uses one gain per clip.
	CapClip
	// CapMoment lets the gain follow the frames, smoothed over Show.Window.
	CapMoment
)

// Encoding says how 8-bit colors and pictures are decoded to light.
// Gamma 0 is the sRGB curve; else the exponent, 1.0 to 3.0.
type Encoding struct{ Gamma float64 }

// Host says what plays when the computer falls silent.
type Host struct {
	Pos     Pos
	Keys    Keys
	Silence unit.Time // 0: never
	Then    string    // a state
}

// Direction plays a source forwards or backwards, as in Web Animations.
type Direction uint8

const (
	Normal Direction = iota
	Reverse
	Alternate
	AlternateReverse
)

// Clip is a stretch of animation made of layers.
type Clip struct {
	Pos        Pos
	Keys       Keys
	Name       string
	Length     unit.Time // of one iteration
	Iterations int       // default 1; a clip in a state repeats for ever anyway
	Direction  Direction
	Easing     string // a CSS easing function for the clip's progress; default "linear"
	Follow     string // "value": 256 frames, frame = value; else ""
	Start      string // "first" (default) frame, or "random": one of a few, drawn each time a state shows it
	Keep       string // in the frame table: "exact" (default), every frame equal; or "smooth", key frames
	Layers     []Layer
}

// Layer is one source over the layers before it.
type Layer struct {
	Pos     Pos
	Keys    Keys
	Pattern string             // a pattern script by name or path; or
	Picture string             // a picture file: one row a frame, one column a pixel
	As      string             // of a picture: "srgb" (default), "exact" or "seen"
	Targets int                // of a seen picture: how many stand one below the other; default 1
	With    map[string]Control // what the pattern's controls are set to
	Strips  []string           // empty: all
	Opacity float64            // default 1
	Blend   string             // a W3C blend mode or "plus-lighter"; default "normal"
	Seed    int64
}

// Control is a value given to a pattern's control, as text with its unit, and
// where it stands in the file, so that it can be replaced in place.
type Control struct {
	Pos  Pos
	Text string // the TOML value; strings without their quotes
	Kind byte   // 's' string, 'n' number, 'b' bool
}

// HandOver says how one state gives way to the next.
type HandOver uint8

const (
	Cut HandOver = iota
	Crossfade
	Finish
)

// State is what the machine does, and what the panel shows meanwhile.
type State struct {
	Pos      Pos
	Keys     Keys
	Name     string
	Clip     string
	HandOver HandOver
	Fade     unit.Time // of a crossfade
	Loads    []string  // that may run or start in this state
	Listens  []string  // sensors that count
	Still    bool
	AtMost   unit.Time // longest stay; 0: no limit
	Then     string    // where a longest stay leads
}

// LevelAt lowers the show's lightness from a time of day on.
type LevelAt struct {
	Pos   Pos
	Keys  Keys
	From  unit.Time // since midnight
	Days  []string  // empty: every day; mon tue wed thu fri sat sun
	Level unit.Share
}
