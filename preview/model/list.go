package model

import "image/color"

// List is what one frame shows, back to front. Lengths are in logical pixels from
// the upper left corner; the view multiplies them by the screen's scale.
type List struct {
	Ops []Op
}

// Op is one thing to draw. Which fields count depends on its Kind.
type Op struct {
	Kind       Kind
	X, Y, W, H float64     // Fill, Frame, Hatch, Glass, Picture; from X, Y to W, H: Line; anchor X, Y: Text
	Color      color.NRGBA // straight alpha
	Width      float64     // of Line, Path, Frame and Hatch; 0: 1
	Radius     float64     // of Fill's and Frame's corners; of Disc
	Points     []Point     // of Path and Area
	Text       string
	Size       float64 // of Text, in logical pixels
	Align      Align
	Bold       bool
	Image      *Image // of Picture
	Clip       *Rect  // nothing is drawn outside it; nil: the window
}

// Kind says what an Op is.
type Kind uint8

// The kinds of Op.
const (
	Fill    Kind = iota // a rectangle, with round corners where Radius is set
	Frame               // its outline, inside it
	Hatch               // diagonal lines in a rectangle, 6 px apart
	Line                // from X, Y to W, H
	Path                // lines through Points
	Area                // Points, closed and filled
	Disc                // around X, Y
	Text                // one line; Y is its baseline
	Glass               // the panel through the glass, by the shader
	Picture             // an Image, stretched over the rectangle
)

// Align places a text's anchor.
type Align uint8

// The anchors of Text.
const (
	Left Align = iota
	Center
	Right
)

// Point is a place in logical pixels.
type Point struct{ X, Y float64 }

// Rect is a rectangle in logical pixels.
type Rect struct{ X, Y, W, H float64 }

// Has tells that a place is inside.
func (r Rect) Has(x, y float64) bool { return x >= r.X && y >= r.Y && x < r.X+r.W && y < r.Y+r.H }

// Image is a picture that the view uploads again when Version changes.
type Image struct {
	W, H    int     // each at most MostImage
	Pix     []uint8 // RGBA, premultiplied, rows from the top
	Version int
	Smooth  bool // scaled linearly, else by nearest neighbour
}

// MostImage is the longest side of an Image in pixels: what every graphics driver
// takes. The view crosses out the place of a larger one.
const MostImage = 8192

// Light is the panel's light for the Glass op: the coefficients of a cubic
// B-spline in linear sRGB before exposure, on a grid of W by H points, rows from
// the top, 16 bits a channel: value = code/65535 x Most - Least.
type Light struct {
	W, H        int
	Codes       []uint16 // W x H x 3
	Most, Least float32
	// Where the panel's rectangle lies on the grid, in points: its upper left
	// corner and its size.
	X, Y, SpanX, SpanY float64
	Exposure           float32    // light that shows as white
	Room               [3]float32 // linear sRGB of the pane in room light, before exposure
	Version            int
}
