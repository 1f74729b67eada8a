package table

// planner chooses predictions for the frames of a clip: for every stretch the
// one with the smallest residuals, by their usual cost. It keeps its choices,
// so that a clip can be coded several times.
type planner struct {
	p     *planes
	k     *coded
	reach int // most pixels of a shift
	plans []plan
	from  []int // the start that the plan was made for, -1 none
	start int   // frame of the last start
	hist  []uint8
	last  []prediction
	dark  []uint8
}

func newPlanner(p *planes, k *coded, reach int) *planner {
	g := &planner{p: p, k: k, reach: reach, plans: make([]plan, p.frames), from: make([]int, p.frames)}
	for i := range g.from {
		g.from[i] = -1
	}
	g.dark = make([]uint8, p.bytes)
	g.last = make([]prediction, len(k.stretches))
	if k.history {
		g.hist = make([]uint8, p.bytes)
	}
	return g
}

// begin stands before a start.
func (g *planner) begin(frame int) {
	g.start = frame
	clear(g.hist)
	for i := range g.last {
		g.last[i] = still1
	}
}

// frame is frame f as a decoder sees it: dark before the start.
func (g *planner) frame(f int) []uint8 {
	if f < g.start {
		return g.dark
	}
	return g.p.data[f*g.p.bytes : (f+1)*g.p.bytes]
}

// next plans frame f, the one after the last or the one at the start.
func (g *planner) next(f int) *plan {
	pl := &g.plans[f]
	now := g.frame(f)
	if g.from[f] != g.start {
		var base [mostAside + 1][]uint8
		for n := range base {
			base[n] = g.frame(f - n)
		}
		*pl = plan{same: string(now) == string(base[1])}
		if !pl.same {
			pl.how = make([]prediction, len(g.k.stretches))
			pl.equal = make([]uint8, len(g.k.stretches))
			for i := range g.k.stretches {
				pl.how[i] = g.last[i]
				if s := &g.k.stretches[i]; s.how == isCoded {
					pl.how[i], pl.equal[i] = g.choose(s, &base, g.last[i], min(f-g.start, 15))
				}
			}
		}
		g.from[f] = g.start
	}
	if !pl.same {
		copy(g.last, pl.how)
	}
	was := g.frame(f - 1)
	for i, h := range g.hist {
		g.hist[i] = since(h, now[i], was[i])
	}
	return pl
}

// usualCost is what a residual costs on average, in 16ths of a bit.
var usualCost = func() (t [256]int32) {
	for i := range t {
		n := int32(0)
		for v := i; v > 0; v >>= 1 {
			n++
		}
		if i > 0 {
			t[i] = 29 + 26*(n-1) + (26*(int32(i)-1<<(n-1)))>>(n-1)
		}
	}
	t[0] = 4
	return
}()

const (
	changeCost = 4 * 16 // of another prediction
	movedCost  = 6 * 16 // of its place
)

func (g *planner) choose(s *stretch, base *[mostAside + 1][]uint8, last prediction, known int) (prediction, uint8) {
	best, equal := last, uint8(0)
	least := int32(1 << 30)
	try := func(how prediction) {
		extra := int32(0)
		if how != last {
			extra = changeCost
			if how.n > 1 || how.off != 0 {
				extra += movedCost
			}
		}
		if extra >= least {
			return
		}
		if cost, eq := g.cost(s, how, base, least-extra); cost+extra < least {
			best, least, equal = how, cost+extra, eq
		}
	}
	try(last)
	for by := asBase; by < corrections; by++ {
		if by == asLinear && g.k.slots < 2 || by == asAgain && !g.k.history {
			continue
		}
		if how := (prediction{by, 1, 0}); how != last {
			try(how)
		}
	}
	for n := 1; n <= g.k.slots && n <= known; n++ {
		for off := -g.reach; off <= g.reach; off++ {
			if (n > 1 || off != 0) && off < 16 {
				try(prediction{asBase, n, off})
			}
		}
	}
	if best.n > 1 || best.off != 0 {
		n, off := best.n, best.off
		for _, by := range [4]correction{asBase, asSlope, asHalf, asAgain} {
			if by != asAgain || g.k.history {
				try(prediction{by, n, off})
			}
		}
	}
	return best, equal
}

// cost is the usual cost of a stretch's residuals; it stops over limit. It
// also tells which channels have none.
func (g *planner) cost(s *stretch, how prediction, base *[mostAside + 1][]uint8, limit int32) (int32, uint8) {
	hi := 255
	if g.p.count > 0 {
		hi = g.p.count - 1
	}
	now, was, older := base[0], base[1], base[2]
	from := base[how.n]
	total := int32(0)
	equal := uint8(0)
	n, stride := s.pixels, s.stride
	for ch := range stride {
		before := total
		origin := s.at + ch
		if how.by == asBase && (how.off == 0 || !g.k.wrap) {
			// The common case, without a turn in it.
			for i := range n {
				j := min(max(i+how.off, 0), n-1)
				d := int(now[origin+i*stride]) - int(from[origin+j*stride])
				total += usualCost[uint8(max(d, -d))]
				if total > limit && i&7 == 7 {
					return total, 0
				}
			}
		} else {
			j := how.off
			find := func(j int) int {
				if j < 0 || j >= n {
					if !g.k.wrap {
						j = min(max(j, 0), n-1)
					} else if j %= n; j < 0 {
						j += n
					}
				}
				return int(from[origin+j*stride])
			}
			b := find(j)
			l, left := b, b
			for i := range n {
				x := origin + i*stride
				p := b
				switch how.by {
				case asSlope:
					p = b + left - l
				case asHalf:
					p = b + (left-l)>>1
				case asBefore:
					p = left
				case asLinear:
					p = 2*int(was[x]) - int(older[x])
				case asAgain:
					if h := g.hist[x]; h == 1 {
						p++
					} else if h == 2 {
						p--
					}
				}
				p = min(max(p, 0), hi)
				v := int(now[x])
				d := v - p
				total += usualCost[uint8(max(d, -d))]
				if total > limit && i&7 == 7 {
					return total, 0
				}
				l, left = b, v
				j++
				b = find(j)
			}
		}
		if total-before == int32(n)*usualCost[0] {
			equal |= 1 << ch
			total = before + 1
		}
	}
	return total, equal
}
