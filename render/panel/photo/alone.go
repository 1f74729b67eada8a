package photo

import (
	"math"

	"paneglow/anim/finding"
)

// alone refuses what is not one round spot: light elsewhere in the picture, and
// a spot that is longer than wide.
func (p *Picture) alone(pl *plane, w *window, sp *spot, rings []ring, r *Result) error {
	contrast := sp.peak - sp.base
	g := newCells(pl)
	noise := g.noise() / 3 // of nine cells' mean
	left := make([]float64, len(g.v))
	for y := range g.h {
		for x := range g.w {
			dx, dy := (float64(x)+0.5)*g.size-0.5-r.X, (float64(y)+0.5)*g.size-0.5-r.Y
			radius, n := math.Hypot(dx, dy), float64(w.n)
			if radius > 1.5*sp.half+g.size {
				left[y*g.w+x] = g.v[y*g.w+x] - w.slopeX*dx/n - w.slopeY*dy/n - ringLight(rings, radius)
			}
		}
	}
	most, mx, my := 0.0, 0.0, 0.0
	for y := range g.h {
		for x := range g.w {
			sum, count := 0.0, 0.0
			for j := max(y-1, 0); j <= min(y+1, g.h-1); j++ {
				for i := max(x-1, 0); i <= min(x+1, g.w-1); i++ {
					sum += left[j*g.w+i]
					count++
				}
			}
			if e := sum / count; e > most {
				most, mx, my = e, (float64(x)+0.5)*g.size-0.5, (float64(y)+0.5)*g.size-0.5
			}
		}
	}
	if r.Longer > mostElongated && most < contrast/2 {
		return refuse(p.at(r.X, r.Y), "photo.several", "light one pixel of one LED (cover the others with tape), and hold the camera straight before it",
			"the spot is %s longer than wide, the most is %s: several LEDs are lit, or the camera looks from the side", percent(r.Longer), percent(mostElongated))
	}
	if most > otherLight*contrast && most > 8*noise {
		return refuse(p.at(mx, my), "photo.several", "light one pixel only, cover the LEDs beside it, darken the room, or give a dark frame",
			"there is a second light, of %s of the spot's height; the most is %s", percent(most/contrast), percent(otherLight))
	}
	if r.Longer > someElongated {
		r.Notes = append(r.Notes, told(finding.Warning, p.at(r.X, r.Y), "photo.not_round", "hold the camera straight before the lit pixel",
			"the spot is %s longer than wide", percent(r.Longer)))
	}
	return nil
}

// ringLight is the profile at a radius in photo pixels.
func ringLight(rings []ring, r float64) float64 {
	i := 0
	for i+1 < len(rings) && (rings[i].n == 0 || rings[i+1].r < r) {
		i++
	}
	if r >= rings[i].r && i+1 == len(rings) || r <= rings[i].r {
		return rings[i].value
	}
	return lightAt(rings, i, r)
}

// note tells what the user should know beside the values.
func (r *Result) note(p *Picture) {
	where := p.at(r.X, r.Y)
	add := func(sev finding.Severity, code, fix, message string, args ...any) {
		r.Notes = append(r.Notes, told(sev, where, code, fix, message, args...))
	}
	if !r.Determined {
		add(finding.Warning, "photo.undetermined", "expose longer, use 16 bits and a dark frame, go nearer, or try another depth",
			"the photo does not tell the scatter: %.0f to %.0f deg would look much alike", r.Scatter.Low, r.Scatter.High)
	}
	if r.Lambertian.High-r.Lambertian.Low > 0.4 {
		add(finding.Note, "photo.undetermined", "get more of the dark around the spot into the picture, and use a dark frame",
			"the photo hardly tells the Lambertian share: a wide lobe and light in all directions look alike")
	}
	if r.LEDShare > 0.5 {
		add(finding.Warning, "photo.emitter", "measure the LED's lit face, or fit at a larger depth",
			"the LED's own %v makes %s of the spot's width squared: a wrong size would show as scatter", r.Emitter, percent(r.LEDShare))
	}
	if r.Sharp {
		add(finding.Note, "photo.sharp", "estimate the share that is scattered, and write it into the machine file as the glass's haze", "a sharp image of the LED stands in the middle: part of the light goes straight through, and the middle was left out")
	}
	if r.Residual > 0.03 {
		add(finding.Warning, "photo.misfit", "keep exposure and contrast settings fixed, darken the room, cover bright walls; look at the chart",
			"the profile differs from the fit by %s of its height (rms): the photo does not follow the model", percent(r.Residual))
	}
}
