package picture

import (
	"fmt"
	"image"
	"image/color"
	"math"

	"paneglow/anim/layout"
	"paneglow/render/panel"
)

// Ripple draws how strongly the LEDs of one strip show through the glass, by
// the depth from LED to glass: this glass and opal, what is mostly accepted and
// what is smooth, from where on colours run together, and where the panel is
// today. width is 640 to 3000 pixels.
func Ripple(g *panel.Glass, l *layout.Layout, strip, width int) (*image.RGBA, error) {
	if width < 640 || width > 3000 {
		return nil, fmt.Errorf("a chart %d pixels wide is outside 640 to 3000", width)
	}
	if strip < 0 || strip >= len(l.Strips) {
		return nil, fmt.Errorf("strip %d is outside 0 to %d", strip, len(l.Strips)-1)
	}
	a := g.Advise(strip)
	if !(a.LEDPitch > 0) {
		return nil, fmt.Errorf("strip %s has no LED pitch: ripple needs two LEDs", a.Strip)
	}
	if !(a.Ripple > 0) {
		return nil, fmt.Errorf("clear glass scatters nothing: there is no ripple to draw")
	}
	cv, err := newCanvas(width, 460, 1)
	if err != nil {
		return nil, err
	}
	c := rippleChart{canvas: cv, x0: 84, y0: 92, w: float64(width) - 84 - 28, h: 460 - 92 - 62}
	c.deepest = math.Max(1.6*a.Depth, math.Max(1.25*a.SmoothDepth, 1.25*a.DeepestDepth))
	cv.text("LEDs showing through, by depth", c.x0, 32, 0, cv.title, ink)
	cv.text(fmt.Sprintf("simulated: strip %s, LED pitch %.1f mm, scatter %v; an endless row, all LEDs alike", a.Strip, a.LEDPitch, a.Scatter), c.x0, 54, 0, cv.small, pale)
	x := cv.text("this glass", c.x0, 78, 0, cv.small, current) + c.x0
	cv.text("opal glass", x+16, 78, 0, cv.small, opalInk)
	c.ground(&a)
	c.curve(func(d float64) float64 { return g.OpalRipple(strip, a.LEDPitch, d) }, opalInk, 1.6)
	c.curve(func(d float64) float64 { return g.RowRipple(strip, a.LEDPitch, d) }, current, 2.4)
	c.today(&a)
	return cv.rgba(), nil
}

var (
	opalInk = color.NRGBA{0x8f, 0xb8, 0xd6, 0xff}
	mud     = color.NRGBA{0x6e, 0x5a, 0x3c, 0x60}
)

// rippleChart is the plot: millimetres to the right, ripple upwards on a
// logarithmic axis from 0.01 % to 100 %.
type rippleChart struct {
	*canvas
	x0, y0, w, h float64
	deepest      float64 // mm at the right edge
}

const leastRipple = 1e-4

func (c *rippleChart) x(depth float64) float64 { return c.x0 + depth/c.deepest*c.w }
func (c *rippleChart) y(ripple float64) float64 {
	v := math.Log10(math.Min(math.Max(ripple, leastRipple), 1)) / -math.Log10(leastRipple)
	return c.y0 - v*c.h
}

// ground draws the bands, the axes and what they mean.
func (c *rippleChart) ground(a *panel.Advice) {
	c.SetColor(sheet)
	c.DrawRectangle(c.x0, c.y0, c.w, c.h)
	c.Fill()
	for _, v := range []float64{1, 0.1, 0.01, 0.001, 0.0001} {
		y := math.Round(c.y(v)) + 0.5
		c.line(c.x0, y, c.x0+c.w, y, rule, 1)
		c.text(fmt.Sprintf("%g %%", 100*v), c.x0-10, y+4, 1, c.small, pale)
	}
	if a.DeepestDepth > 0 && a.DeepestDepth < c.deepest {
		x := c.x(a.DeepestDepth)
		c.SetColor(mud)
		c.DrawRectangle(x, c.y0, c.x0+c.w-x, c.h)
		c.Fill()
		c.right("colours run together", x, c.y0+18)
	}
	for _, v := range []struct {
		ripple, depth float64
		word          string
	}{{panel.Acceptable, a.AcceptableDepth, "mostly accepted"}, {panel.Smooth, a.SmoothDepth, "smooth at a glance"}} {
		y := c.y(v.ripple)
		c.SetDash(6, 5)
		c.line(c.x0, y, c.x0+c.w, y, wanted, 1)
		if v.depth > 0 && v.depth < c.deepest {
			c.line(c.x(v.depth), y, c.x(v.depth), c.y0+c.h, wanted, 1)
		}
		c.SetDash()
		c.text(fmt.Sprintf("%s, %.0f %%", v.word, 100*v.ripple), c.x0+c.w-8, y-6, 1, c.small, wanted)
	}
	step := nice(c.deepest, max(3, int(c.w/80)))
	for k := 0; float64(k)*step <= c.deepest; k++ {
		x := math.Round(c.x(float64(k)*step)) + 0.5
		c.line(x, c.y0+c.h, x, c.y0+c.h+5, rule, 1)
		c.text(fmt.Sprintf("%g", float64(k)*step), x, c.y0+c.h+19, 0.5, c.small, pale)
	}
	c.text("mm from LED to glass", c.x0+c.w, c.y0+c.h+40, 1, c.small, pale)
	said := ""
	if a.AcceptableDepth > 0 && a.SmoothDepth > 0 {
		said = fmt.Sprintf("accepted from %.0f mm, smooth from %.0f mm", math.Ceil(a.AcceptableDepth), math.Ceil(a.SmoothDepth))
	}
	if a.DeepestDepth > 0 {
		if said != "" {
			said += ", "
		}
		said += fmt.Sprintf("colours apart up to %.0f mm", math.Floor(a.DeepestDepth))
	}
	c.text(said, c.x0, c.y0+c.h+40, 0, c.small, ink)
}

func (c *rippleChart) line(x0, y0, x1, y1 float64, col color.Color, width float64) {
	c.SetColor(col)
	c.SetLineWidth(width)
	c.DrawLine(x0, y0, x1, y1)
	c.Stroke()
}

// right writes beside a place, to the right where there is room, else to the
// left with an arrow back.
func (c *rippleChart) right(s string, x, y float64) {
	c.SetFontFace(c.small)
	if w, _ := c.MeasureString(s); x+8+w > c.x0+c.w {
		c.text(s+" →", x-8, y, 1, c.small, pale)
		return
	}
	c.text(s, x+8, y, 0, c.small, pale)
}

func (c *rippleChart) curve(f func(depth float64) float64, col color.Color, width float64) {
	c.SetColor(col)
	c.SetLineWidth(width)
	const points = 160
	for i := 1; i <= points; i++ {
		d := c.deepest * float64(i) / points
		v := f(d)
		if v < leastRipple {
			break // goes on below the chart
		}
		c.LineTo(c.x(d), c.y(v))
	}
	c.Stroke()
}

// today marks the panel as it is.
func (c *rippleChart) today(a *panel.Advice) {
	x, y := c.x(a.Depth), c.y(a.Ripple)
	c.SetDash(2, 3)
	c.line(x, c.y0, x, c.y0+c.h, ink, 1)
	c.SetDash()
	c.SetColor(ground)
	c.DrawCircle(x, y, 7)
	c.Fill()
	c.SetColor(ink)
	c.DrawCircle(x, y, 5)
	c.Fill()
	s := fmt.Sprintf("today: %g mm, %s %%", math.Round(a.Depth*10)/10, round3(100*a.Ripple))
	c.SetFontFace(c.normal)
	ax, dx := 0.0, 12.0
	if w, _ := c.MeasureString(s); x+dx+w > c.x0+c.w {
		ax, dx = 1, -12
	}
	dy := -8.0
	if y+dy < c.y0+18 {
		dy = 62 // clear of the legend and of the curve's flat part
	}
	c.text(s, x+dx, y+dy, ax, c.normal, ink)
}
