package safety

import (
	"fmt"
	"slices"

	"paneglow/anim/color"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/render/drive"
)

// Eye turns codes into the light of the panel's regions. It is immutable.
type Eye struct {
	layout  *layout.Layout
	dies    [][4][3]float64 // by part: XYZ of each die at code 1, white Y = 1
	regions []string        // the panel, then each strip
	visible []int           // pixels of each region
}

// NewEye prepares a machine that its file's checks have passed.
func NewEye(m *show.Machine, l *layout.Layout) (*Eye, error) {
	var dies [][4][3]float64
	for i := range m.Parts {
		p := &m.Parts[i]
		d, err := drive.Relative(p)
		if err != nil {
			return nil, fmt.Errorf("part %q: %w", p.Name, err)
		}
		dies = append(dies, d)
	}
	return newEye(l, dies), nil
}

// NewPlainEye prepares a panel whose dies nobody has described: they are taken for
// the primaries of sRGB (IEC 61966-2-1), a white die for its white point, so that
// red, green and blue together are the white of Y = 1.
func NewPlainEye(l *layout.Layout, parts int) *Eye {
	var d [4][3]float64
	for c := range d {
		light := [3]float64{1, 1, 1}
		if c < 3 {
			light = [3]float64{}
			light[c] = 1
		}
		d[c] = color.XYZFromLinear(light)
	}
	return newEye(l, slices.Repeat([][4][3]float64{d}, parts))
}

// newEye takes each part's dies at full duty.
func newEye(l *layout.Layout, dies [][4][3]float64) *Eye {
	e := &Eye{layout: l, regions: []string{"panel"}, visible: make([]int, 1+len(l.Strips)), dies: dies}
	for i := range e.dies {
		d := &e.dies[i]
		for c := range d {
			for k := range d[c] {
				d[c][k] /= 255
			}
		}
	}
	for i := range l.Strips {
		e.regions = append(e.regions, fmt.Sprintf("strip %q", l.Strips[i].Name))
	}
	for i := range l.Pixels {
		if p := &l.Pixels[i]; !p.Hidden && !p.Missing {
			e.visible[0]++
			e.visible[1+p.Strip]++
		}
	}
	return e
}

// Track is a sequence of frames as the regions' mean light and every pixel's
// luminance.
type Track struct {
	eye    *Eye
	frames int
	xyz    [][3]float64 // frames x regions
	looks  []colour     // of xyz
	y      []float32    // frames x pixels
}

// Track looks at a sequence of frames; codes gives frame 0..frames-1.
func (e *Eye) Track(frames int, codes func(f int) []uint8) *Track {
	n, px := len(e.regions), len(e.layout.Pixels)
	t := &Track{eye: e, frames: frames, xyz: make([][3]float64, frames*n), looks: make([]colour, frames*n), y: make([]float32, frames*px)}
	for f := range frames {
		row, y := t.xyz[f*n:(f+1)*n], t.y[f*px:(f+1)*px]
		c := codes(f)
		for i := range e.layout.Pixels {
			p := &e.layout.Pixels[i]
			if p.Hidden || p.Missing {
				continue
			}
			s := &e.layout.Strips[p.Strip]
			dies := &e.dies[s.Part]
			var v [3]float64
			for d, code := range c[p.Offset : p.Offset+s.Dies] {
				for k := range v {
					v[k] += float64(float64(code) * dies[d][k])
				}
			}
			y[i] = float32(v[1])
			for k := range v {
				row[0][k] += v[k]
				row[1+p.Strip][k] += v[k]
			}
		}
		for r := range row {
			for k := range row[r] {
				row[r][k] /= float64(max(1, e.visible[r]))
			}
			t.looks[f*n+r] = look(row[r])
		}
	}
	return t
}

// look is a region's colour for the red rule.
func look(x [3]float64) colour {
	l := color.LinearFromXYZ(x)
	r, g, b := max(l[0], 0), max(l[1], 0), max(l[2], 0)
	if max(r, g, b) < black {
		return colour{dark: true}
	}
	d := x[0] + float64(15*x[1]) + float64(3*x[2])
	return colour{ratio: r / (r + g + b), u: 4 * x[0] / d, v: 9 * x[1] / d}
}

// Result is the worst second of one region.
type Result struct {
	Region       string
	General, Red int // flashes within the worst second
	GeneralAt    int // frame at which that second's first transition stands
	RedAt        int
}

// Worst is the larger of both counts, and where.
func (r Result) Worst() (flashes, at int, kind string) {
	if r.Red > r.General {
		return r.Red, r.RedAt, "red"
	}
	return r.General, r.GeneralAt, "general"
}

// Loop counts the flashes of a clip that repeats: every second of it, the one
// over the seam included. Regions stand in the order panel, strips, quarter.
func (t *Track) Loop(fps int) []Result {
	return t.count(fps, max(t.frames+fps, 2*fps), true)
}

// Once counts the flashes of a sequence that does not repeat.
func (t *Track) Once(fps int) []Result { return t.count(fps, t.frames, true) }

func (t *Track) count(fps, length int, quarter bool) []Result {
	var out []Result
	n := len(t.eye.regions)
	for r, name := range t.eye.regions {
		if t.eye.visible[r] == 0 {
			continue
		}
		out = append(out, scan(name, fps, length, func(f int) (float64, *colour) {
			at := (f%t.frames)*n + r
			return t.xyz[at][1], &t.looks[at]
		}))
	}
	if quarter {
		out = append(out, t.quarter(fps, length))
	}
	return out
}

// scan follows one region through a sequence.
func scan(name string, fps, length int, at func(f int) (y float64, c *colour)) Result {
	var s swing
	var b blush
	var general, red window
	for f := range length {
		y, c := at(f)
		if s.add(y) {
			general.add(f, fps)
		}
		if b.add(*c) {
			red.add(f, fps)
		}
	}
	return Result{Region: name, General: general.flashes(), GeneralAt: general.begin, Red: red.flashes(), RedAt: red.begin}
}

// quarter finds the flashes that at least a quarter of the visible pixels make
// within one second: for each frame, the flashes in the second that ends there,
// by pixel, in a histogram.
func (t *Track) quarter(fps, length int) Result {
	px := len(t.eye.layout.Pixels)
	need := (t.eye.visible[0] + 3) / 4
	out := Result{Region: "a quarter of the panel"}
	if need == 0 {
		return out
	}
	hits := make([]bool, length*px) // transitions
	for i := range px {
		var s swing
		for f := range length {
			hits[f*px+i] = s.add(float64(t.y[(f%t.frames)*px+i]))
		}
	}
	within := make([]int, px) // transitions of each pixel in the window
	histogram := make([]int, fps+2)
	histogram[0] = px
	move := func(i, by int) {
		histogram[within[i]]--
		within[i] += by
		histogram[within[i]]++
	}
	for f := range length {
		for i, h := range hits[f*px : (f+1)*px] {
			if h {
				move(i, 1)
			}
		}
		if f >= fps {
			for i, h := range hits[(f-fps)*px : (f-fps+1)*px] {
				if h {
					move(i, -1)
				}
			}
		}
		for some, n := 0, len(histogram)-1; n >= 2; n-- {
			if some += histogram[n]; some >= need {
				if n/2 > out.General {
					out.General, out.GeneralAt = n/2, max(0, f-fps+1)
				}
				break
			}
		}
	}
	return out
}

// Joint counts the flashes of going from one clip to another at the worst
// moment: every frame of the first is tried as the last one before the change.
// fade is the length of a crossfade in frames (0: a cut), mixed as the player
// mixes it: from the frozen last frame, linearly in codes. The second clip is
// followed until a second after the hand-over.
func Joint(from, to *Track, fps, fade int) []Result {
	var out []Result
	n := len(from.eye.regions)
	tail := fade + fps
	for r, name := range from.eye.regions {
		if from.eye.visible[r] == 0 {
			continue
		}
		worst := Result{Region: name}
		var mixed colour
		for last := range from.frames {
			frozen := &from.xyz[last*n+r]
			res := scan(name, fps, fps+tail, func(f int) (float64, *colour) {
				if f < fps {
					k := (last - fps + 1 + f) % from.frames
					if k < 0 {
						k += from.frames
					}
					return from.xyz[k*n+r][1], &from.looks[k*n+r]
				}
				g := f - fps
				at := (g%to.frames)*n + r
				if g >= fade {
					return to.xyz[at][1], &to.looks[at]
				}
				x, w := to.xyz[at], float64(g+1)/float64(fade+1)
				for k := range x {
					x[k] = float64(frozen[k]*(1-w)) + float64(x[k]*w)
				}
				mixed = look(x)
				return x[1], &mixed
			})
			if res.General > worst.General {
				worst.General, worst.GeneralAt = res.General, last
			}
			if res.Red > worst.Red {
				worst.Red, worst.RedAt = res.Red, last
			}
		}
		out = append(out, worst)
	}
	return out
}
