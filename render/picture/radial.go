package picture

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"path/filepath"

	"paneglow/render/panel/photo"
)

// Radial draws what a photo of one lit pixel was fitted by: light by the
// distance from the spot's middle on a logarithmic axis, the fit and its two
// parts, below it what the fit leaves over, and the spot itself in a corner.
// width is 640 to 3000 pixels.
func Radial(p *photo.Picture, r *photo.Result, width int) (*image.RGBA, error) {
	if width < 640 || width > 3000 {
		return nil, fmt.Errorf("a chart %d pixels wide is outside 640 to 3000", width)
	}
	const height = 620
	cv, err := newCanvas(width, height, 1)
	if err != nil {
		return nil, err
	}
	c := radialChart{canvas: cv, r: r, x0: 76, w: float64(width) - 76 - 28, y0: 120, h: 316, y1: 480, h1: 84}
	c.end = c.reach()
	c.left = c.leftover()
	cv.text("Glass, fitted to a photo of one lit pixel", c.x0, 32, 0, cv.title, ink)
	said := fmt.Sprintf("%s, %s; depth %v, one image pixel %.3g mm, LED %v wide, camera ", filepath.Base(p.Name), r.Channel, r.Depth, float64(r.Scale), r.Emitter)
	if r.Distance > 0 {
		said += fmt.Sprintf("%v away", r.Distance)
	} else {
		said += "far away"
	}
	for i, line := range cv.wrap(said, c.w, cv.small) {
		cv.text(line, c.x0, 54+float64(16*i), 0, cv.small, pale)
	}
	c.legend(90)
	c.ground()
	c.lines()
	c.points()
	c.inset(p)
	c.residuals()
	return cv.rgba(), nil
}

// radialChart is the plot: millimetres to the right, light upwards from
// leastLight to a little over the peak.
type radialChart struct {
	*canvas
	r            *photo.Result
	x0, w, y0, h float64
	y1, h1       float64 // of the plot below
	end          float64 // mm at the right edge
	left         float64 // of the peak, at the lower plot's upper edge
}

const (
	leastLight = 1e-3
	mostLight  = 1.6
	// Below it neither panes nor cameras follow a model.
	trusted = 0.01
)

func (c *radialChart) x(mm float64) float64 { return c.x0 + mm/c.end*c.w }
func (c *radialChart) y(light float64) float64 {
	v := math.Log(math.Max(light, leastLight)/leastLight) / math.Log(mostLight/leastLight)
	return c.y0 + c.h - math.Min(v, 1)*c.h
}

// reach is how far the plot goes: to where the fit leaves it below, or to the
// last ring.
func (c *radialChart) reach() float64 {
	last := c.r.Rings[len(c.r.Rings)-1].R
	for _, q := range c.r.Curve {
		if q.Fit < 1.2*leastLight {
			return math.Min(1.1*q.R, last)
		}
	}
	return last
}

// leftover is the lower plot's range: 1, 2, 5 or 10 % and so on.
func (c *radialChart) leftover() float64 {
	most := 0.005
	for _, q := range c.r.Rings {
		if q.Used && q.R <= c.end {
			most = math.Max(most, math.Abs(q.Value-q.Fit))
		}
	}
	return nice(most, 1)
}

func (c *radialChart) legend(y float64) {
	s := c.r.Scatter
	x := c.x0
	mark := func(draw func(x float64), words string, col color.Color) {
		c.SetFontFace(c.small)
		if w, _ := c.MeasureString(words); x > c.x0 && x+26+w > c.x0+c.w {
			x, y = c.x0, y+17
		}
		draw(x)
		x += 26
		x += c.text(words, x, y, 0, c.small, col) + 18
	}
	stroke := func(col color.Color, width float64, dash ...float64) func(float64) {
		return func(x float64) { c.SetDash(dash...); c.line(x, y-4, x+20, y-4, col, width); c.SetDash() }
	}
	mark(func(x float64) { c.dot(x+10, y-4) }, "rings of the photo (medians)", ink)
	mark(stroke(current, 2.4), fmt.Sprintf("fit: scatter %.1f deg (95 %%: %.1f to %.1f)", s.Value, s.Low, s.High), current)
	mark(stroke(opalInk, 1.6, 6, 4), "lobe", opalInk)
	mark(stroke(wanted, 1.6, 2, 3), fmt.Sprintf("Lambertian share %.2f (95 %%: %.2f to %.2f)", c.r.Lambertian.Value, c.r.Lambertian.Low, c.r.Lambertian.High), wanted)
}

func (c *radialChart) line(x0, y0, x1, y1 float64, col color.Color, width float64) {
	c.SetColor(col)
	c.SetLineWidth(width)
	c.DrawLine(x0, y0, x1, y1)
	c.Stroke()
}

func (c *radialChart) dot(x, y float64) {
	c.SetColor(ink)
	c.DrawCircle(x, y, 2)
	c.Fill()
}

// ground draws both plots' axes and what was left out.
func (c *radialChart) ground() {
	for _, p := range [][2]float64{{c.y0, c.h}, {c.y1, c.h1}} {
		c.SetColor(sheet)
		c.DrawRectangle(c.x0, p[0], c.w, p[1])
		c.Fill()
	}
	for _, v := range []float64{1, 0.1, 0.01, 0.001} {
		y := math.Round(c.y(v)) + 0.5
		c.line(c.x0, y, c.x0+c.w, y, rule, 1)
		c.text(fmt.Sprintf("%g %%", 100*v), c.x0-10, y+4, 1, c.small, pale)
	}
	c.SetDash(6, 5)
	c.line(c.x0, c.y(trusted), c.x0+c.w, c.y(trusted), wanted, 1)
	c.SetDash()
	out := 0.0
	for _, q := range c.r.Rings {
		if q.Used {
			break
		}
		out = q.R
	}
	if out > 0 {
		c.SetColor(mud)
		c.DrawRectangle(c.x0, c.y0, math.Min(c.x(out)-c.x0, c.w), c.h)
		c.DrawRectangle(c.x0, c.y1, math.Min(c.x(out)-c.x0, c.w), c.h1)
		c.Fill()
		word := "clipped"
		if c.r.Sharp {
			word = "sharp image, left out"
		}
		c.text("← "+word, c.x(out)+8, c.y0+34, 0, c.small, pale)
	}
	c.text("light, share of the peak", math.Min(c.x(out), c.x0+c.w/2)+8, c.y0+17, 0, c.small, pale)
	c.text("below 1 %: not to be trusted", c.x0+8, c.y0+c.h-9, 0, c.small, pale)
	step := nice(c.end, max(3, int(c.w/90)))
	for k := 0; float64(k)*step <= c.end; k++ {
		x := math.Round(c.x(float64(k)*step)) + 0.5
		c.line(x, c.y0+c.h, x, c.y0+c.h+5, rule, 1)
		c.line(x, c.y1+c.h1, x, c.y1+c.h1+5, rule, 1)
		c.text(fmt.Sprintf("%g", float64(k)*step), x, c.y1+c.h1+19, 0.5, c.small, pale)
	}
	c.text("mm from the middle of the spot", c.x0+c.w, c.y1+c.h1+38, 1, c.small, pale)
}

// lines draws the fit over its parts.
func (c *radialChart) lines() {
	draw := func(of func(*photo.Point) float64, col color.Color, width float64, dash ...float64) {
		c.SetColor(col)
		c.SetLineWidth(width)
		c.SetDash(dash...)
		for i := range c.r.Curve {
			q := &c.r.Curve[i]
			if v := of(q); q.R <= c.end && v >= leastLight {
				c.LineTo(c.x(q.R), c.y(v))
			}
		}
		c.Stroke()
		c.SetDash()
	}
	draw(func(q *photo.Point) float64 { return q.Lobe }, opalInk, 1.6, 6, 4)
	draw(func(q *photo.Point) float64 { return q.Lambert }, wanted, 1.6, 2, 3)
	draw(func(q *photo.Point) float64 { return q.Fit }, current, 2.4)
}

func (c *radialChart) points() {
	for _, q := range c.r.Rings {
		if q.Used && q.R <= c.end && q.Value >= leastLight {
			c.dot(c.x(q.R), c.y(q.Value))
		}
	}
}

// residuals draws value less fit, in shares of the peak.
func (c *radialChart) residuals() {
	at := func(v float64) float64 { return c.y1 + c.h1/2 - v/c.left*c.h1/2 }
	for _, v := range []float64{-c.left, 0, c.left} {
		y := math.Round(at(v)) + 0.5
		c.line(c.x0, y, c.x0+c.w, y, rule, 1)
		words := fmt.Sprintf("%+g %%", 100*v)
		if v == 0 {
			words = "0"
		}
		c.text(words, c.x0-10, y+4, 1, c.small, pale)
	}
	for _, q := range c.r.Rings {
		if q.Used && q.R <= c.end {
			c.dot(c.x(q.R), at(q.Value-q.Fit))
		}
	}
	c.text(fmt.Sprintf("photo less fit, share of the peak; %.2g %% rms over all rings", 100*c.r.Residual), c.x0, c.y1-10, 0, c.small, pale)
}

// inset shows the spot as it is in the photo, with its middle and the circle of
// half height.
func (c *radialChart) inset(p *photo.Picture) {
	const size = 150
	half := c.end
	for _, q := range c.r.Curve {
		if q.Fit < 0.5 {
			half = q.R
			break
		}
	}
	across := 5 * half // mm
	if across/float64(c.r.Scale) < 20 {
		across = 20 * float64(c.r.Scale)
	}
	x, y := c.x0+c.w-size-14, c.y0+14
	c.SetColor(ground)
	c.DrawRectangle(x-2, y-2, size+4, size+22)
	c.Fill()
	img := p.Thumbnail(c.r.X, c.r.Y, across/2/float64(c.r.Scale), size)
	c.DrawImage(img, int(x), int(y))
	c.SetLineWidth(1)
	c.SetColor(limit)
	mx, my := math.Floor(x)+size/2, math.Floor(y)+size/2
	c.DrawCircle(mx, my, half/across*size)
	c.Stroke()
	c.line(mx-4, my, mx+4, my, limit, 1)
	c.line(mx, my-4, mx, my+4, limit, 1)
	c.text(fmt.Sprintf("%.2g mm; circle: half height", across), x+size/2, y+size+14, 0.5, c.small, pale)
}
