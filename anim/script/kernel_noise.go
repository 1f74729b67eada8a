package script

// Noise and hash over a block. The bodies are those of noise1, noise2, noise3,
// written out, since Go does not inline functions of that size; the tests hold
// the two forms to the same bits.

// below is the whole number below x, for |x| <= lattice.
func below(x float32) int32 {
	i := int32(x)
	if float32(i) > x {
		i--
	}
	return i
}

func hash1V(d, a []float32, imm uint64) {
	a = a[:len(d)]
	for i := range d {
		d[i] = hash1(seedOf(imm), below(a[i]))
	}
}

func hash2V(d, a, b []float32, imm uint64) {
	a, b = a[:len(d)], b[:len(d)]
	for i := range d {
		d[i] = hash2(seedOf(imm), below(a[i]), below(b[i]))
	}
}

func hash3V(d, a, b, c []float32, imm uint64) {
	a, b, c = a[:len(d)], b[:len(d)], c[:len(d)]
	for i := range d {
		d[i] = hash3(seedOf(imm), below(a[i]), below(b[i]), below(c[i]))
	}
}

func noise1V(d, a []float32, imm uint64) {
	l := latticeOf(imm)
	a = a[:len(d)]
	for i := range d {
		x := below(a[i])
		d[i] = noise1(l, x, a[i]-float32(x))
	}
}

func noise2V(d, a, b []float32, imm uint64) {
	l := latticeOf(imm)
	a, b = a[:len(d)], b[:len(d)]
	for i := range d {
		ix, iy := below(a[i]), below(b[i])
		fx, fy := a[i]-float32(ix), b[i]-float32(iy)
		x0 := uint32(ix)*spreadX ^ l.seed
		x1 := uint32(ix+1)*spreadX ^ l.seed
		j0, j1 := iy, iy+1
		if l.period > 0 {
			j0, j1 = l.wrap(iy)
		}
		y0, y1 := uint32(j0)*spreadY, uint32(j1)*spreadY
		g00 := &slopes2[corner(x0^y0)]
		g10 := &slopes2[corner(x1^y0)]
		g01 := &slopes2[corner(x0^y1)]
		g11 := &slopes2[corner(x1^y1)]
		ex, ey := fx-1, fy-1
		u := fade(fx)
		p00 := float32(g00[0]*fx) + float32(g00[1]*fy)
		p10 := float32(g10[0]*ex) + float32(g10[1]*fy)
		p01 := float32(g01[0]*fx) + float32(g01[1]*ey)
		p11 := float32(g11[0]*ex) + float32(g11[1]*ey)
		d[i] = scale2 * lerp(lerp(p00, p10, u), lerp(p01, p11, u), fade(fy))
	}
}

func noise3V(d, a, b, c []float32, imm uint64) {
	l := latticeOf(imm)
	a, b, c = a[:len(d)], b[:len(d)], c[:len(d)]
	for i := range d {
		iz := below(c[i])
		k0, k1 := iz, iz+1
		if l.period > 0 {
			k0, k1 = l.wrap(iz)
		}
		fz := c[i] - float32(iz)
		d[i] = noise3at(l.seed, a[i], b[i], uint32(k0)*spreadZ, uint32(k1)*spreadZ, fz, fade(fz))
	}
}

// noise3VVS is noise3V where all pixels share the third coordinate, as they do
// when it is time.
func noise3VVS(d, a, b []float32, z float32, imm uint64) {
	l := latticeOf(imm)
	iz := below(z)
	k0, k1 := l.wrap(iz)
	z0, z1, fz := uint32(k0)*spreadZ, uint32(k1)*spreadZ, z-float32(iz)
	gz := fz - 1
	w := fade(fz)
	a, b = a[:len(d)], b[:len(d)]
	for i := range d {
		ix, iy := below(a[i]), below(b[i])
		fx, fy := a[i]-float32(ix), b[i]-float32(iy)
		x0 := uint32(ix)*spreadX ^ l.seed
		x1 := uint32(ix+1)*spreadX ^ l.seed
		y0, y1 := uint32(iy)*spreadY, uint32(iy+1)*spreadY
		ex, ey := fx-1, fy-1
		u, v := fade(fx), fade(fy)
		h0, h1 := y0^z0, y1^z0
		g := &slopes3[corner(x0^h0)]
		p := float32(g[0]*fx) + float32(g[1]*fy) + float32(g[2]*fz)
		g = &slopes3[corner(x1^h0)]
		q := float32(g[0]*ex) + float32(g[1]*fy) + float32(g[2]*fz)
		r0 := lerp(p, q, u)
		g = &slopes3[corner(x0^h1)]
		p = float32(g[0]*fx) + float32(g[1]*ey) + float32(g[2]*fz)
		g = &slopes3[corner(x1^h1)]
		q = float32(g[0]*ex) + float32(g[1]*ey) + float32(g[2]*fz)
		r0 = lerp(r0, lerp(p, q, u), v)
		h0, h1 = y0^z1, y1^z1
		g = &slopes3[corner(x0^h0)]
		p = float32(g[0]*fx) + float32(g[1]*fy) + float32(g[2]*gz)
		g = &slopes3[corner(x1^h0)]
		q = float32(g[0]*ex) + float32(g[1]*fy) + float32(g[2]*gz)
		r1 := lerp(p, q, u)
		g = &slopes3[corner(x0^h1)]
		p = float32(g[0]*fx) + float32(g[1]*ey) + float32(g[2]*gz)
		g = &slopes3[corner(x1^h1)]
		q = float32(g[0]*ex) + float32(g[1]*ey) + float32(g[2]*gz)
		r1 = lerp(r1, lerp(p, q, u), v)
		d[i] = scale3 * lerp(r0, r1, w)
	}
}

func noise3at(seed uint32, x, y float32, z0, z1 uint32, fz, w float32) float32 {
	ix, iy := below(x), below(y)
	fx, fy := x-float32(ix), y-float32(iy)
	x0 := uint32(ix)*spreadX ^ seed
	x1 := uint32(ix+1)*spreadX ^ seed
	y0, y1 := uint32(iy)*spreadY, uint32(iy+1)*spreadY
	u, v := fade(fx), fade(fy)
	a := lerp(dot3(x0^y0^z0, fx, fy, fz), dot3(x1^y0^z0, fx-1, fy, fz), u)
	b := lerp(dot3(x0^y1^z0, fx, fy-1, fz), dot3(x1^y1^z0, fx-1, fy-1, fz), u)
	c := lerp(dot3(x0^y0^z1, fx, fy, fz-1), dot3(x1^y0^z1, fx-1, fy, fz-1), u)
	e := lerp(dot3(x0^y1^z1, fx, fy-1, fz-1), dot3(x1^y1^z1, fx-1, fy-1, fz-1), u)
	return scale3 * lerp(lerp(a, b, v), lerp(c, e, v), w)
}
