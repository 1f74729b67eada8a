//go:build display

package view

import (
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/hajimehoshi/ebiten/v2"
	"github.com/stretchr/testify/require"

	"paneglow/preview/model"
)

// The shader's picture equals that of its twin to within one code in nearly every
// pixel. It cannot be equal in all: the shader counts in float32 and its pow is the
// graphics driver's, so a value close to the border between two codes, or a place
// close to the border between two cells of the grid, may fall on the other side;
// GLSL ES asks of pow no more than what exp2 and log2 leave of it. Two codes is
// what the test grants a pixel, a tenth of a code the mean.
const (
	mostApart = 2
	meanApart = 0.1
)

func TestGlassEqualsItsTwin(t *testing.T) {
	for _, c := range []struct {
		name  string
		light *model.Light
		at    image.Rectangle
	}{
		{"blobs, larger than the grid", blobs(41, 97, 1), image.Rect(0, 0, 300, 760)},
		{"blobs, smaller than the grid", blobs(120, 90, 2), image.Rect(7, 3, 70, 60)},
		{"beyond the grid's edges", func() *model.Light {
			l := blobs(20, 20, 3)
			l.X, l.Y, l.SpanX, l.SpanY = -4, -6, 30, 33
			return l
		}(), image.Rect(50, 60, 230, 240)},
		{"over white", func() *model.Light {
			l := blobs(30, 30, 4)
			l.Exposure = 0.2
			return l
		}(), image.Rect(0, 0, 200, 200)},
		{"faint", func() *model.Light {
			l := blobs(30, 30, 5)
			l.Exposure = 300
			l.Room = [3]float32{0.1, 0.1, 0.1}
			return l
		}(), image.Rect(1, 1, 201, 201)},
		{"below zero", func() *model.Light {
			l := blobs(30, 30, 6)
			l.Least = 0.4
			return l
		}(), image.Rect(0, 0, 150, 150)},
		{"one point", blobs(1, 1, 7), image.Rect(0, 0, 16, 16)},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := shot(c.at.Max, func(screen *ebiten.Image) {
				var g glass
				g.draw(screen, c.light, c.at)
			})
			want := model.Twin(c.light, c.at.Dx(), c.at.Dy())
			compare(t, want, got, c.at.Min)
		})
	}
}

// Black, white and what is between come out as sRGB has them, through the whole
// way up: codes worked out by hand from IEC 61966-2-1, among them duty 0.5, which
// shows as 188.
func TestGlassShowsKnownCodes(t *testing.T) {
	for _, c := range []struct {
		light float64
		code  uint8
	}{{0, 0}, {1, 255}, {0.5, 188}, {0.2140411, 128}, {0.0030353, 10}, {7, 255}} {
		t.Run(fmt.Sprint(c.light), func(t *testing.T) {
			l := &model.Light{W: 2, H: 2, Codes: make([]uint16, 12), Most: 8, SpanX: 1, SpanY: 1, Exposure: 1, Version: 1}
			for i := range l.Codes {
				l.Codes[i] = uint16(math.Round(c.light / 8 * math.MaxUint16))
			}
			got := shot(image.Pt(16, 16), func(screen *ebiten.Image) {
				var g glass
				g.draw(screen, l, image.Rect(0, 0, 16, 16))
			})
			// The dither's mean is the value: half a step up and down.
			sum := 0
			for i := 0; i < len(got.Pix); i += 4 {
				require.LessOrEqual(t, math.Abs(float64(got.Pix[i])-float64(c.code)), 1.0)
				sum += int(got.Pix[i])
			}
			require.InDelta(t, float64(c.code), float64(sum)/256, 0.5)
			require.EqualValues(t, 255, got.Pix[3])
		})
	}
}

// The low bytes count: a light whose high bytes are all the same still has a shape.
func TestGlassReadsLowBytes(t *testing.T) {
	l := &model.Light{W: 64, H: 4, Codes: make([]uint16, 64*4*3), Most: 100, SpanX: 60, X: 2, Y: 1, SpanY: 1, Exposure: 0.4, Version: 1}
	for i := range l.Codes {
		l.Codes[i] = uint16(4 * (i / 3 % 64)) // up to 252 of 65535
	}
	got := shot(image.Pt(240, 8), func(screen *ebiten.Image) {
		var g glass
		g.draw(screen, l, image.Rect(0, 0, 240, 8))
	})
	require.Less(t, got.Pix[0], uint8(70))
	require.Greater(t, got.Pix[4*239], uint8(235))
	compare(t, model.Twin(l, 240, 8), got, image.Point{})
}

// A new version goes up, on the same grid and on another.
func TestGlassFollowsVersions(t *testing.T) {
	l := blobs(20, 30, 9)
	var g glass
	for i := range 3 {
		if i == 1 {
			for j := range l.Codes {
				l.Codes[j] = 65535 - l.Codes[j]
			}
		}
		if i == 2 {
			*l = *blobs(31, 17, 10)
		}
		l.Version = i
		got := shot(image.Pt(90, 110), func(screen *ebiten.Image) { g.draw(screen, l, screen.Bounds()) })
		compare(t, model.Twin(l, 90, 110), got, image.Point{})
	}
}

// shot is a picture of what is drawn.
func shot(size image.Point, draw func(*ebiten.Image)) *image.RGBA {
	screen := ebiten.NewImage(size.X, size.Y)
	defer screen.Deallocate()
	draw(screen)
	img := image.NewRGBA(screen.Bounds())
	screen.ReadPixels(img.Pix)
	return img
}

func compare(t *testing.T, want, got *image.RGBA, at image.Point) {
	t.Helper()
	b := want.Bounds()
	most, sum, worst := 0, 0, image.Point{}
	for y := range b.Dy() {
		for x := range b.Dx() {
			w, g := want.RGBAAt(x, y), got.RGBAAt(x+at.X, y+at.Y)
			for _, d := range [3]int{int(w.R) - int(g.R), int(w.G) - int(g.G), int(w.B) - int(g.B)} {
				d = max(d, -d)
				sum += d
				if d > most {
					most, worst = d, image.Pt(x, y)
				}
			}
			require.Equal(t, w.A, g.A)
		}
	}
	mean := float64(sum) / float64(3*b.Dx()*b.Dy())
	t.Logf("%d x %d pixels: at most %d codes apart, at %v; mean %.5f", b.Dx(), b.Dy(), most, worst, mean)
	require.LessOrEqual(t, most, mostApart, "at %v: want %v, got %v", worst, want.RGBAAt(worst.X, worst.Y), got.RGBAAt(worst.X+at.X, worst.Y+at.Y))
	require.Less(t, mean, meanApart)
}

// blobs is a light of a few soft colours on a grid, with a dark part.
func blobs(w, h int, seed uint64) *model.Light {
	r := rand.New(rand.NewPCG(seed, 1))
	v := make([]float64, 3*w*h)
	for range 12 {
		cx, cy, s := r.Float64()*float64(w), r.Float64()*float64(h), 1+r.Float64()*float64(w)/8
		for i := range v {
			x, y := float64(i/3%w), float64(i/3/w)
			v[i] += r.Float64()*0.02 + math.Exp(-((x-cx)*(x-cx)+(y-cy)*(y-cy))/(2*s*s))*[3]float64{r.Float64(), 0.7, 0.4}[i%3]
		}
	}
	most := 0.0
	for _, x := range v {
		most = max(most, x)
	}
	l := &model.Light{W: w, H: h, Codes: make([]uint16, len(v)), Most: float32(most), SpanX: float64(w) - 3, SpanY: float64(h) - 3, X: 1, Y: 1, Exposure: float32(most) * 0.8, Version: 1}
	for i, x := range v {
		l.Codes[i] = uint16(math.Round(x / most * math.MaxUint16))
	}
	return l
}
