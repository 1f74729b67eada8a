package picture

import (
	"fmt"
	"image"
	"image/draw"
	"math"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/drive"
	"paneglow/render/panel"
)

// View is how the glass is photographed.
type View struct {
	Height   int              // of the panel in pixels, 100 to 4000; default: Fit(l, 900)
	Room     unit.Illuminance // light that falls on the pane
	Adapted  bool             // as an eye sees it that takes the show's white for white
	Eye      *panel.Eye       // nil: far away on the normal
	Exposure float64          // cd/m2 that show as white; 0: from the brightest frame
	Clip     string           // named in the caption
	Heading  string           // a line over the caption; "" when there is none
	Longest  string           // note that will be drawn, so that all pictures get one size; "" when there is one picture
}

// Camera draws one machine's glass with one exposure. It is not safe for
// several goroutines.
type Camera struct {
	glass   *panel.Glass
	screen  *panel.Screen
	machine *show.Machine
	view    View
	panel   *image.RGBA
}

// NewCamera prepares pictures of a clip. brightest is the frame that sets the
// exposure: the one that draws most.
func NewCamera(m *show.Machine, l *layout.Layout, v View, brightest []uint8) (*Camera, error) {
	if v.Height == 0 {
		v.Height = Fit(l, 900)
	}
	if v.Height < 100 || v.Height > 4000 {
		return nil, fmt.Errorf("a picture %d pixels high is outside 100 to 4000", v.Height)
	}
	w := int(math.Round(l.Width * float64(v.Height) / l.Height))
	if w > 6000 {
		return nil, fmt.Errorf("a picture %d pixels wide is over 6000: ask for a smaller height", w)
	}
	g, err := panel.New(m, l)
	if v.Eye != nil {
		g, err = panel.NewFrom(m, l, *v.Eye)
	}
	if err != nil {
		return nil, err
	}
	exposure := v.Exposure
	if exposure == 0 {
		exposure = 1
	}
	s, err := g.NewScreen(max(w, 2), v.Height, exposure, float64(v.Room))
	if err != nil {
		return nil, err
	}
	if v.Adapted {
		white, err := WhiteCodes(m, l)
		if err != nil {
			return nil, err
		}
		s.Adapt(g.Through(white))
	}
	if v.Exposure == 0 {
		s.Expose(brightest)
	}
	return &Camera{glass: g, screen: s, machine: m, view: v, panel: image.NewRGBA(image.Rect(0, 0, max(w, 2), v.Height))}, nil
}

// WhiteCodes is a frame of the show's white at full duty.
func WhiteCodes(m *show.Machine, l *layout.Layout) ([]uint8, error) {
	codes := make([]uint8, l.Channels())
	for i := range l.Pixels {
		part := &m.Parts[l.Strips[l.Pixels[i].Strip].Part]
		white, err := drive.White(part)
		if err != nil {
			return nil, fmt.Errorf("part %q: %w", part.Name, err)
		}
		for c, duty := range white {
			codes[l.Pixels[i].Offset+c] = uint8(255*min(max(duty, 0), 1) + 0.5)
		}
	}
	return codes, nil
}

// Exposure is the luminance in cd/m2 that shows as white.
func (c *Camera) Exposure() float64 { return c.screen.Exposure }

// Fit is the height of a panel's picture whose longer side is at most 4/3 of
// a number of pixels, and whose height is at most that number.
func Fit(l *layout.Layout, pixels int) int {
	wide := float64(pixels) * 4 / 3 * l.Height / l.Width
	return max(100, min(pixels, int(wide)))
}

// Caption states what the pictures are made for.
func (c *Camera) Caption() string {
	p := c.machine.Panel
	s := fmt.Sprintf("simulated: %s behind glass, depth %v, scatter %v", c.view.Clip, p.Depth, p.Glass.Scatter)
	if p.Glass.Haze < 1 {
		s += fmt.Sprintf(", haze %.3g", p.Glass.Haze)
	}
	if p.Walls > 0 {
		s += fmt.Sprintf(", walls %.2g", p.Walls)
	}
	s += fmt.Sprintf(", room %v, screen white = %s cd/m²", c.view.Room, round3(c.screen.Exposure))
	if c.view.Adapted {
		s += ", eye adapted to the show's white"
	} else {
		s += ", not eye-adapted"
	}
	if e := c.view.Eye; e != nil {
		s += fmt.Sprintf(", seen from %.0f, %.0f, %.0f mm", e.X, e.Y, e.Z)
	}
	return s
}

// round3 prints three significant digits.
func round3(v float64) string {
	if v == 0 {
		return "0"
	}
	d := max(0, 2-int(math.Floor(math.Log10(math.Abs(v)))))
	return fmt.Sprintf("%.*f", d, v)
}

// Draw is the panel at one refresh, with a note over the caption such as the
// time.
func (c *Camera) Draw(codes []uint8, note string) (*image.RGBA, error) {
	if err := c.screen.Draw(c.panel, codes); err != nil {
		return nil, err
	}
	w, h := c.screen.W, c.screen.H
	scale := math.Min(math.Max(float64(h)/900, 0.8), 2)
	margin := int(16 * scale)
	// A narrow panel's caption gets more room than the panel.
	wide := max(w, int(300*scale))
	probe, err := newCanvas(8, 8, scale)
	if err != nil {
		return nil, err
	}
	var lines []string
	if c.view.Heading != "" {
		lines = probe.wrap(c.view.Heading, float64(wide), probe.small)
	}
	lines = append(lines, probe.reserve(note, c.view.Longest, float64(wide), probe.small)...)
	noted := len(lines)
	lines = append(lines, probe.wrap(c.Caption(), float64(wide), probe.small)...)
	line := 17 * scale
	cv, err := newCanvas(wide+2*margin, h+2*margin+int(line*float64(len(lines))), scale)
	if err != nil {
		return nil, err
	}
	img := cv.rgba()
	draw.Draw(img, c.panel.Bounds().Add(image.Pt(margin+(wide-w)/2, margin)), c.panel, image.Point{}, draw.Src)
	for i, s := range lines {
		col := pale
		if i < noted {
			col = ink
		}
		cv.text(s, float64(margin), float64(h+margin)+line*(float64(i)+1), 0, cv.small, col)
	}
	return img, nil
}

// Beside puts two pictures side by side, their panels level.
func Beside(left, right *image.RGBA) *image.RGBA {
	a, b := left.Bounds(), right.Bounds()
	out := image.NewRGBA(image.Rect(0, 0, a.Dx()+b.Dx(), max(a.Dy(), b.Dy())))
	draw.Draw(out, out.Bounds(), image.NewUniform(ground), image.Point{}, draw.Src)
	draw.Draw(out, image.Rect(0, 0, a.Dx(), a.Dy()), left, a.Min, draw.Src)
	draw.Draw(out, image.Rect(a.Dx(), 0, a.Dx()+b.Dx(), b.Dy()), right, b.Min, draw.Src)
	return out
}
