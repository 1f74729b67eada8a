package photo

import (
	"image"
	"image/color"
)

// Thumbnail is the square of the photo around a place, out to a reach in
// pixels, size pixels wide. What lies outside the photo is transparent.
func (p *Picture) Thumbnail(x, y, reach float64, size int) *image.NRGBA {
	out := image.NewNRGBA(image.Rect(0, 0, size, size))
	row := make([][3]uint16, p.W)
	per := 2 * reach / float64(size)
	for j := range size {
		py := int(y - reach + (float64(j)+0.5)*per + 0.5)
		if py < 0 || py >= p.H {
			continue
		}
		p.row(py, row)
		for i := range size {
			px := int(x - reach + (float64(i)+0.5)*per + 0.5)
			if px < 0 || px >= p.W {
				continue
			}
			q := row[px]
			out.SetNRGBA(i, j, color.NRGBA{uint8(q[0] >> 8), uint8(q[1] >> 8), uint8(q[2] >> 8), 255})
		}
	}
	return out
}
