package stream

import "encoding/binary"

// planner chooses a frame's operations: the cheapest way from its first channel to
// its last, in half bytes, every operation extended or begun anew at every channel.
// The one or two bytes by which lengths of 63 and more are longer are not weighed,
// and a copy goes as far as it can, so it may miss the shortest by a few bytes.
type planner struct {
	best  []step // the cheapest way to stand before channel i
	found [4096]int32
	ends  [256]int32 // where the channels stop being those so far back
	ops   []step
}

// step is an operation that ends before a channel.
type step struct {
	cost, from int32
	op, back   uint8
}

const never = 1 << 29

// plan fills best.
func (p *planner) plan(codes, before []uint8) {
	n := len(codes)
	if cap(p.best) < n+1 {
		p.best = make([]step, n+1)
	}
	best := p.best[:n+1]
	for i := range best {
		best[i].cost = never
	}
	best[0] = step{}
	for i := range p.found {
		p.found[i] = -1
	}
	clear(p.ends[:])
	better := func(at int, s step) {
		if s.cost < best[at].cost {
			best[at] = s
		}
	}
	// The cheapest way that is within each kind of operation.
	kept, literal, small := step{cost: never}, step{cost: never}, step{cost: never}
	for i := range codes {
		begin := step{best[i].cost + 2, int32(i), 0, 0}
		if codes[i] == before[i] {
			if begin.cost <= kept.cost {
				kept = begin
			}
			better(i+1, step{kept.cost, kept.from, opKeep, 0})
		} else {
			kept.cost = never
		}
		if begin.cost <= literal.cost {
			literal = begin
		}
		literal.cost += 2
		better(i+1, step{literal.cost, literal.from, opLiteral, 0})
		if d := codes[i] - before[i] + 8; d < 16 {
			if begin.cost <= small.cost {
				small = begin
			}
			small.cost++
			better(i+1, step{small.cost + (int32(i)+1-small.from)&1, small.from, opSmall, 0})
		} else {
			small.cost = never
		}
		for _, back := range [3]int{3, 4, i - p.last(codes, i)} {
			if back < 1 || back > 255 || back > i {
				continue
			}
			end := max(int(p.ends[back]), i)
			for end < n && codes[end] == codes[end-back] {
				end++
			}
			if p.ends[back] = int32(end); end > i {
				better(end, step{begin.cost + 2, int32(i), opBack, uint8(back)})
			}
		}
	}
}

// last is where the three codes from i on stood before, of those that share a place
// in the table; i+1 for nowhere.
func (p *planner) last(codes []uint8, i int) int {
	if i+3 > len(codes) {
		return i + 1
	}
	key := (uint32(codes[i])<<16 | uint32(codes[i+1])<<8 | uint32(codes[i+2])) * 2654435761 >> 20
	at := p.found[key]
	p.found[key] = int32(i)
	if at < 0 {
		return i + 1
	}
	return int(at)
}

// appendFrame appends a frame without its length.
func (p *planner) appendFrame(dst []byte, codes, before []uint8, mark int, flags uint8) []byte {
	start := len(dst)
	head := []byte{flags}
	if mark != None {
		head = []byte{flags | flagMarked, uint8(mark)}
	}
	p.plan(codes, before)
	p.ops = p.ops[:0]
	for i := len(codes); i > 0; i = int(p.best[i].from) {
		s := p.best[i]
		s.cost = int32(i) // where it ends
		p.ops = append(p.ops, s)
	}
	dst = append(dst, head...)
	for k := len(p.ops) - 1; k >= 0; k-- {
		s := p.ops[k]
		from, to := int(s.from), int(s.cost)
		if k == 0 && s.op == opKeep {
			break // what nothing is said about stays
		}
		dst = appendOp(dst, s.op, to-from)
		switch s.op {
		case opLiteral:
			dst = append(dst, codes[from:to]...)
		case opBack:
			dst = append(dst, s.back)
		case opSmall:
			for i := from; i < to; i += 2 {
				b := (codes[i] - before[i]) & 15
				if i+1 < to {
					b |= (codes[i+1] - before[i+1]) << 4
				}
				dst = append(dst, b)
			}
		}
	}
	if plain := len(head) + 3 + len(codes); len(dst)-start > plain {
		dst = append(appendOp(append(dst[:start], head...), opLiteral, len(codes)), codes...)
	}
	return dst
}

func appendOp(dst []byte, op uint8, n int) []byte {
	switch {
	case n <= 62:
		return append(dst, op<<6|uint8(n-1))
	case n <= 318:
		return append(dst, op<<6|62, uint8(n-63))
	}
	return binary.LittleEndian.AppendUint16(append(dst, op<<6|63), uint16(n))
}
