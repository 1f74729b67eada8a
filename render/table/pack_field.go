package table

import "paneglow/render/power"

// fields are the ways in which a clip can be kept as a field: rows of tints, the
// shortest first. There are none where the clip's colours lie on no curve.
type fields struct {
	t    *Show
	c    *Clip
	rows []*row
	at   int // the first that may do: keys farther apart need no shorter one
}

// rowSizes are the lengths of rows that are tried; a byte counts up to 256.
var rowSizes = []int{4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192, 256}

// mostLooked is how many frames are looked at for a clip's colours.
const mostLooked = 512

// newFields finds the rows whose tints are near enough to the clip's colours: every
// colour counts alike here, however few pixels have it, or a wide quiet ground
// would pay for a moving edge in steps.
func newFields(t *Show, c *Clip, limit float64) *fields {
	f := &fields{t: t, c: c}
	if !t.evenDies() || c.Channels == 0 {
		return f
	}
	top := topOf(c)
	near := nearestSamples(top)
	step := (c.Frames + mostLooked - 1) / mostLooked
	samples := make([]uint8, 0, (c.Frames+step-1)/step*c.Channels)
	for i := 0; i < c.Frames; i += step {
		for _, v := range c.Smooth.Fine[i*c.Channels : (i+1)*c.Channels] {
			samples = append(samples, near[v])
		}
	}
	tints := countTints(samples, t.mostDies())
	if tints == nil {
		return f
	}
	if line := curveThrough(tints); line != nil {
		for _, n := range rowSizes {
			if r := line.rowOf(n, tints); f.apart(r, tints, top) <= limit {
				f.rows = append(f.rows, r)
			}
		}
	}
	if len(tints) <= 256 {
		all := &row{near: map[tint]uint8{}, loose: true}
		for i := range tints {
			all.tints = append(all.tints, tints[i].tint)
		}
		f.rows = append(f.rows, all)
	}
	return f
}

// apart is the mean difference of tints to the nearest of a row.
func (f *fields) apart(r *row, tints []weighed, top uint32) float64 {
	dies := f.t.mostDies()
	duty := func(s uint8) float32 { return float32(uint32(keyCurve[s])*top>>16) / FineFull }
	a, b := make([]float32, f.c.Channels), make([]float32, f.c.Channels)
	var all []float64
	for i := 0; i < len(tints); {
		for at := 0; at < len(a); at += dies { // the last frame begins again with the first tints
			c := tints[i%len(tints)].tint
			for k := range dies {
				a[at+k], b[at+k] = duty(c[k]), duty(r.tints[r.nearest(c)][k])
			}
			i++
		}
		all = f.c.Smooth.Differ(all, a, b)
	}
	sum := 0.0
	for _, d := range all {
		sum += d
	}
	return sum / float64(max(len(all), 1))
}

// within gives the clip as a field of the fewest tints whose mean difference is
// within the limit, a key every hop frames, and how far it differs; nil where none
// is. It is asked for growing distances.
func (f *fields) within(meter *power.Meter, hop int, limit float64) (k *keys, mean, high float64) {
	for ; f.at < len(f.rows); f.at++ {
		k := newKeysOf(f.t, meter, f.c, hop, f.rows[f.at])
		if mean, high := k.difference(f.t.FPS); mean <= limit {
			return k, mean, high
		}
	}
	return nil, 0, 0
}
