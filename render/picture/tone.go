package picture

import (
	"image"
	"math"
	"sort"
	"sync"

	"paneglow/anim/color"
)

// Exposure is the luminance scale of a clip's pictures: light in cd/m2 that
// becomes 1 on the screen.
type Exposure float64

// toLinear is CIE XYZ to linear sRGB (coefficients of CSS Color 4).
func toLinear(x [3]float32) (r, g, b float32) {
	r = 3.24096994*x[0] - 1.53738318*x[1] - 0.49861076*x[2]
	g = -0.96924364*x[0] + 1.87596750*x[1] + 0.04155506*x[2]
	b = 0.05563008*x[0] - 0.20397696*x[1] + 1.05697151*x[2]
	return
}

// expose finds the exposure of a field: the 99.5th percentile of the largest
// channel, so that a few hot points do not darken the rest. A black field gives
// 1 cd/m2.
func expose(xyz [][3]float32) Exposure {
	v := make([]float64, 0, len(xyz))
	for _, x := range xyz {
		r, g, b := toLinear(x)
		if m := max(r, g, b); m > 0 {
			v = append(v, float64(m))
		}
	}
	if len(v) == 0 {
		return 1
	}
	sort.Float64s(v)
	return Exposure(math.Max(v[int(float64(len(v)-1)*0.995)], 1e-3))
}

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
