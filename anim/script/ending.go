package script

// output makes the last step, which writes light. It takes over the operations
// of the three lanes where they are alike and nobody else needs them.
func (c *compiler) output(body *[]step) step {
	out := c.g.out
	end := step{k: kPoints, d: [3]int32{-1, -1, -1}, v: out, s: -1, t: -1, scatter: true}
	if c.ending(body, out, &end) {
		return end
	}
	// light * number: an ending times a number that all three lanes share.
	of := c.lanes(*body, out)
	for _, l := range of {
		if l.shared || l.raw || l.k != kernel(opMul) {
			continue
		}
		for _, by := range l.v[:2] {
			rest, ok := c.others(of, by)
			if !ok {
				continue
			}
			inner, kept := end, without(*body, out)
			if c.ending(&kept, rest, &inner) && (inner.k == kRamp || inner.k == kPaint) {
				inner.k = map[kernel]kernel{kRamp: kShadedRamp, kPaint: kShadedPaint}[inner.k]
				inner.v[1] = by
				*body = kept
				return inner
			}
			*body = without(*body, out)
			end.k, end.v, c.p.shadeBy = kShade, rest, by
			return end
		}
		break
	}
	return end
}

// lane is how one of the three numbers of light is made: by a step that
// nothing else needs, as a number that all pixels share, or otherwise (raw).
type lane struct {
	step
	node        int32
	shared, raw bool
}

func (c *compiler) lanes(body []step, out [3]int32) (of [3]lane) {
	for k, o := range out {
		of[k] = lane{node: o, shared: c.shared(o), raw: !c.shared(o)}
		readers := 0
		for _, p := range out {
			if p == o {
				readers++
			}
		}
		for _, s := range body {
			if of[k].raw && (s.d[0] == o || s.d[1] == o || s.d[2] == o) && c.uses[o] == readers {
				of[k] = lane{step: s, node: o}
			}
		}
	}
	return of
}

// others gives the operands that are multiplied by one number in all lanes. A
// lane that is always 0 is 0 times anything.
func (c *compiler) others(of [3]lane, by int32) (rest [3]int32, ok bool) {
	for k, l := range of {
		zero := l.shared && c.g.nodes[l.node].op == opConst && c.g.nodes[l.node].value() == 0
		switch {
		case zero:
			rest[k] = l.node
		case l.shared || l.raw || l.k != kernel(opMul):
			return rest, false
		case l.v[0] == by:
			rest[k] = l.v[1]
		case l.v[1] == by:
			rest[k] = l.v[0]
		default:
			return rest, false
		}
	}
	return rest, true
}

// without drops the steps that make these nodes.
func without(body []step, nodes [3]int32) []step {
	var kept []step
	for _, s := range body {
		if s.d[0] >= 0 && (s.d[0] == nodes[0] || s.d[0] == nodes[1] || s.d[0] == nodes[2]) {
			continue
		}
		kept = append(kept, s)
	}
	return kept
}

// ending recognises three lanes that one kernel can make, and takes their steps
// out of the body.
func (c *compiler) ending(body *[]step, out [3]int32, end *step) bool {
	of := c.lanes(*body, out)
	if !of[0].raw && !of[0].shared && of[0].k == kernel(opGradient) && of[0].d == out {
		end.k, end.v, end.imm = kPaint, [3]int32{of[0].v[0], -1, -1}, of[0].imm
		*body = without(*body, out)
		return true
	}
	// Each lane is a shared number, x times one, that plus another, or x; what
	// is missing is 0 or 1.
	x, end2 := int32(-1), kTint
	for _, l := range of {
		if !l.shared && !l.raw && (l.k == kMulVS || l.k == kMadVSS) {
			x = l.v[0]
			break
		}
	}
	drop, readers := [3]int32{-1, -1, -1}, map[int32]bool{}
	for k, l := range of {
		s, t := c.zero, c.zero
		switch {
		case l.shared:
			t = c.slot[l.node]
		case l.node == x:
			s = c.one
			readers[-1-int32(k)] = true
		case l.raw || l.v[0] != x || l.k != kMulVS && l.k != kMadVSS:
			return false
		default:
			drop[k] = l.node
			readers[l.node] = true
			s = c.slot[l.s]
			if l.k == kMadVSS {
				t = c.slot[l.t]
			}
		}
		if t != c.zero {
			end2 = kRamp
		}
		c.p.outS[k], c.p.outT[k] = s, t
	}
	if x < 0 {
		return false
	}
	end.k, end.v = end2, [3]int32{x, -1, -1}
	*body = without(*body, drop)
	// A moving gradient: the place is made by a step that nothing else needs.
	if end.k == kRamp && c.uses[x] == len(readers) {
		for i, s := range *body {
			if s.d[0] == x && s.k == kFractVS {
				end.k, end.v[0], end.s = kFractRamp, s.v[0], s.s
				*body = append((*body)[:i:i], (*body)[i+1:]...)
				break
			}
		}
	}
	return true
}
