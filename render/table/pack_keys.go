package table

import (
	"bytes"
	"encoding/binary"
	"sort"

	"paneglow/render/power"
)

// keys is a clip as key frames.
type keys struct {
	t       *Show
	c       *Clip
	hop     int
	top     uint32
	samples []uint8 // of all keys
	lowered bool
	row     *row // whose tints the samples are, of kind field; nil: any
}

func newKeys(t *Show, meter *power.Meter, c *Clip, hop int) *keys {
	return newKeysOf(t, meter, c, hop, nil)
}

func newKeysOf(t *Show, meter *power.Meter, c *Clip, hop int, r *row) *keys {
	k := &keys{t: t, c: c, hop: hop, top: topOf(c), row: r}
	k.sample()
	for c.Smooth.Limits != nil && k.top > 0 {
		over := k.over(meter)
		if over <= 1 {
			break
		}
		k.lowered = true
		k.top = uint32(max(float64(float64(k.top)/over*0.9999)-1, 0))
	}
	return k
}

func (k *keys) count() int { return keyCount(k.c.Frames, k.hop, k.c.Loop) }

func (k *keys) key(i int) []uint8 {
	n := k.c.Channels
	i %= k.count() // a loop closes
	return k.samples[i*n : (i+1)*n]
}

// topOf is the duty that the last sample stands for. The curve ends at 65535, one
// below the scale: the top is reached all the same.
func topOf(c *Clip) uint32 {
	most := uint16(0)
	for _, v := range c.Smooth.Fine {
		most = max(most, v)
	}
	return min(uint32(most)+1, FineFull)
}

// nearestSamples is the nearest sample of every duty up to a top.
func nearestSamples(top uint32) []uint8 {
	out := make([]uint8, top+1)
	s := 0
	for v := range out {
		for s < 255 && apart(keyCurve[s+1], top, v) < apart(keyCurve[s], top, v) {
			s++
		}
		out[v] = uint8(s)
	}
	return out
}

// apart is how far a duty is from a sample's light under a top.
func apart(light uint16, top uint32, v int) int {
	return magnitude(int(uint32(light)*top>>16) - v)
}

// sample rounds the keys' duties to the nearest sample, and of a field to the
// nearest tint.
func (k *keys) sample() {
	near := nearestSamples(k.top)
	n, dies := k.c.Channels, k.t.mostDies()
	k.samples = make([]uint8, 0, k.count()*n)
	for i := range k.count() {
		f := keyFrame(i, k.c.Frames, k.hop)
		for _, v := range k.c.Smooth.Fine[f*n : (f+1)*n] {
			k.samples = append(k.samples, near[min(uint32(v), k.top)])
		}
	}
	if k.row == nil {
		return
	}
	for i := 0; i < len(k.samples); i += dies {
		var c tint
		copy(c[:], k.samples[i:i+dies])
		copy(k.samples[i:i+dies], k.row.tints[k.row.nearest(c)][:])
	}
}

// each calls f with the duties of every frame.
func (k *keys) each(f func(frame int, fine []uint16)) {
	fine := make([]uint16, k.c.Channels)
	for i := range k.count() {
		from := keyFrame(i, k.c.Frames, k.hop)
		span := k.c.Frames - from
		if i+1 < k.count() {
			span = keyFrame(i+1, k.c.Frames, k.hop) - from
		}
		next := k.key(i + 1)
		if i+1 == k.count() && !k.c.Loop {
			next = k.key(i)
		}
		for p := range span {
			w := uint32(p * 256 / span)
			if k.row != nil {
				betweenMapped(fine, k.key(i), next, w, k.top)
			} else {
				between(fine, k.key(i), next, w, k.top)
			}
			f(from+p, fine)
		}
	}
}

// dithers tells whether rounding errors are carried.
func (k *keys) dithers() bool { return k.t.FPS >= ditherRate }

// over is the greatest share of a supply's limit that a frame draws: above 1 it is
// too much. A carried rounding error may round any duty up, so there all are.
func (k *keys) over(meter *power.Meter) float64 {
	worst := 0.0
	codes, up := make([]uint8, k.c.Channels), uint32(128)
	if k.dithers() {
		up = 255
	}
	k.each(func(_ int, fine []uint16) {
		for i, v := range fine {
			codes[i] = uint8((uint32(v) + up) >> 8)
		}
		for s, limit := range k.c.Smooth.Limits {
			m := meter.Of(s)
			idle := m.Idle()
			if draws := m.Current(codes); draws > max(limit, idle) {
				worst = max(worst, float64(draws-idle)/float64(max(limit-idle, 1)))
			}
		}
	})
	return worst
}

// difference is the mean and the 95th percentile of the pixels' differences to
// the duties, both averaged over 50 ms.
func (k *keys) difference(fps int) (mean, high float64) {
	return k.differenceOf(fps, nil)
}

// differenceOf is difference of other frames: instead sets the duties of a frame.
func (k *keys) differenceOf(fps int, instead func(frame int, fine []uint16)) (mean, high float64) {
	n := k.c.Channels
	window := max(1, (fps+10)/20)
	var all []float64
	got, want := make([]float32, n), make([]float32, n)
	k.each(func(f int, fine []uint16) {
		if instead != nil {
			instead(f, fine)
		}
		for i, v := range fine {
			got[i] += float32(v)
			want[i] += float32(k.c.Smooth.Fine[f*n+i])
		}
		if f%window != window-1 {
			return
		}
		for i := range got {
			got[i] /= float32(window) * FineFull
			want[i] /= float32(window) * FineFull
		}
		all = k.c.Smooth.Differ(all, got, want)
		clear(got)
		clear(want)
	})
	if len(all) == 0 {
		return 0, 0
	}
	sum := 0.0
	for _, d := range all {
		sum += d
	}
	sort.Float64s(all)
	return sum / float64(len(all)), all[len(all)*95/100]
}

// pack codes the keys; nil when they cannot be.
func (k *keys) pack(o Options) *packed {
	c := Clip{Name: k.c.Name, Frames: k.count(), Channels: k.c.Channels, Bytes: k.samples, Loop: true}
	lim := o.limits(&c)
	lim.full = k.row == nil // light lies between colours, not between their numbers
	lim.row = k.row
	// The key before, what goes out, and rounding errors where they are carried.
	pixels, dies := k.t.Pixels(), k.t.mostDies()
	memory := 2 * k.c.Channels
	own, parts, apart := costKeys+costKeyCode*k.c.Channels, 1, costKeyBetween
	taken, unpack := costKeyTaken*k.c.Channels, costKeyUnpack*k.c.Channels
	if k.row != nil {
		// A number a pixel, and a map of two bytes where a palette has one.
		memory = pixels + k.c.Channels + dies*k.colours()
		own, parts, apart = costKeys+costFieldPixel*pixels+costFieldDie*k.c.Channels, dies, costFieldApart+costFieldApartDie*dies
		taken, unpack = costKeyTaken*pixels, costKeyUnpack*pixels
	}
	if k.dithers() {
		memory += k.c.Channels
		own += costKeyRest * k.c.Channels
	}
	lim.work -= memory
	making, most := make([]int, k.count()), own+taken // a frame after a key's own
	for i := range making {
		making[i] = own
		next := k.key(i + 1)
		if i+1 == k.count() && !k.c.Loop {
			next = k.key(i)
		}
		for key, at := k.key(i), 0; at < len(key); at += parts {
			if !bytes.Equal(key[at:at+parts], next[at:at+parts]) {
				making[i] += apart
			}
		}
		most = max(most, making[i])
	}
	if lim.cycles > 0 {
		lim.cycles = max(lim.cycles-most-unpack, 1)
	}
	x := packCoded(k.t, &c, lim)
	if x == nil {
		return nil
	}
	kind := Keys
	if k.row != nil {
		kind = Field
	}
	head := []byte{uint8(k.hop), 0, 0, 0}
	if k.c.Loop {
		head[1] |= keysClose
	}
	if k.dithers() {
		head[1] |= keysDither
	}
	binary.LittleEndian.PutUint16(head[2:], uint16(k.top))
	p := &packed{payload: append(head, x.payload...), kind: kind, work: x.k.work() + memory, cycles: make([]uint32, k.c.Frames)}
	for f := range p.cycles {
		p.cycles[f] = uint32(own)
	}
	for i := range k.count() {
		from := keyFrame(i, k.c.Frames, k.hop)
		to := k.c.Frames
		if i+1 < k.count() {
			to = keyFrame(i+1, k.c.Frames, k.hop)
		}
		p.cycles[from] += uint32(taken)
		for f := from + 1; f < to; f++ {
			p.cycles[f] = uint32(making[i])
		}
		// The key after it is unpacked for the frame after its own, which shows
		// nothing of it.
		if i+1 < k.count() || k.c.Loop {
			p.cycles[(from+1)%k.c.Frames] += x.cycles[(i+1)%k.count()] + uint32(unpack)
		}
	}
	p.cycles[0] = max(p.cycles[0], uint32(own+taken)+x.cycles[0])
	return p
}

// colours is how many tints the samples of a field are.
func (k *keys) colours() int {
	seen := map[tint]bool{}
	dies := k.t.mostDies()
	for i := 0; i < len(k.samples); i += dies {
		var c tint
		copy(c[:], k.samples[i:i+dies])
		seen[c] = true
	}
	return len(seen)
}
