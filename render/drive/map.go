// Package drive turns design light into the duty of each LED die, and duty
// into codes.
//
// In: color.Light, linear sRGB with 1 for the show's white. Out: one float32 a
// die, 0..1 duty, before rounding, in the order R, G, B[, W] of each pixel in
// data order; then, by Round, one byte a die. The matrix of a part comes from
// its dies' wavelengths and intensities through the CIE 1931 observer, so that
// a design white comes out as D65 on the strip: the brightest D65 white that the
// three coloured dies can make is 1. A white die carries what it can of each
// color. Parts are not matched to each other in brightness: a
// stretch's gain does that.
//
// Light outside what the dies can make is clipped die by die and counted. What
// is refused: a part whose three dies lie on one line of the chromaticity
// diagram, or whose dies cannot make D65 at all.
package drive

import (
	"fmt"

	"paneglow/anim/color"
	"paneglow/anim/layout"
	"paneglow/anim/show"
)

// Map turns the light of one layout into drives. It is immutable.
type Map struct {
	parts  []matrix // by part
	runs   []run
	factor []float32 // per channel, from stretches; nil when all are 1
	n      int       // channels
}

// matrix is one part's linear light to RGB drive, and its white die.
type matrix struct {
	m     [9]float32
	white bool
	w     [3]float32 // the white die at full duty, as RGB drives
}

// run is a strip, or its share of it, that uses one matrix.
type run struct {
	part, first, count, offset int
	skip                       []bool // hidden or missing, nil when none is
}

// NewMap prepares a machine's layout.
func NewMap(m *show.Machine, l *layout.Layout) (*Map, error) {
	d := &Map{n: l.Channels()}
	for i := range m.Parts {
		mx, err := newMatrix(&m.Parts[i])
		if err != nil {
			return nil, fmt.Errorf("part %q: %w", m.Parts[i].Name, err)
		}
		d.parts = append(d.parts, mx)
	}
	ones := make([]float32, d.n)
	for i := range ones {
		ones[i] = 1
	}
	changed := false
	for si := range l.Strips {
		s := &l.Strips[si]
		r := run{part: s.Part, first: s.First, count: s.Count}
		if s.Count > 0 {
			r.offset = l.Pixels[s.First].Offset
		}
		for k := range s.Count {
			if p := &l.Pixels[s.First+k]; p.Hidden || p.Missing {
				if r.skip == nil {
					r.skip = make([]bool, s.Count)
				}
				r.skip[k] = true
			}
		}
		d.runs = append(d.runs, r)
		for _, st := range stretches(m, s.Name) {
			for k := max(st.From, 0); k <= st.To && k < s.Count; k++ {
				o := l.Pixels[s.First+k].Offset
				for c := range s.Dies {
					f := st.Gain
					if c < 3 {
						f = float64(f * st.White[c])
					}
					ones[o+c] *= float32(f)
					changed = changed || ones[o+c] != 1
				}
			}
		}
	}
	if changed {
		d.factor = ones
	}
	return d, nil
}

func stretches(m *show.Machine, strip string) []show.Stretch {
	for i := range m.Strips {
		if m.Strips[i].Name == strip {
			return m.Strips[i].Stretches
		}
	}
	return nil
}

// Channels is the length of a frame of drives.
func (d *Map) Channels() int { return d.n }

// Factors is what stretches multiply each channel's duty by, or nil when no
// channel is changed. It must not be written to.
func (d *Map) Factors() []float32 { return d.factor }

// Apply turns one frame of light into drives. len(src) is the layout's pixels,
// len(dst) is Channels, else it panics. Hidden and missing pixels get 0. It
// returns how many pixels left the dies' gamut or went over full by more than
// 0.2 % and were clipped. It allocates nothing.
func (d *Map) Apply(dst []float32, src []color.Light) (clipped int) {
	if len(dst) != d.n {
		panic("drive: Apply wants one drive a channel")
	}
	for i := range d.runs {
		r := &d.runs[i]
		p := &d.parts[r.part]
		light := src[r.first : r.first+r.count]
		if p.white {
			clipped += p.apply4(dst[r.offset:r.offset+4*r.count], light)
		} else {
			clipped += p.apply3(dst[r.offset:r.offset+3*r.count], light)
		}
		for k, skip := range r.skip {
			if skip {
				dies := 3
				if p.white {
					dies = 4
				}
				clear(dst[r.offset+k*dies : r.offset+(k+1)*dies])
			}
		}
	}
	if d.factor != nil {
		for i, f := range d.factor {
			dst[i] = min(dst[i]*f, 1)
		}
	}
	return clipped
}

const tolerance = 0.002 // of full duty: half a code

// clip brings a drive into 0..1.
func clip(v float32) float32 { return min(max(v, 0), 1) }

func outside(a, b, c float32) int {
	if min(a, b, c) < -tolerance || max(a, b, c) > 1+tolerance {
		return 1
	}
	return 0
}

func (p *matrix) rgb(l *color.Light) (r, g, b float32) {
	m := &p.m
	r = float32(m[0]*l[0]) + float32(m[1]*l[1]) + float32(m[2]*l[2])
	g = float32(m[3]*l[0]) + float32(m[4]*l[1]) + float32(m[5]*l[2])
	b = float32(m[6]*l[0]) + float32(m[7]*l[1]) + float32(m[8]*l[2])
	return
}

func (p *matrix) apply3(dst []float32, src []color.Light) (clipped int) {
	for i := range src {
		r, g, b := p.rgb(&src[i])
		if min(r, g, b) < 0 || max(r, g, b) > 1 {
			clipped += outside(r, g, b)
			r, g, b = clip(r), clip(g), clip(b)
		}
		d := dst[3*i : 3*i+3 : 3*i+3]
		d[0], d[1], d[2] = r, g, b
	}
	return clipped
}

// apply4 lets the white die carry as much as it can.
func (p *matrix) apply4(dst []float32, src []color.Light) (clipped int) {
	for i := range src {
		r, g, b := p.rgb(&src[i])
		w := float32(1)
		for c, v := range [3]float32{r, g, b} {
			if p.w[c] > 0 {
				w = min(w, v/p.w[c])
			}
		}
		w = max(w, 0)
		r -= float32(w * p.w[0])
		g -= float32(w * p.w[1])
		b -= float32(w * p.w[2])
		clipped += outside(r, g, b)
		d := dst[4*i : 4*i+4 : 4*i+4]
		d[0], d[1], d[2], d[3] = clip(r), clip(g), clip(b), w
	}
	return clipped
}
