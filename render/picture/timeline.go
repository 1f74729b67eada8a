package picture

import (
	"fmt"
	"image"
	"math"

	"paneglow/anim/layout"
)

// Clip is what a timeline shows: frames as they were latched.
type Clip struct {
	Title   string
	FPS     float64
	Frames  [][]uint8
	Current []int64 // of every frame, microamperes
	Wanted  []int64 // before the cap; nil or equal: not drawn
	Budget  int64   // microamperes
	Note    string  // one line under the title
	Value   bool    // frame = value: the axis counts values instead of seconds
}

// Timeline draws a clip as one picture: time runs right, each strip is a band
// whose pixels stand as on the panel (up for a column, left to right upwards
// for a row), and under the bands the current with the budget on the same time
// axis.
func Timeline(p *Paint, c Clip, width int) (*image.RGBA, error) {
	if len(c.Frames) == 0 || len(c.Current) != len(c.Frames) {
		return nil, fmt.Errorf("a timeline needs at least 1 frame, each with its current")
	}
	if width < 480 || width > 6000 {
		return nil, fmt.Errorf("a timeline %d pixels wide is outside 480 to 6000", width)
	}
	const (
		left, right = 92.0, 24.0
		top         = 64.0
		gap         = 12.0
		chart       = 170.0
		axis        = 46.0
	)
	l := p.layout
	dot := bandDot(l)
	bands := 0.0
	for i := range l.Strips {
		bands += float64(l.Strips[i].Count)*dot + gap
	}
	cv, err := newCanvas(width, int(top+bands+chart+axis), 1)
	if err != nil {
		return nil, err
	}
	cv.text(c.Title, left, 28, 0, cv.title, ink)
	cv.text(c.Note, left, 49, 0, cv.small, pale)
	plot := float64(width) - left - right
	y := top
	for i := range l.Strips {
		y += drawBand(cv, p, &c, i, left, y, plot, dot) + gap
	}
	drawCurrent(cv, &c, left, y, plot, chart)
	drawTime(cv, &c, left, y+chart, plot, top)
	return cv.rgba(), nil
}

// bandDot is the height of one pixel in a band: as large as keeps all bands
// under about 620 pixels, between 1 and 12.
func bandDot(l *layout.Layout) float64 {
	n := 0
	for i := range l.Strips {
		n += l.Strips[i].Count
	}
	return math.Min(math.Max(math.Floor(620/float64(max(n, 1))), 1), 12)
}

// upwards tells whether a strip's first pixel stands at the bottom of its band.
func upwards(l *layout.Layout, strip int) bool {
	s := &l.Strips[strip]
	if s.Count < 2 {
		return true
	}
	a, b := &l.Pixels[s.First], &l.Pixels[s.First+s.Count-1]
	if math.Abs(b.Y-a.Y) >= math.Abs(b.X-a.X) {
		return b.Y >= a.Y
	}
	return b.X >= a.X
}

func drawBand(cv *canvas, p *Paint, c *Clip, strip int, x0, y0, w, dot float64) float64 {
	s := &p.layout.Strips[strip]
	img := cv.rgba()
	h := float64(s.Count) * dot
	up := upwards(p.layout, strip)
	for x := range int(w) {
		// Each column is the mean light of the frames it covers.
		f0 := int(float64(x) * float64(len(c.Frames)) / w)
		f1 := max(f0+1, int(float64(x+1)*float64(len(c.Frames))/w))
		f1 = min(f1, len(c.Frames))
		for k := range s.Count {
			var r, g, b float32
			for f := f0; f < f1; f++ {
				fr, fg, fb := p.Light(s.First+k, c.Frames[f])
				r, g, b = r+fr, g+fg, b+fb
			}
			n := float32(f1 - f0)
			row := k
			if up {
				row = s.Count - 1 - k
			}
			for dy := range int(dot) {
				screen(img, int(x0)+x, int(y0)+row*int(dot)+dy, r/n, g/n, b/n)
			}
		}
	}
	cv.SetColor(rule)
	cv.SetLineWidth(1)
	cv.DrawRectangle(x0-0.5, y0-0.5, math.Floor(w)+1, h+1)
	cv.Stroke()
	cv.text(s.Name, x0-12, y0+h/2, 1, cv.normal, ink)
	cv.text(fmt.Sprintf("%d px", s.Count), x0-12, y0+h/2+16, 1, cv.small, pale)
	return h
}

// nice is a step of 1, 2 or 5 times a power of ten that divides a range into at
// most n parts.
func nice(span float64, n int) float64 {
	raw := span / float64(n)
	p := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*p >= raw*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

func drawCurrent(cv *canvas, c *Clip, x0, y0, w, h float64) {
	most := float64(c.Budget)
	for i := range c.Current {
		most = math.Max(most, float64(c.Current[i]))
		if c.Wanted != nil {
			most = math.Max(most, float64(c.Wanted[i]))
		}
	}
	most = math.Max(most/1e6*1.12, 0.01) // amperes, with room for the budget's label
	step := nice(most, 4)
	at := func(amps float64) float64 { return y0 + h - amps/most*(h-24) } // the legend stands above
	cv.SetColor(sheet)
	cv.DrawRectangle(x0, y0, w, h)
	cv.Fill()
	digits := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	for v := 0.0; v <= most; v += step {
		cv.SetColor(rule)
		cv.SetLineWidth(1)
		cv.DrawLine(x0, math.Round(at(v))+0.5, x0+w, math.Round(at(v))+0.5)
		cv.Stroke()
		if at(v) > y0+6 {
			cv.text(fmt.Sprintf("%.*f A", digits, v), x0-12, at(v)+4, 1, cv.small, pale)
		}
	}
	line := func(v []int64, width float64) {
		for i, ua := range v {
			xa, xb := x0+float64(i)*w/float64(len(v)), x0+float64(i+1)*w/float64(len(v))
			y := at(float64(ua) / 1e6)
			if i == 0 {
				cv.MoveTo(xa, y)
			}
			cv.LineTo(xa, y)
			cv.LineTo(xb, y)
		}
		cv.SetLineWidth(width)
		cv.Stroke()
	}
	if c.Wanted != nil {
		cv.SetColor(wanted)
		line(c.Wanted, 1.2)
	}
	cv.SetColor(current)
	line(c.Current, 2)
	by := at(float64(c.Budget) / 1e6)
	cv.SetColor(limit)
	cv.SetLineWidth(1.5)
	cv.SetDash(7, 5)
	cv.DrawLine(x0, by, x0+w, by)
	cv.Stroke()
	cv.SetDash()
	cv.text(fmt.Sprintf("budget %s A", trim(float64(c.Budget)/1e6)), x0+w-6, by-5, 1, cv.small, limit)
	legend := x0 + 8
	cv.SetColor(current)
	legend += cv.text("current", legend, y0+16, 0, cv.small, current) + 14
	if c.Wanted != nil {
		cv.text("wanted before the cap", legend, y0+16, 0, cv.small, wanted)
	}
}

// trim prints amperes with at most three decimals.
func trim(a float64) string {
	s := fmt.Sprintf("%.3f", a)
	for s[len(s)-1] == '0' {
		s = s[:len(s)-1]
	}
	if s[len(s)-1] == '.' {
		s = s[:len(s)-1]
	}
	return s
}

func drawTime(cv *canvas, c *Clip, x0, y0, w, top float64) {
	seconds, unit, name := float64(len(c.Frames))/c.FPS, " s", "time"
	if c.Value {
		seconds, unit, name = float64(len(c.Frames)), "", "value"
	}
	step := nice(seconds, max(2, int(w/90)))
	digits := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	for k := 0; ; k++ {
		t := float64(k) * step
		if t > seconds*(1+1e-9) {
			break
		}
		x := math.Round(x0+t/seconds*w) + 0.5
		cv.SetColor(rule)
		cv.SetLineWidth(1)
		cv.DrawLine(x, y0, x, y0+6)
		cv.Stroke()
		ax := 0.5
		if x > x0+w-24 {
			ax = 1
		}
		cv.text(fmt.Sprintf("%.*f%s", digits, t, unit), x, y0+20, ax, cv.small, pale)
	}
	cv.text(name, x0-30, y0+20, 1, cv.small, pale)
}
