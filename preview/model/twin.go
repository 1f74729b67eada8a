package model

import (
	"image"
	"math"

	"paneglow/anim/color"
)

// What the glass is drawn with; the shader in preview/view holds the same.
const (
	lumaRed, lumaGreen, lumaBlue = 0.2126, 0.7152, 0.0722 // IEC 61966-2-1, luminance of linear sRGB

	// brightestLight is the most light a channel shows of, in screen whites, before
	// it is drawn towards white: as render/panel's Screen has it.
	brightestLight = 4
)

// Twin is the picture of w by h pixels that the view's shader draws of a light,
// computed here: the cubic B-spline at every pixel's middle, coefficients beyond
// the grid's edge as at the edge; room light added and divided by the exposure;
// light over white drawn towards white at its own luminance; clipped; encoded as
// sRGB (IEC 61966-2-1) with an ordered dither of half a step either way. Black
// and full white come out exactly. A light whose grid is empty gives black.
func Twin(l *Light, w, h int) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			var c [3]float64
			if l.W > 0 && l.H > 0 {
				c = l.at(l.X+(float64(x)+0.5)*l.SpanX/float64(w), l.Y+(float64(y)+0.5)*l.SpanY/float64(h))
			}
			c = toScreen(c)
			d := (ordered(x, y)+0.5)/16 - 0.5
			o := img.PixOffset(x, y)
			for i, v := range c {
				img.Pix[o+i] = encode(v, d)
			}
			img.Pix[o+3] = 0xff
		}
	}
	return img
}

// at is the light at a place on the grid, 1 = screen white, room light included.
func (l *Light) at(gx, gy float64) (c [3]float64) {
	ix, iy := math.Floor(gx), math.Floor(gy)
	wx, wy := cubicWeights(gx-ix), cubicWeights(gy-iy)
	for j := range 4 {
		row := min(max(int(iy)-1+j, 0), l.H-1) * l.W
		for i := range 4 {
			at := 3 * (row + min(max(int(ix)-1+i, 0), l.W-1))
			k := wx[i] * wy[j]
			for n := range c {
				c[n] += k * float64(l.Codes[at+n])
			}
		}
	}
	for n := range c {
		light := c[n]/math.MaxUint16*float64(l.Most) - float64(l.Least)
		c[n] = (light + float64(l.Room[n])) / float64(l.Exposure)
	}
	return c
}

// cubicWeights are the weights of the four points around a place that lies t,
// 0..1, behind the second.
func cubicWeights(t float64) [4]float64 {
	s := 1 - t
	return [4]float64{s * s * s / 6, 2.0/3 - t*t*(2-t)/2, 2.0/3 - s*s*(2-s)/2, t * t * t / 6}
}

// toScreen draws light over white towards white, c' = Y + (c - Y)(1 - Y)/(max - Y),
// and clips.
func toScreen(c [3]float64) [3]float64 {
	for i := range c {
		c[i] = min(max(c[i], 0), brightestLight)
	}
	if most := max(c[0], c[1], c[2]); most > 1 {
		y := lumaRed*c[0] + lumaGreen*c[1] + lumaBlue*c[2]
		if y >= 1 {
			return [3]float64{1, 1, 1}
		}
		k := (1 - y) / (most - y)
		for i := range c {
			c[i] = min(max(y+(c[i]-y)*k, 0), 1)
		}
	}
	return c
}

// encode is a channel's code at a dither of -0.5 to 0.5 of a step.
func encode(v, d float64) uint8 {
	switch e := 255 * color.Encode(v); {
	case v <= 0:
		return 0
	case e >= 254.5:
		return 255
	default:
		return uint8(math.Floor(max(e+d, 0) + 0.5))
	}
}

// ordered is the 4 x 4 ordered dither's rank of a pixel, 0 to 15: Bayer's matrix
// of 2 x 2 within itself.
func ordered(x, y int) float64 {
	two := func(x, y int) int { return 2*x + 3*y - 4*x*y }
	return float64(4*two(x&1, y&1) + two(x>>1&1, y>>1&1))
}
