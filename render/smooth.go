package render

import (
	"paneglow/anim/color"
	"paneglow/render/drive"
	"paneglow/render/table"
)

// fineOf sets dst to duties under a gain in 256ths of a code, rounded to nearest.
func fineOf(dst []uint16, src []float32, gain uint32) {
	scale := float64(table.FineFull) * float64(gain) / drive.FullGain
	for i, d := range src {
		dst[i] = uint16(float64(float64(min(max(d, 0), 1))*scale) + 0.5)
	}
}

// Differ gives the function that tells how far two frames of duties look apart,
// pixel by pixel, by CIEDE2000: light through the dies of each pixel's part, on
// the scale of the show's white under a gain. Pixels that are hidden or missing
// are left out.
func (h *Hardware) Differ(gain uint32) (func(dst []float64, a, b []float32) []float64, error) {
	dies := make([][4][3]float64, len(h.Machine.Parts))
	for i := range h.Machine.Parts {
		var err error
		if dies[i], err = drive.Relative(&h.Machine.Parts[i]); err != nil {
			return nil, err
		}
	}
	scale := drive.FullGain / float64(max(gain, 1))
	type place struct{ offset, dies, part int }
	var places []place
	for i := range h.Layout.Strips {
		s := &h.Layout.Strips[i]
		for p := s.First; p < s.First+s.Count; p++ {
			if px := &h.Layout.Pixels[p]; !px.Hidden && !px.Missing {
				places = append(places, place{px.Offset, s.Dies, s.Part})
			}
		}
	}
	lab := func(p *place, d []float32) [3]float64 {
		var xyz [3]float64
		for c, duty := range d[p.offset : p.offset+p.dies] {
			for k := range xyz {
				xyz[k] += float64(float64(duty) * scale * dies[p.part][c][k])
			}
		}
		l := color.LinearFromXYZ(xyz)
		return color.FromLight(color.Light{float32(l[0]), float32(l[1]), float32(l[2])}).LabD65()
	}
	return func(dst []float64, a, b []float32) []float64 {
		for i := range places {
			dst = append(dst, color.DeltaE2000(lab(&places[i], a), lab(&places[i], b)))
		}
		return dst
	}, nil
}
