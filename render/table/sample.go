package table

// plane codes or follows one channel of a stretch. src, the wanted frame, is
// read by encoders only. It reports whether every value is a value.
//
// The base of sample i is b, of the next one r, of the one before l; p is the
// prediction, was the sample's last value.
func (m *model) plane(s *stretch, ch int, how prediction, free bool, src []uint8) bool {
	base := m.frame
	j := how.off
	if how.n > 1 || j != 0 {
		base = m.older(how.n)
	}
	var older []uint8
	if how.by == asLinear {
		older = m.older(2)
	}
	n, stride, hi := s.pixels, s.stride, m.hi
	origin := s.at + ch
	frame, history := m.frame, m.history
	find := func(j int) int {
		switch {
		case j >= 0 && j < n:
		case !m.k.wrap && j < 0:
			j = 0
		case !m.k.wrap:
			j = n - 1
		default:
			if j %= n; j < 0 {
				j += n
			}
		}
		return int(base[origin+j*stride])
	}
	b := find(j)
	l, left := b, b
	e1, e2 := 0, 0 // the last two residuals
	m.toil.planes++
	if free {
		m.toil.free += n
	} else {
		m.toil.samples += n
	}
	paired := m.pair != alone
	for x, i := origin, 0; i < n; i, x = i+1, x+stride {
		r := b
		if i+1 < n {
			j++
			if j > 0 && j < n {
				r = int(base[origin+j*stride])
			} else {
				r = find(j)
			}
		}
		was := int(frame[x])
		p := b
		switch how.by {
		case asSlope:
			p = b + left - l
		case asHalf:
			p = b + (left-l)>>1
		case asBefore:
			p = left
		case asLinear:
			p = 2*was - int(older[x])
		case asAgain:
			if h := history[x]; h == 1 {
				p++
			} else if h == 2 {
				p--
			}
		}
		p = min(max(p, 0), hi)
		v := p
		if !free {
			bl, br := near(l-p)*5, near(r-p)
			var ctx int
			if history != nil {
				h := history[x]
				ctx = ((bl+br)*4+int(spans4[h>>2]))*3 + int(h&3)
			} else {
				ctx = (bl+br)*3 + side(b+left-l-p)
			}
			first := m.first[2*ctx : 2*ctx+2]
			e := 0
			if src != nil {
				e = int(src[x]) - p
			}
			var zero int
			if paired {
				var c2 int
				if m.pair == byValue {
					c2 = p>>m.k.shift*3 + side(was-p)
				} else {
					c2 = ((near(left-p)*5+br)*3+side(was-p))*3 + side(e1)
				}
				second := m.second[2*c2 : 2*c2+2]
				zero = m.mixed(&m.weights[0], &first[0], &second[0], isZero(e))
				if zero == 0 {
					e = m.residual(m.mixed(&m.weights[1], &first[1], &second[1], isNegative(e)), e, e1, e2)
				}
			} else {
				zero = m.single(&first[0], isZero(e))
				if zero == 0 {
					e = m.residual(m.single(&first[1], isNegative(e)), e, e1, e2)
				}
			}
			if zero != 0 {
				e = 0
			}
			v = p + e
			if uint(v) > uint(hi) {
				return false
			}
			e1, e2 = e, e1
		}
		frame[x] = uint8(v)
		if history != nil {
			history[x] = since(history[x], uint8(v), uint8(was))
		}
		l, left, b = b, v, r
	}
	m.toil.by[how.by] += n
	if history != nil {
		m.toil.past += n
	}
	if !free {
		switch m.pair {
		case byValue:
			m.toil.valued += n
		case byShape:
			m.toil.shaped += n
		}
	}
	return true
}

// residual codes the rest of a residual that is not 0.
func (m *model) residual(negative, e, e1, e2 int) int {
	if e < 0 {
		e = -e
	}
	a, b := size3(e1), size3(e2)
	got := 1
	if m.single(&m.size[0][a][b], over(e, 1)) != 0 {
		got = 2
		if m.single(&m.size[1][a][b], over(e, 2)) != 0 {
			t := &m.tail[min((magnitude(e1)+magnitude(e2))>>3, 3)]
			w := e - 2 // 1 and more
			l := 0
			for l < 7 && m.single(&t[l], over(w, 2<<l-1)) != 0 {
				l++
			}
			got = 1
			if l > 0 {
				got = 2 | m.single(&t[7+l], w>>max(l-1, 0)&1)
				for k := l - 2; k >= 0; k-- {
					got = got<<1 | m.half(w>>k&1)
				}
			}
			got += 2
		}
	}
	if negative != 0 {
		return -got
	}
	return got
}

// spans4 is the class of how many frames a sample has stood: 0, 1 to 3, 4 to
// 15, 16 and more.
var spans4 = [17]uint8{0, 1, 1, 1, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 3}

// near is a difference limited to -2..2, as 0..4; side is its sign as 0..2.
func near(d int) int { return min(max(d, -2), 2) + 2 }

func side(d int) int { return min(max(d, -1), 1) + 1 }

func magnitude(d int) int {
	if d < 0 {
		return -d
	}
	return d
}

func size3(d int) int { return min(magnitude(d), 3) }

func over(v, than int) int {
	if v > than {
		return 1
	}
	return 0
}

func isZero(e int) int {
	if e == 0 {
		return 1
	}
	return 0
}

func isNegative(e int) int {
	if e < 0 {
		return 1
	}
	return 0
}
