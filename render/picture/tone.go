package picture

import (
	"image"
	"math"
	"sync"

	"paneglow/anim/color"
)

// encodeTable is the sRGB curve in 4096 steps of the square root of light,
// which spends its points where the eye does.
var encodeTable = sync.OnceValue(func() *[4097]float32 {
	var t [4097]float32
	for i := range t {
		s := float64(i) / 4096
		t[i] = float32(255 * color.Encode(s*s))
	}
	return &t
})

// bayer is a 4 x 4 ordered dither, -0.5 to 0.5 of a step.
var bayer = [16]float32{0, 8, 2, 10, 12, 4, 14, 6, 3, 11, 1, 9, 15, 7, 13, 5}

// screen is a point of linear sRGB light, 1 = screen white, on the screen:
// light over white keeps its luminance and gives up its saturation. Black and
// full white are exact.
func screen(img *image.RGBA, x, y int, r, g, b float32) {
	if m := max(r, g, b); m > 1 {
		lum := 0.2126*r + 0.7152*g + 0.0722*b
		if lum >= 1 {
			r, g, b = 1, 1, 1
		} else {
			k := (1 - lum) / (m - lum)
			r, g, b = lum+(r-lum)*k, lum+(g-lum)*k, lum+(b-lum)*k
		}
	}
	t := encodeTable()
	d := (bayer[(y&3)<<2|x&3] - 7.5) / 16
	o := img.PixOffset(x, y)
	for i, v := range [3]float32{r, g, b} {
		if v <= 0 {
			img.Pix[o+i] = 0
			continue
		}
		e := t[int(float32(math.Sqrt(float64(min(v, 1))))*4096+0.5)]
		if e < 254.5 {
			e = max(e+d, 0)
		}
		img.Pix[o+i] = uint8(e + 0.5)
	}
	img.Pix[o+3] = 0xff
}
