package panel

import (
	"fmt"
	"image"
	"math"
	"sync"

	"paneglow/anim/color"
)

// Screen turns frames into 8-bit pictures of the whole panel, the top row at the
// panel's upper edge. It serves one goroutine.
//
// White on the screen is Exposure. Without Adapt a colour is shown as it is
// measured; with it, as an eye sees it that has settled on a white. Light above it is drawn towards white at its
// own luminance; light outside sRGB is clipped; encoding is sRGB (IEC
// 61966-2-1) with an ordered dither of half a step.
type Screen struct {
	W, H     int     // image pixels
	Exposure float64 // cd/m2 that shows as white
	Room     float64 // lx on the pane

	matrix  [9]float32 // XYZ to linear sRGB
	sharps  []sharp    // by LED, where some light is not scattered
	glass   *Glass
	scratch scratch
	tapsX   []views
	tapsY   []views
	rgb     []light   // near grid, linear sRGB
	row     []light   // one row of it
	half    []light   // one row at every second image pixel
	lines   [4][]trio // four rows at every second image row
	between []trio
	spotted []trio  // a line with sharp images on it
	points  []point // sharp images that are lit
}

// trio is linear R, G, B of 21 bits each, 0 to 4 times white: three channels
// for the price of one where only sums are formed.
type trio uint64

const (
	trioBits  = 21
	trioWhite = 1 << 14
	trioMost  = 4*trioWhite - 1
	trioMask  = 1<<trioBits - 1
	trioLow   = 1 | 1<<trioBits | 1<<(2*trioBits) // a one in every channel
)

// NewScreen prepares pictures of w by h pixels, each 2 to 8192, at an exposure
// above 0 cd/m2.
func (g *Glass) NewScreen(w, h int, exposure, room float64) (*Screen, error) {
	switch {
	case w < 2 || h < 2 || w > 8192 || h > 8192:
		return nil, fmt.Errorf("a picture of %d x %d pixels is outside 2 to 8192", w, h)
	case !(exposure > 0) || math.IsInf(exposure, 0):
		return nil, fmt.Errorf("an exposure of %g cd/m2 is not above 0", exposure)
	case !(room >= 0) || math.IsInf(room, 0):
		return nil, fmt.Errorf("room light of %g lx is below 0", room)
	}
	if pixel := g.layout.Width / float64(w); g.tooFine() && g.Spot() < pixel/2 {
		return nil, fmt.Errorf("spots of %.2g mm are finer than a picture's pixels of %.2g mm: a larger picture, or a glass that scatters more, can be drawn", g.Spot(), pixel)
	}
	s := &Screen{W: w, H: h, Exposure: exposure, Room: room, glass: g}
	s.matrix = narrow(toSRGB)
	if g.anyClear() {
		s.sharps = make([]sharp, len(g.layout.LEDs))
		for i := range s.sharps {
			s.sharps[i], _ = g.sharpOf(i)
		}
	}
	return s, nil
}

// Adapt shows colours as an eye sees them that takes a light, XYZ in any unit,
// for white: that light comes out as the screen's own white, D65. A black white,
// or one without one of X, Y, Z, leaves colours as they are measured.
func (s *Screen) Adapt(white [3]float64) {
	s.matrix = narrow(matrixFor(white))
}

// Draw fills an image, at least W by H pixels, with a frame of codes.
func (s *Screen) Draw(dst *image.RGBA, codes []uint8) error {
	if b := dst.Bounds(); b.Dx() < s.W || b.Dy() < s.H {
		return fmt.Errorf("an image of %d x %d pixels cannot hold %d x %d", b.Dx(), b.Dy(), s.W, s.H)
	}
	g := s.glass
	s.points = s.points[:0]
	for i := range s.sharps {
		s.point(i, codes)
	}
	sx, sy := g.layout.Width/float64(s.W), g.layout.Height/float64(s.H)
	if g.tooFine() {
		s.direct(dst, codes, sx, sy)
		return nil
	}
	g.solve(&s.scratch, codes)
	near := s.scratch.of.near
	s.toScreenLight(near)
	s.row = grown(s.row, near.w)
	if g.Spot() < 4*max(sx, sy) {
		s.every(dst, near, sx, sy)
	} else {
		s.second(dst, near, sx, sy)
	}
	return nil
}

// every reads the splines at every pixel.
func (s *Screen) every(dst *image.RGBA, near mesh, sx, sy float64) {
	s.tapsX = viewTaps(s.tapsX, s.W, 0.5*sx, sx, near.step, near.x0, near.w)
	s.tapsY = viewTaps(s.tapsY, s.H, s.glass.layout.Height-0.5*sy, -sy, near.step, near.y0, near.h)
	s.half, s.between = grown(s.half, s.W), grown(s.between, s.W)
	for y := range s.H {
		viewRow(s.row, s.rgb, near.w, &s.tapsY[y])
		viewPlaces(s.half, s.row, s.tapsX)
		for x := range s.between {
			s.between[x] = pack(&s.half[x])
		}
		encode(dst, y, s.spot(y, s.between))
	}
}

// second reads the splines at every second pixel and row, with one more beyond
// each end; the pixels between follow from the four around them.
func (s *Screen) second(dst *image.RGBA, near mesh, sx, sy float64) {
	w2, h2 := (s.W+1)/2+3, (s.H+1)/2+3
	s.tapsX = viewTaps(s.tapsX, w2, -1.5*sx, 2*sx, near.step, near.x0, near.w)
	s.tapsY = viewTaps(s.tapsY, h2, s.glass.layout.Height+1.5*sy, -2*sy, near.step, near.y0, near.h)
	s.half, s.between = grown(s.half, w2), grown(s.between, s.W)
	l := &s.lines
	for i := range l {
		l[i] = grown(l[i], s.W)
	}
	for j := range h2 {
		// The oldest line makes room for the newest.
		l[0], l[1], l[2], l[3] = l[1], l[2], l[3], l[0]
		viewRow(s.row, s.rgb, near.w, &s.tapsY[j])
		viewPlaces(s.half, s.row, s.tapsX)
		double(l[3], s.half)
		if j < 3 {
			continue
		}
		y := 2 * (j - 3)
		encode(dst, y, s.spot(y, l[1]))
		if y+1 < s.H {
			halfway(s.between, l[0], l[1], l[2], l[3])
			encode(dst, y+1, s.spot(y+1, s.between))
		}
	}
}

func grown[T any](v []T, n int) []T {
	if cap(v) < n {
		return make([]T, n)
	}
	return v[:n]
}

// direct sums up all LEDs at every pixel: for spots too fine for any grid.
func (s *Screen) direct(dst *image.RGBA, codes []uint8, sx, sy float64) {
	g := s.glass
	s.half, s.between = grown(s.half, s.W), grown(s.between, s.W)
	for y := range s.H {
		my := g.layout.Height - (float64(y)+0.5)*sy
		clear(s.half)
		for i := range g.layout.LEDs {
			l, lit := g.lightOf(int32(i), codes)
			if !lit {
				continue
			}
			for x := range s.half {
				w := float32(g.Influence(i, (float64(x)+0.5)*sx, my))
				s.half[x][0] += w * l[0]
				s.half[x][1] += w * l[1]
				s.half[x][2] += w * l[2]
			}
		}
		s.convert(s.half, s.half)
		for x := range s.between {
			v := s.half[x]
			s.between[x] = pack(&light{max(v[0], 0), max(v[1], 0), max(v[2], 0)})
		}
		encode(dst, y, s.spot(y, s.between))
	}
}

// toScreenLight turns the near grid from XYZ into linear sRGB, 1 = white: both
// are sums of light, so it may be done before the splines are read.
func (s *Screen) toScreenLight(near mesh) {
	s.rgb = grown(s.rgb, near.w*near.h)
	s.convert(s.rgb, s.scratch.near)
}

// convert turns XYZ into linear sRGB, 1 = white, with the room's light on it.
func (s *Screen) convert(dst, src []light) {
	room := s.glass.Room(s.Room)
	m := s.matrix
	for i := range m {
		m[i] *= float32(1 / s.Exposure)
	}
	a, b, c := float32(room[0]), float32(room[1]), float32(room[2])
	src = src[:len(dst)]
	for i := range dst {
		v := &src[i]
		x, y, z := float32(v[0]+a), float32(v[1]+b), float32(v[2]+c)
		o := &dst[i]
		o[0] = float32(m[0]*x) + float32(m[1]*y) + float32(m[2]*z)
		o[1] = float32(m[3]*x) + float32(m[4]*y) + float32(m[5]*z)
		o[2] = float32(m[6]*x) + float32(m[7]*y) + float32(m[8]*z)
	}
}

// pack takes light that is not below zero.
func pack(v *light) trio {
	r, g, b := float32(v[0]*trioWhite), float32(v[1]*trioWhite), float32(v[2]*trioWhite)
	if r > trioMost {
		r = trioMost
	}
	if g > trioMost {
		g = trioMost
	}
	if b > trioMost {
		b = trioMost
	}
	return trio(int32(r)) | trio(int32(g))<<trioBits | trio(int32(b))<<(2*trioBits)
}

// double packs a row read at every second pixel and fills the pixels between.
// src starts one step before the row's first pixel.
func double(dst []trio, src []light) {
	a, b, c := pack(&src[0]), pack(&src[1]), pack(&src[2])
	for x := 0; x < len(dst); x += 2 {
		d := pack(&src[x/2+3])
		dst[x] = b
		if x+1 < len(dst) {
			dst[x+1] = middle(a, b, c, d)
		}
		a, b, c = b, c, d
	}
}

// middle is the value halfway between b and c on the cubic through the four,
// (9 (b + c) - (a + d)) / 16, each channel held above zero. Channels up to 2^16,
// or 9/8 of it where they are middles themselves, stay within their 21 bits.
func middle(a, b, c, d trio) trio {
	const (
		lift  = trioLow << 18 // keeps every channel positive meanwhile
		zero  = lift >> 4
		flag  = trioLow << 17
		low17 = 1<<17 - 1
	)
	v := (9*(b+c) + lift - (a + d)) >> 4 & (trioLow * low17)
	v = (v | flag) - zero // the flag survives where a channel is not below zero
	return v & ((v & flag >> 17) * low17)
}

func halfway(dst, a, b, c, d []trio) {
	a, b, c, d = a[:len(dst)], b[:len(dst)], c[:len(dst)], d[:len(dst)]
	for x := range dst {
		dst[x] = middle(a[x], b[x], c[x], d[x])
	}
}

// codes is the sRGB curve in units of 1/256 code, by light in units of 1/trioWhite.
var codes = sync.OnceValue(func() *[trioWhite]uint16 {
	var t [trioWhite]uint16
	for i := range t {
		t[i] = uint16(math.Round(255 * 256 * color.Encode(float64(i)/(trioWhite-1))))
	}
	return &t
})

// bayer is an ordered dither of 4 x 4, in units of 1/256 code around a half.
var bayer = [4][4]uint16{{8, 136, 40, 168}, {200, 72, 232, 104}, {56, 184, 24, 152}, {248, 120, 216, 88}}

// encode writes one row of an image.
func encode(dst *image.RGBA, y int, row []trio) {
	t := codes()
	at := dst.PixOffset(dst.Rect.Min.X, dst.Rect.Min.Y+y)
	pix := dst.Pix[at : at+4*len(row)]
	dither := &bayer[y&3]
	const over = trioLow * (trioMask &^ (trioWhite - 1))
	for x, v := range row {
		if v&over != 0 {
			v = toWhite(v)
		}
		d := uint32(dither[x&3])
		p := pix[4*x : 4*x+4 : 4*x+4]
		p[0] = uint8((uint32(t[v&(trioWhite-1)]) + d) >> 8)
		p[1] = uint8((uint32(t[v>>trioBits&(trioWhite-1)]) + d) >> 8)
		p[2] = uint8((uint32(t[v>>(2*trioBits)&(trioWhite-1)]) + d) >> 8)
		p[3] = 0xff
	}
}

// toWhite draws light over white towards white: c' = Y + (c - Y)(1 - Y)/(max - Y).
func toWhite(v trio) trio {
	const white = trioWhite - 1
	r, g, b := float32(v&trioMask), float32(v>>trioBits&trioMask), float32(v>>(2*trioBits))
	y := float32(0.2126*r) + float32(0.7152*g) + float32(0.0722*b)
	if y >= white {
		return white * trioLow
	}
	k := (white - y) / (max(r, g, b) - y)
	fit := func(c float32) trio { return trio(min(max(y+float32((c-y)*k), 0), white)) }
	return fit(r) | fit(g)<<trioBits | fit(b)<<(2*trioBits)
}
