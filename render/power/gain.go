package power

import "paneglow/render/drive"

// Gain finds the greatest gain k of at most most (k/65536, at most
// drive.FullGain) for which the rounded codes of a frame of drives draw at
// most limit microamperes. ok is false when the dark frame alone breaks the
// limit: no gain helps, and gain is 0. scratch must be a frame long; it is
// left with the rounded codes of the gain. It allocates nothing.
//
// It recounts the codes at every step of a bisection instead of dividing
// currents: rounding makes the current a staircase, and under the law ceiling
// it is not even in proportion below it. Each code grows with k and each law
// with its codes, so the current never falls as k rises and bisection is
// exact.
func (m *Meter) Gain(drives []float32, limit int64, scratch []uint8, most uint32) (gain uint32, ok bool) {
	if most > drive.FullGain {
		panic("power: gain over 1")
	}
	var current int64
	fits := func(k uint32) bool {
		drive.Round(scratch, drives, k)
		current = m.Current(scratch)
		return current <= limit
	}
	if fits(most) {
		return most, true
	}
	if m.idle > limit {
		return 0, false
	}
	// Between low, which fits (at gain 0 only idle is left), and high, which
	// does not. The current is nearly in proportion under most laws: begin
	// where it would be if it were, and go away from there in doubling steps
	// until the answer lies between, then bisect.
	low, high := uint32(0), most
	mid := uint32(float64(most) * (float64(limit-m.idle) / float64(current-m.idle)))
	for step := uint32(8); high-low > 1; step *= 2 {
		mid = min(max(mid, low+1), high-1)
		if fits(mid) {
			low = mid
			if high != most {
				break
			}
			mid += step
		} else {
			high = mid
			if low != 0 {
				break
			}
			mid -= min(step, mid)
		}
	}
	for high-low > 1 {
		mid := (low + high) / 2
		if fits(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return low, fits(low)
}

// Gains is Gain for a panel on several supplies, limits[i] being that of the
// i-th: the greatest gain that keeps the pixels of each within its limit. ok is
// false when the dark pixels of one alone break theirs. With one limit it is
// Gain.
func (m *Meter) Gains(drives []float32, limits []int64, scratch []uint8, most uint32) (gain uint32, ok bool) {
	for s, limit := range limits {
		if gain, ok = m.Of(s).Gain(drives, limit, scratch, most); !ok {
			return 0, false
		}
		most = gain
	}
	return most, true
}

// ScaleBound is the greatest gain k of at most 65536 for which
// floor(code*k/65536) surely draws at most limit, given the frame's Numerator;
// ok is false when idle alone breaks the limit. It is what a player can afford
// at run time: one division, no second look at the pixels.
//
// The proof: the scaled frame has at most num*k/65536 of numerators, so its
// parts draw less than num*k/65536/255 + one microampere each, for the
// rounding up; that one is taken off the limit first.
func (m *Meter) ScaleBound(num, limit int64) (gain uint32, ok bool) {
	room := limit - m.idle
	if room < 0 {
		return 0, false
	}
	room -= int64(len(m.parts))
	if room <= 0 {
		return 0, true
	}
	if num <= 0 || num <= room*255 {
		return drive.FullGain, true
	}
	return uint32(room * 255 * drive.FullGain / num), true
}

// Scale writes floor(code*gain/65536) of every code of src into dst, which may
// be src itself. Their lengths must be equal, or it panics.
func Scale(dst, src []uint8, gain uint32) {
	if len(dst) != len(src) {
		panic("power: Scale wants slices of one length")
	}
	if gain >= drive.FullGain {
		copy(dst, src)
		return
	}
	for i, c := range src {
		dst[i] = uint8(uint32(c) * gain >> 16)
	}
}
