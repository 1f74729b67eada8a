package photo

import (
	"math"
	"slices"

	"paneglow/anim/finding"
	"paneglow/anim/unit"
	"paneglow/render/panel"
)

// Settings are what a photo alone does not tell.
type Settings struct {
	Depth     unit.Length // LED to glass, above 0
	Scale     unit.Length // of one image pixel, on the pane, above 0
	HalfAngle unit.Angle  // of the LED, above 0 and below 90 deg; 0: 60 deg
	Emitter   unit.Length // side of the LED's lit face; 0: a point
	Distance  unit.Length // glass to camera, more than twice the depth; 0: far away
	Dark      *Picture    // the same view with the pixel off, or nil
}

// Range is a value with the interval that holds it at Confidence.
type Range struct{ Value, Low, High float64 }

// Ring is one point of the radial profile, in shares of the fitted peak, the
// background and what the lens takes at the rim taken off.
type Ring struct {
	R     float64 // mm from the middle
	Value float64
	Sigma float64 // standard error by the noise of its pixels
	Fit   float64 // where Used
	Used  bool    // false: clipped, or beside something clipped, or left out (see Sharp)
}

// Point is the fit at one radius, in shares of its peak, and its two parts.
type Point struct{ R, Fit, Lobe, Lambert float64 }

// Result is what a photo tells.
type Result struct {
	Settings

	Scatter    Range // deg, full width at half maximum
	Lambertian Range // 0 to 1
	Determined bool  // the scatter's interval reaches at most a quarter of it up and down

	X, Y       float64 // middle of the spot in the photo, in pixels
	Channel    string  // what was measured: luminance, or red, green or blue
	Clipped    float64 // share of the spot's pixels, out to half height, that are clipped
	Longer     float64 // by which the spot is longer than wide
	Residual   float64 // root mean square of value less fit over the rings used, as a share of the peak
	Base       float64 // background as a share of the peak
	Rim        float64 // share that the lens takes at the outermost ring, as fitted
	Sharp      bool    // a sharp image of the LED stood in the middle and was left out
	DepthPerMM float64 // deg of scatter by which 1 mm more depth would change it
	LEDShare   float64 // of the spot's variance that is the LED's own size; 0 for a point

	Rings []Ring
	Curve []Point // from the middle out, finely
	Notes finding.List
}

// Fit finds scatter and Lambertian share. What is refused is a finding.Finding.
func Fit(p *Picture, s Settings) (*Result, error) {
	if s.HalfAngle == 0 {
		s.HalfAngle = 60
	}
	if err := s.check(p); err != nil {
		return nil, err
	}
	channel, black := p.channel()
	pl := p.plane(channel, s.Dark)
	if share := pl.clippedShare(); share > 0.75 {
		return nil, refuse(p.Name, "photo.clipped", darker, "%s of the picture is clipped, so nothing of the spot's slope is left", percent(share))
	}
	sp, err := p.find(pl)
	if err != nil {
		return nil, err
	}
	if err := s.plausible(p, sp, pl); err != nil {
		return nil, err
	}
	// As far as the Lambertian part goes, which is as wide as the pane is deep.
	reach := math.Max(6*sp.half, math.Min(3.5*float64(s.Depth/s.Scale), float64(max(p.W, p.H))))
	w := newWindow(pl, sp, reach, black)
	w.center()
	rings := w.rings()
	r := &Result{Settings: s, Channel: channelNames[channel], Longer: w.longer}
	r.X, r.Y = w.photo(w.cx, w.cy)
	if err := p.alone(pl, w, sp, rings, r); err != nil {
		return nil, err
	}
	r.Clipped = w.clippedWithin(sp.half / float64(w.n))
	if err := r.fit(p, rings); err != nil {
		return nil, err
	}
	r.note(p)
	return r, nil
}

const darker = "expose less: the spot's middle should be bright and not white"

func (s *Settings) check(p *Picture) error {
	switch {
	case !(s.Depth > 0):
		return refuse("", "photo.depth", `measure from the LED's face to the glass, such as "30 mm"`, "the depth from LED to glass is %v: it must be above 0", s.Depth)
	case !(s.Scale > 0):
		return refuse("", "photo.scale", `give the size of one image pixel on the pane, such as "0.2 mm", or two marks a known length apart`, "an image pixel of %v has no size", s.Scale)
	case !(s.Emitter >= 0 && s.Emitter <= 4*s.Depth):
		return refuse("", "photo.emitter", `write the side of the LED's lit face, such as "5 mm", or "0 mm" for a point`, "an LED %v wide is outside 0 mm to %v, four times the depth", s.Emitter, 4*s.Depth)
	case s.Distance != 0 && !(s.Distance > 2*s.Depth):
		return refuse("", "photo.distance", "step back: twenty times the depth is good", "the camera stands %v before the glass: it must be more than %v, twice the depth", s.Distance, 2*s.Depth)
	}
	if _, err := panel.Order(s.HalfAngle); err != nil {
		return refuse("", "photo.emitter", `write the LED's half-intensity half angle, such as "60 deg"`, "%v", err)
	}
	if d := s.Dark; d != nil && (d.W != p.W || d.H != p.H) {
		return refuse(d.Name, "photo.dark_size", "take both photos with the same camera, unmoved, and crop neither",
			"the dark frame has %d x %d pixels, the photo %d x %d", d.W, d.H, p.W, p.H)
	}
	return nil
}

// plausible refuses a spot that no glass makes at this depth: then a length is
// wrong. The widest is an ideal diffuser's, half as high at d sqrt(2^(2/(m+3))-1);
// a clipped one may be measured at a twentieth of its height.
func (s *Settings) plausible(p *Picture, sp *spot, pl *plane) error {
	order, err := panel.Order(s.HalfAngle)
	if err != nil {
		return err
	}
	level := 2.0
	if clipped(pl.v[int(sp.y+0.5)*pl.w+int(sp.x+0.5)]) {
		level = 20
	}
	d, half := float64(s.Depth), sp.half*float64(s.Scale)
	widest := 1.5*d*math.Sqrt(math.Pow(level, 2/(order+3))-1) + float64(s.Emitter)/2
	narrowest := d * widthOf(leastScatter)
	const fix = "check --scale (or the marks and the length between them) and --depth"
	switch {
	case half > widest:
		return refuse(p.at(sp.x, sp.y), "photo.scale", fix, "the spot is %.3g mm wide at half height: glass %v before an LED makes none wider than %.3g mm", 2*half, s.Depth, 2*widest)
	case half < narrowest:
		return refuse(p.at(sp.x, sp.y), "photo.scale", fix, "the spot is %.2g mm wide at half height: glass %v before an LED makes none narrower than %.2g mm", 2*half, s.Depth, 2*narrowest)
	}
	return nil
}

// someClipped is the share of a ring's pixels that may be clipped: hot pixels,
// which a median passes over.
const someClipped = 0.02

// usable lists the rings that tell something: not clipped nor close by, where
// lenses flare and JPEG's waves go on, and not within a radius, in photo pixels.
func usable(rings []ring, format string, within float64) []int {
	last, off := -1.0, 1.5
	if format == "jpeg" {
		off = 4
	}
	for i := range rings {
		if rings[i].clip > someClipped {
			last = rings[i].r + off
		}
	}
	var at []int
	for i := range rings {
		q := &rings[i]
		if q.n > 0 && q.clip <= someClipped && q.r > last && (within == 0 || q.r > within) {
			at = append(at, i)
		}
	}
	return at
}

const (
	leastRings = 12
	// Of the spot's height, this must be left below what is clipped: down to a
	// tenth the scatter stays within 2 % (TestClipped).
	leastSlope = 0.1
	mostAtEdge = 0.2 // of the spot's height may be left at the picture's nearest edge
)

// A sharp image of the LED, where glass lets part of the light go straight
// through, covers its own face: that is looked at where the fit is bad, and
// believed where it is good without.
const (
	badFit  = 0.015 // root mean square, of the peak
	usualMM = 5     // the LED's face where it is not given
)

// fit turns the profile into scatter and share.
func (r *Result) fit(p *Picture, rings []ring) error {
	at := usable(rings, p.Format, 0)
	if len(at) < leastRings {
		return refuse(p.at(r.X, r.Y), "photo.clipped", darker,
			"only %d rings around the spot are neither clipped nor outside the picture, the least is %d", len(at), leastRings)
	}
	d := newData(rings, at, float64(r.Scale/r.Depth))
	f, err := r.solve(d)
	if err != nil {
		return err
	}
	if rms := d.rms(&f); rms > badFit {
		face := usualMM
		if r.Emitter > 0 {
			face = int(math.Ceil(float64(r.Emitter)))
		}
		outer := usable(rings, p.Format, 0.75*float64(face)/float64(r.Scale))
		if len(outer) >= leastRings {
			e := newData(rings, outer, float64(r.Scale/r.Depth))
			g, err := r.solve(e)
			if err != nil {
				return err
			}
			if e.rms(&g) < rms/3 && d.innerExcess(&g, e) {
				d, f, at, r.Sharp = e, g, outer, true
			}
		}
	}
	if math.IsInf(f.cost, 0) {
		return refuse(p.at(r.X, r.Y), "photo.misfit", "light one pixel white in a dark room, and look whether the spot is round", "no glass of this model looks like the photo")
	}
	scale := f.x[ofLobe] + f.x[ofLambert] // the fitted peak, in shares of the contrast
	light := d.light(&f)
	if !r.Sharp {
		if top := (light[1].all - f.x[ofBase]) / scale; top < leastSlope {
			return refuse(p.at(r.X, r.Y), "photo.clipped", darker,
				"the spot is clipped down to %s of its height, at least %s must be left", percent(top), percent(leastSlope))
		}
	}
	r.Scatter.Value = float64(scatterOf(math.Exp(f.x[lnWidth])))
	r.Lambertian.Value = d.share(&f)
	r.Base = (f.x[ofBase] + d.floor/d.contrast) / scale
	r.Rim = f.x[ofRim]
	r.Residual = d.rms(&f) / scale
	r.intervals(d, &f, rings, at, p.Bits == 8)
	if err := r.deeper(d); err != nil {
		return err
	}
	if err := r.keep(d, &f, rings, at, scale); err != nil {
		return err
	}
	if edge := r.atEdge(p); edge > mostAtEdge {
		return refuse(p.at(r.X, r.Y), "photo.edge", "step back or aim at the lit pixel, until the dark around it is in the picture",
			"the spot leaves the picture: at the nearest edge it still has %s of its height, the most is %s", percent(edge), percent(mostAtEdge))
	}
	return nil
}

// solve fits the model of the settings to d.
func (r *Result) solve(d *data) (fitted, error) {
	var err error
	if d.m, err = r.model(d.radii, 1); err != nil {
		return fitted{}, err
	}
	return d.solve(), nil
}

// model is that of the settings, at radii in depths, at another depth by a
// factor.
func (r *Result) model(radii []float64, factor float64) (*model, error) {
	order, err := panel.Order(r.HalfAngle)
	if err != nil {
		return nil, err
	}
	other := make([]float64, len(radii))
	for i := range radii {
		other[i] = radii[i] / factor
	}
	depth := float64(r.Depth) * factor
	return newModel(other, order, float64(r.Emitter)/depth, float64(r.Distance)/depth)
}

// deeper finds how the scatter would change with the ruler: the same profile at
// a depth 2 % larger.
func (r *Result) deeper(d *data) error {
	const more = 1.02
	e := *d
	e.now, e.z = make([]float64, len(d.now)), make([]float64, len(d.z))
	var err error
	if e.m, err = r.model(d.radii, more); err != nil {
		return err
	}
	g := e.solveNear(math.Log(widthOf(unit.Angle(r.Scatter.Value))))
	r.DepthPerMM = (float64(scatterOf(math.Exp(g.x[lnWidth]))) - r.Scatter.Value) / ((more - 1) * float64(r.Depth))
	return nil
}

// keep stores what is drawn.
func (r *Result) keep(d *data, f *fitted, rings []ring, at []int, scale float64) error {
	light := d.light(f)
	last := d.radii[len(d.radii)-1]
	k := 1
	for i := range rings {
		q := &rings[i]
		if q.n == 0 {
			continue
		}
		// The lens's rim is put back, so that what is drawn is the pane.
		out := q.r * float64(r.Scale/r.Depth) / last
		v := (q.value-d.floor)/d.contrast + f.x[ofRim]*out*out*q.value/d.contrast
		one := Ring{R: q.r * float64(r.Scale), Value: (v - f.x[ofBase]) / scale, Sigma: q.sigma / d.contrast / scale}
		if k <= len(at) && at[k-1] == i {
			one.Used, one.Fit = true, (light[k].all-f.x[ofBase])/scale
			k++
		}
		r.Rings = append(r.Rings, one)
	}
	const points = 300
	fine := &data{radii: make([]float64, points+1), now: make([]float64, points+1)}
	end := r.Rings[len(r.Rings)-1].R / float64(r.Depth)
	for i := range fine.radii {
		t := float64(i) / points
		fine.radii[i] = end * t * t // closer in the middle
	}
	var err error
	if fine.m, err = r.model(fine.radii, 1); err != nil {
		return err
	}
	for i, l := range fine.light(f) {
		r.Curve = append(r.Curve, Point{R: fine.radii[i] * float64(r.Depth), Fit: (l.all - f.x[ofBase]) / scale, Lobe: l.lobe / scale, Lambert: l.lambert / scale})
	}
	// Variances along an axis: of a square, side^2/12; of the lobe's spot, as of
	// the Gaussian that it is near its middle.
	order, err := panel.Order(r.HalfAngle)
	if err != nil {
		return err
	}
	led, w := float64(r.Emitter*r.Emitter)/12, widthOf(unit.Angle(r.Scatter.Value))
	r.LEDShare = led / (led + float64(r.Depth*r.Depth)*w*w/(1+(order+3)*w*w))
	return nil
}

// atEdge is the fitted light at the picture's nearest edge, as a share of the
// peak.
func (r *Result) atEdge(p *Picture) float64 {
	edge := min(r.X, r.Y, float64(p.W-1)-r.X, float64(p.H-1)-r.Y) * float64(r.Scale)
	i := slices.IndexFunc(r.Curve, func(q Point) bool { return q.R >= edge })
	if i < 0 {
		return 0
	}
	return r.Curve[i].Fit
}
