package render

import (
	"fmt"
	"image"

	"paneglow/render/drive"
	"paneglow/render/power"
)

// Exact takes a picture's bytes as codes: row = frame, column = pixel in data
// order. It takes no gain, white or calibration. Four-die parts cannot be
// painted this way and are refused, as is a frame over budget; hidden and
// missing pixels stay dark whatever the picture holds.
func Exact(img *image.NRGBA, on *Hardware, b power.Budget) (*Codes, error) {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	if w != len(on.Layout.Pixels) {
		return nil, fmt.Errorf("an exact picture is one column a pixel: it is %d wide, the panel has %d pixels", w, len(on.Layout.Pixels))
	}
	for i := range on.Layout.Strips {
		if s := &on.Layout.Strips[i]; s.Dies != 3 {
			return nil, fmt.Errorf("an exact picture has three channels, and strip %q has %d dies: use as = \"srgb\"", s.Name, s.Dies)
		}
	}
	c := &Codes{Frames: h, Channels: on.Drive.Channels(), Gain: drive.FullGain, Need: drive.FullGain, Budget: b, Exact: true}
	c.Bytes = make([]uint8, c.Frames*c.Channels)
	c.Current = make([]int64, h)
	for y := range h {
		f := c.Frame(y)
		for x := range w {
			p := &on.Layout.Pixels[x]
			if !p.Hidden && !p.Missing {
				copy(f[p.Offset:p.Offset+3], img.Pix[y*img.Stride+4*x:])
			}
		}
		c.Current[y] = on.Meter.Current(f)
		if s := over(on, f, c.Current[y], b); s >= 0 {
			return nil, &OverError{Frame: y, Draws: on.Meter.Of(s).Current(f), Budget: b.At(s)}
		}
	}
	c.Wanted = c.Current
	for i := range c.Costs {
		c.Costs[i] = lightOf(drive.FullGain)
	}
	return c, nil
}

// over is the first supply that codes draw too much from, or -1. all is what
// they draw together.
func over(on *Hardware, codes []uint8, all int64, b power.Budget) int {
	if b.Further == nil {
		if all > b.Limit {
			return 0
		}
		return -1
	}
	for s := range b.Supplies() {
		if on.Meter.Of(s).Current(codes) > b.At(s).Limit {
			return s
		}
	}
	return -1
}

// exactSlope refuses exact codes that change faster than a slew.
func exactSlope(c *Codes, on *Hardware, plan *Plan) error {
	each := make([][]int64, c.Budget.Supplies())
	for s := range each {
		for f := range c.Frames {
			each[s] = append(each[s], on.Meter.Of(s).Current(c.Frame(f)))
		}
	}
	if e := plan.slope(each, true); e != nil {
		e.Exact = true
		return e
	}
	return nil
}
