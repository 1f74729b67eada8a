package layout

import (
	"fmt"
	"math"

	"paneglow/anim/show"
)

// New lays out a machine. It keeps no reference to m. The error names the
// strip or line that cannot be placed.
func New(m *show.Machine) (*Layout, error) {
	l := &Layout{Width: float64(m.Panel.Size[0]), Height: float64(m.Panel.Size[1])}
	if !(l.Width > 0) || !(l.Height > 0) {
		return nil, fmt.Errorf("layout: the panel is %g x %g mm, both must be above 0", l.Width, l.Height)
	}
	placed, total := map[string]bool{}, 0
	for li := range m.Lines {
		line := Line{Name: m.Lines[li].Name}
		for _, name := range m.Lines[li].Strips {
			s := m.Strip(name)
			if s == nil {
				return nil, fmt.Errorf("layout: line %q carries strip %q, which is not there", line.Name, name)
			}
			if placed[name] {
				return nil, fmt.Errorf("layout: strip %q is on a data line twice", name)
			}
			placed[name] = true
			if total += s.Pixels; total > show.MaxPixels {
				return nil, fmt.Errorf("layout: %d pixels, the most is %d", total, show.MaxPixels)
			}
			line.Strips = append(line.Strips, len(l.Strips))
			if err := l.add(m, s, li); err != nil {
				return nil, err
			}
		}
		l.Lines = append(l.Lines, line)
	}
	for i := range m.Strips {
		if !placed[m.Strips[i].Name] {
			return nil, fmt.Errorf("layout: strip %q is on no data line", m.Strips[i].Name)
		}
	}
	return l, nil
}

// add appends one strip with its pixels and LEDs.
func (l *Layout) add(m *show.Machine, s *show.Strip, line int) error {
	pi := -1
	for i := range m.Parts {
		if m.Parts[i].Name == s.Part {
			pi = i
		}
	}
	if pi < 0 {
		return fmt.Errorf("layout: strip %q is of part %q, which is not there", s.Name, s.Part)
	}
	part := &m.Parts[pi]
	per := part.LEDsPerPixel
	if s.Pixels < 1 || per < 1 || len(s.Path) == 0 || part.Dies() < 3 || part.Dies() > 4 || !(part.Pitch > 0) {
		return fmt.Errorf("layout: strip %q has %d pixels of %d LEDs and %d dies at %s on a path of %d points", s.Name, s.Pixels, per, part.Dies(), part.Pitch, len(s.Path))
	}
	hidden, missing := make([]bool, s.Pixels), make([]bool, s.Pixels)
	for _, mark := range []struct {
		on   []bool
		list []int
	}{{hidden, s.Hidden}, {missing, s.Missing}} {
		for _, n := range mark.list {
			if n < 0 || n >= s.Pixels {
				return fmt.Errorf("layout: strip %q has pixels 0 to %d, not %d", s.Name, s.Pixels-1, n)
			}
			mark.on[n] = true
		}
	}
	path := newPolyline(s.Path)
	leds := s.VisibleLEDs(part)
	// The path wins over the pitch: it ends in the last LED's centre, and may
	// be half a pitch longer or shorter than the pitch says.
	step := 0.0
	if leds > 1 {
		step = path.length / float64(leds-1)
	}
	ledPitch := float64(part.Pitch.Step())
	index := len(l.Strips)
	offset := l.Channels()
	l.Strips = append(l.Strips, Strip{
		Name: s.Name, Part: pi, Line: line, First: len(l.Pixels), Count: s.Pixels,
		Dies: part.Dies(), Order: part.Order, LEDPitch: ledPitch, PixelPitch: ledPitch * float64(per), Length: path.length,
	})
	place := 0
	for i := 0; i < s.Pixels; i++ {
		p := Pixel{Strip: index, Index: i, Hidden: hidden[i], Missing: missing[i], Offset: offset + i*part.Dies()}
		if p.Hidden {
			l.Pixels = append(l.Pixels, p)
			continue
		}
		p.Place = place
		first := place * per
		at := step * (float64(first) + float64(float64(per-1)/2))
		p.X, p.Y = path.at(at)
		if path.length > 0 {
			p.Along = min(at/path.length, 1)
		}
		p.U, p.V = p.X/l.Width, p.Y/l.Height
		if !p.Missing {
			for k := 0; k < per; k++ {
				x, y := path.at(step * float64(first+k))
				l.LEDs = append(l.LEDs, LED{X: x, Y: y, Pixel: int32(len(l.Pixels))})
			}
		}
		l.Pixels = append(l.Pixels, p)
		place++
	}
	borrow(l.Pixels[len(l.Pixels)-s.Pixels:], path, l.Width, l.Height)
	return nil
}

// borrow gives hidden pixels the place of the visible one before them, at the
// strip's beginning of the one behind them; they are dark, so nobody sees it.
func borrow(px []Pixel, path polyline, width, height float64) {
	from := -1
	for i := range px {
		if !px[i].Hidden {
			from = i
			break
		}
	}
	if from < 0 {
		for i := range px {
			px[i].X, px[i].Y = path.at(0)
			px[i].U, px[i].V = px[i].X/width, px[i].Y/height
		}
		return
	}
	for i := range px {
		if !px[i].Hidden {
			from = i
			continue
		}
		n := &px[from]
		px[i].Place, px[i].X, px[i].Y, px[i].U, px[i].V, px[i].Along = n.Place, n.X, n.Y, n.U, n.V, n.Along
	}
}

// polyline is a path with the arc length at each of its points.
type polyline struct {
	x, y, s []float64
	length  float64
}

func newPolyline[T ~float64](path [][2]T) polyline {
	var p polyline
	for i, q := range path {
		x, y := float64(q[0]), float64(q[1])
		if i > 0 {
			dx, dy := x-p.x[i-1], y-p.y[i-1]
			p.length += math.Sqrt(float64(dx*dx) + float64(dy*dy)) // products kept apart: no fused multiply-add
		}
		p.x, p.y, p.s = append(p.x, x), append(p.y, y), append(p.s, p.length)
	}
	return p
}

// at is the point at an arc length, held to the path's ends.
func (p polyline) at(s float64) (x, y float64) {
	n := len(p.s)
	if s <= 0 || n == 1 {
		return p.x[0], p.y[0]
	}
	if s >= p.length {
		return p.x[n-1], p.y[n-1]
	}
	lo, hi := 0, n-1 // p.s[lo] <= s < p.s[hi]
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; p.s[mid] <= s {
			lo = mid
		} else {
			hi = mid
		}
	}
	t := (s - p.s[lo]) / (p.s[hi] - p.s[lo])
	return p.x[lo] + float64(t*(p.x[hi]-p.x[lo])), p.y[lo] + float64(t*(p.y[hi]-p.y[lo]))
}
