package layout

// Layout is the panel's strips laid out in millimetres. Pixels stand in data
// order: lines in file order, strips in the line's order, pixels along the
// strip. That one index is used everywhere: a frame of light has
// len(Pixels) entries, hidden and missing pixels included.
type Layout struct {
	Width, Height float64 // mm
	Strips        []Strip
	Pixels        []Pixel
	LEDs          []LED // every lit package, for the glass
	Lines         []Line
}

// Strip is a run of pixels of one part.
type Strip struct {
	Name         string
	Part         int // index into Machine.Parts
	Line         int // index into Lines
	First, Count int // its pixels are Pixels[First : First+Count]
	Dies         int
	Order        string
	LEDPitch     float64 // mm
	PixelPitch   float64 // mm, LEDPitch times LEDs per pixel
	Length       float64 // of the path, mm
}

// Pixel is what one driver chip lights and one data word addresses.
type Pixel struct {
	Strip   int
	Index   int     // on the strip, in data order, from 0
	Place   int     // among the strip's visible pixels, from 0
	X, Y    float64 // mm, centre of its LEDs
	U, V    float64 // 0..1 across the panel
	Along   float64 // 0..1 on the strip
	Hidden  bool    // no place in the picture: always dark; it has its neighbour's coordinates
	Missing bool    // dead and bridged: no address on the wire, no current
	Offset  int     // of its first channel in a frame of codes (R, G, B[, W] order)
}

// LED is one package.
type LED struct {
	X, Y  float64 // mm
	Pixel int32
}

// Line is one data line.
type Line struct {
	Name   string
	Strips []int
}

// Channels is the number of bytes in a frame of codes: the sum of all pixels' dies.
func (l *Layout) Channels() int {
	n := 0
	for i := range l.Strips {
		n += l.Strips[i].Count * l.Strips[i].Dies
	}
	return n
}

// Strip finds a strip by name, or returns -1.
func (l *Layout) Strip(name string) int {
	for i := range l.Strips {
		if l.Strips[i].Name == name {
			return i
		}
	}
	return -1
}
