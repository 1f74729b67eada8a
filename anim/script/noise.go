package script

import "math"

// Noise and hash are defined on the integer lattice, so that every machine,
// an 8-bit controller included, finds the same values.
//
// noise is gradient noise (Perlin's 2002 form: quintic fade, one gradient per
// lattice point): 0 on every lattice point, continuous with its first and
// second derivative. A lattice point's gradient is a unit vector out of a table
// of 256, chosen by the upper 8 bits of a 32-bit hash of its coordinates and
// the seed. The sum is divided by its greatest possible value, which is reached
// in the middle of a cell when all gradients point there: sqrt(n)/2.

// Odd constants spread each coordinate over 32 bits. They are fractional parts
// of square roots of primes (2, 3, 5, 7) made odd: nothing up the sleeve.
const (
	spreadX = 0x6a09e667
	spreadY = 0xbb67ae85
	spreadZ = 0x3c6ef373
	spreadS = 0xa54ff53b
	scatter = 0x2c1b3c6d
)

// mixBits finishes a hash: every input bit reaches the upper bits.
func mixBits(h uint32) uint32 {
	h ^= h >> 15
	h *= scatter
	h ^= h >> 13
	h *= spreadX
	return h ^ h>>16
}

// unit makes a number in [0, 1) of the upper 24 bits: exact in float32.
func unitOf(h uint32) float32 { return float32(h>>8) * (1.0 / (1 << 24)) }

func hash1(seed uint32, x int32) float32 {
	return unitOf(mixBits(seed ^ uint32(x)*spreadX))
}

func hash2(seed uint32, x, y int32) float32 {
	return unitOf(mixBits(mixBits(seed^uint32(x)*spreadX) ^ uint32(y)*spreadY))
}

func hash3(seed uint32, x, y, z int32) float32 {
	return unitOf(mixBits(mixBits(mixBits(seed^uint32(x)*spreadX)^uint32(y)*spreadY) ^ uint32(z)*spreadZ))
}

// field is a noise's identity: its seed, and after how many cells its last
// coordinate repeats (0: never).
type field struct {
	seed   uint32
	period int32
}

func (f field) imm() uint64      { return uint64(f.seed) | uint64(f.period)<<32 }
func latticeOf(imm uint64) field { return field{uint32(imm), int32(imm >> 32)} }
func seedOf(imm uint64) uint32   { return uint32(imm) }
func seedFrom(layer, own int64) uint32 {
	h := mixBits(uint32(layer)*spreadS ^ uint32(uint64(layer)>>32))
	return mixBits(h ^ uint32(own)*spreadY ^ uint32(uint64(own)>>32)*spreadZ)
}

// wrap gives the two neighbours of a place on the last coordinate.
func (f field) wrap(i int32) (int32, int32) {
	if f.period <= 0 {
		return i, i + 1
	}
	i %= f.period
	if i < 0 {
		i += f.period
	}
	if i+1 == f.period {
		return i, 0
	}
	return i, i + 1
}

var (
	slopes1 [256]float32    // in -1..1, both ends included
	slopes2 [256][2]float32 // unit vectors
	slopes3 [256][4]float32 // unit vectors; the fourth pads
)

// The tables are drawn from the hash itself: points in the square or cube,
// those outside the unit disc or ball rejected, the rest pushed to its rim.
func init() {
	for i := range slopes1 {
		slopes1[i] = float32(2*i-255) / 255
	}
	n := int32(0)
	draw := func() float64 {
		n++
		return float64(2*float64(hash1(spreadS, n))) - 1
	}
	for i := 0; i < 256; {
		x, y := draw(), draw()
		if r := float64(x*x) + float64(y*y); r > 0.01 && r <= 1 {
			r = math.Sqrt(r)
			slopes2[i] = [2]float32{float32(x / r), float32(y / r)}
			i++
		}
	}
	for i := 0; i < 256; {
		x, y, z := draw(), draw(), draw()
		if r := float64(x*x) + float64(y*y) + float64(z*z); r > 0.01 && r <= 1 {
			r = math.Sqrt(r)
			slopes3[i] = [4]float32{float32(x / r), float32(y / r), float32(z / r)}
			i++
		}
	}
}

// fade is 6t^5 - 15t^4 + 10t^3.
func fade(t float32) float32 {
	return float32(t*t) * float32(t*(float32(t*(float32(t*6)-15))+10))
}

// lerp is a + t*(b-a).
func lerp(a, b, t float32) float32 { return a + float32(t*(b-a)) }

// corner hashes a lattice point from its spread coordinates. One round is
// enough here: the table index is the upper byte.
func corner(h uint32) uint32 {
	h ^= h >> 15
	h *= scatter
	return h >> 24
}

// The greatest sums, as factors.
const (
	scale1 = 2
	scale2 = 1.4142135 // just below sqrt 2
	scale3 = 1.1547005 // just below 2/sqrt 3
)

// noise1 is the noise at fraction fx of cell ix.
func noise1(l field, ix int32, fx float32) float32 {
	i0, i1 := l.wrap(ix)
	s := l.seed
	a := float32(slopes1[corner(uint32(i0)*spreadX^s)] * fx)
	b := float32(slopes1[corner(uint32(i1)*spreadX^s)] * (fx - 1))
	return scale1 * lerp(a, b, fade(fx))
}

func dot2(h uint32, x, y float32) float32 {
	g := &slopes2[corner(h)]
	return float32(g[0]*x) + float32(g[1]*y)
}

// noise2 is the noise at a place of cell ix, iy.
func noise2(l field, ix, iy int32, fx, fy float32) float32 {
	x0 := uint32(ix)*spreadX ^ l.seed
	x1 := uint32(ix+1)*spreadX ^ l.seed
	j0, j1 := l.wrap(iy)
	y0, y1 := uint32(j0)*spreadY, uint32(j1)*spreadY
	u := fade(fx)
	a := lerp(dot2(x0^y0, fx, fy), dot2(x1^y0, fx-1, fy), u)
	b := lerp(dot2(x0^y1, fx, fy-1), dot2(x1^y1, fx-1, fy-1), u)
	return scale2 * lerp(a, b, fade(fy))
}

func dot3(h uint32, x, y, z float32) float32 {
	g := &slopes3[corner(h)]
	return float32(g[0]*x) + float32(g[1]*y) + float32(g[2]*z)
}

// noise3 is the noise at a place of cell ix, iy, iz.
func noise3(l field, ix, iy, iz int32, fx, fy, fz float32) float32 {
	x0 := uint32(ix)*spreadX ^ l.seed
	x1 := uint32(ix+1)*spreadX ^ l.seed
	y0, y1 := uint32(iy)*spreadY, uint32(iy+1)*spreadY
	k0, k1 := l.wrap(iz)
	z0, z1 := uint32(k0)*spreadZ, uint32(k1)*spreadZ
	u, v := fade(fx), fade(fy)
	a := lerp(dot3(x0^y0^z0, fx, fy, fz), dot3(x1^y0^z0, fx-1, fy, fz), u)
	b := lerp(dot3(x0^y1^z0, fx, fy-1, fz), dot3(x1^y1^z0, fx-1, fy-1, fz), u)
	c := lerp(dot3(x0^y0^z1, fx, fy, fz-1), dot3(x1^y0^z1, fx-1, fy, fz-1), u)
	d := lerp(dot3(x0^y1^z1, fx, fy-1, fz-1), dot3(x1^y1^z1, fx-1, fy-1, fz-1), u)
	return scale3 * lerp(lerp(a, b, v), lerp(c, d, v), fade(fz))
}
