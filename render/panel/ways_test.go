package panel

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Two well-known other ways to fill a field, to be measured against.

// matrix is every LED's influence on every point within a radius, row by row.
type matrix struct {
	first []int32
	spans []span
	w     []float32
}

func newMatrix(g *Glass, f *Field, cut float64) *matrix {
	m := &matrix{first: []int32{0}}
	s := g.strips[0]
	d := s.depth
	for i := range g.layout.LEDs {
		led := &g.layout.LEDs[i]
		for y := range f.H {
			dy := float64(y)*f.Step - led.Y
			half := cut*d*cut*d - dy*dy
			if half < 0 {
				continue
			}
			half = math.Sqrt(half)
			lo := max(0, int(math.Ceil((led.X-half)/f.Step)))
			hi := min(f.W, int((led.X+half)/f.Step)+1)
			if lo >= hi {
				continue
			}
			m.spans = append(m.spans, span{at: int32(y*f.W + lo), n: int32(hi - lo), weight: int32(len(m.w))})
			for x := lo; x < hi; x++ {
				m.w = append(m.w, float32(s.at(float64(x)*f.Step-led.X, dy)))
			}
		}
		m.first = append(m.first, int32(len(m.spans)))
	}
	return m
}

func (m *matrix) shine(g *Glass, f *Field, codes []uint8) {
	clear(f.XYZ)
	for i := range g.layout.LEDs {
		l, lit := g.lightOf(int32(i), codes)
		if !lit {
			continue
		}
		a, b, c := l[0], l[1], l[2]
		for _, sp := range m.spans[m.first[i]:m.first[i+1]] {
			w := m.w[sp.weight : sp.weight+sp.n]
			row := f.XYZ[sp.at : sp.at+sp.n]
			row = row[:len(w)]
			for x, k := range w {
				p := &row[x]
				p[0] += k * a
				p[1] += k * b
				p[2] += k * c
			}
		}
	}
}

// transform is the convolution theorem: LEDs are shared out to the four points
// around them, the grid is padded to twice its size, and the kernel is a
// product of spectra.
type transform struct {
	w, h   int // padded
	rows   *fourier.FFT
	cols   *fourier.CmplxFFT
	kernel []float64 // real: the kernel is even
	grid   []float64
	spec   []complex128
	column []complex128
}

func newTransform(g *Glass, f *Field) *transform {
	t := &transform{w: 2 * f.W, h: 2 * f.H}
	t.rows, t.cols = fourier.NewFFT(t.w), fourier.NewCmplxFFT(t.h)
	n := t.w/2 + 1
	t.grid, t.spec, t.column = make([]float64, t.w*t.h), make([]complex128, n*t.h), make([]complex128, t.h)
	s := g.strips[0]
	for y := range t.h {
		for x := range t.w {
			dx, dy := min(x, t.w-x), min(y, t.h-y)
			t.grid[y*t.w+x] = s.at(f.Step*float64(dx), f.Step*float64(dy)) / float64(t.w*t.h)
		}
	}
	t.forward()
	t.kernel = make([]float64, len(t.spec))
	for i, v := range t.spec {
		t.kernel[i] = real(v)
	}
	return t
}

func (t *transform) forward() {
	n := t.w/2 + 1
	for y := range t.h {
		t.rows.Coefficients(t.spec[y*n:(y+1)*n], t.grid[y*t.w:(y+1)*t.w])
	}
	for x := range n {
		for y := range t.h {
			t.column[y] = t.spec[y*n+x]
		}
		t.cols.Coefficients(t.column, t.column)
		for y := range t.h {
			t.spec[y*n+x] = t.column[y]
		}
	}
}

func (t *transform) shine(g *Glass, f *Field, codes []uint8) {
	n := t.w/2 + 1
	for k := range 3 {
		clear(t.grid)
		for i := range g.layout.LEDs {
			l, lit := g.lightOf(int32(i), codes)
			if !lit {
				continue
			}
			u, v := g.layout.LEDs[i].X/f.Step, g.layout.LEDs[i].Y/f.Step
			x, y := int(u), int(v)
			a, b := u-float64(x), v-float64(y)
			at := y*t.w + x
			t.grid[at] += (1 - a) * (1 - b) * float64(l[k])
			t.grid[at+1] += a * (1 - b) * float64(l[k])
			t.grid[at+t.w] += (1 - a) * b * float64(l[k])
			t.grid[at+t.w+1] += a * b * float64(l[k])
		}
		t.forward()
		for i := range t.spec {
			t.spec[i] *= complex(t.kernel[i], 0)
		}
		for x := range n {
			for y := range t.h {
				t.column[y] = t.spec[y*n+x]
			}
			t.cols.Sequence(t.column, t.column)
			for y := range t.h {
				t.spec[y*n+x] = t.column[y]
			}
		}
		for y := range f.H {
			row := t.grid[y*t.w : (y+1)*t.w]
			t.rows.Sequence(row, t.spec[y*n:(y+1)*n])
			for x := range f.W {
				f.XYZ[y*f.W+x][k] = float32(row[x])
			}
		}
	}
}
