package drive

// FullGain is the gain that changes nothing: gains are k/65536.
const FullGain = 1 << 16

// Round scales src by gain/65536 and rounds it into dst, each die to the
// nearest code, ties up: the one rounding between light and code. A drive
// below 0 gives 0, above 1 it counts as 1. len(dst) and len(src) must be
// equal, or it panics; gain is at most FullGain, or it panics. It allocates
// nothing.
//
// The product is exact: 24 bits of drive, 8 of 255 and 17 of gain fit the 53
// of a float64, so every processor gives the same code.
func Round(dst []uint8, src []float32, gain uint32) {
	if len(dst) != len(src) {
		panic("drive: Round wants slices of one length")
	}
	if gain > FullGain {
		panic("drive: gain over 1")
	}
	scale := float64(float64(255*gain) / FullGain)
	most := uint32(scale + 0.5) // the code of a full drive
	for i, d := range src {
		k := uint32(int32(float64(float64(d)*scale) + 0.5))
		if k > most { // below 0, over full, or a NaN, which drives never hold
			k = 0
			if d > 0 {
				k = most
			}
		}
		dst[i] = uint8(k)
	}
}
