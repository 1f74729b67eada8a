package table

import (
	"errors"
	"fmt"
)

// errCoded says what is wrong with a coded clip's bytes.
var errCoded = errors.New("its bits make no frame")

// next codes the next frame: src is the wanted frame for an encoder, plan its
// predictions; both nil for a decoder.
func (m *model) next(src []uint8, plan *plan) error {
	k := m.k
	m.push()
	if len(k.turns) > 0 {
		m.toil.turned += k.bytes
		m.toil.runs += len(k.turns)
	}
	bit := 0
	if plan != nil && plan.same {
		bit = 1
	}
	if m.single(&m.same, bit) != 0 {
		if k.history {
			m.age()
		}
		return nil
	}
	bit = 0
	if plan != nil && plan.raw {
		bit = 1
	}
	if m.single(&m.raw, bit) != 0 {
		return m.rawFrame(src)
	}
	if m.pair = k.second; m.pair != alone {
		bit = 0
		if plan != nil && plan.light {
			bit = 1
		}
		if m.single(&m.light, bit) != 0 {
			m.pair = alone
		}
	}
	number := 0
	for i := range k.stretches {
		s := &k.stretches[i]
		m.toil.entries++
		if s.how != isCoded {
			m.copyOut(s)
			continue
		}
		want := m.how[i]
		if plan != nil {
			want = plan.how[i]
		}
		if err := m.predictBy(i, want); err != nil {
			return err
		}
		for ch := range s.stride {
			free := 0
			if plan != nil && plan.equal[i]>>ch&1 != 0 {
				free = 1
			}
			free = m.single(&m.equal[min(number, mostPlanes-1)], free)
			number++
			if free == 0 {
				bare := 0
				if plan != nil && plan.bare != nil {
					bare = int(plan.bare[i] >> ch & 1)
				}
				if m.single(&m.bare, bare) != 0 {
					if !m.asItIs(s.at+ch, s.stride, s.pixels, src) {
						return errCoded
					}
					continue
				}
			}
			if !m.plane(s, ch, m.how[i], free != 0, src) {
				return errCoded
			}
		}
	}
	return nil
}

// predictBy codes the prediction of a stretch.
func (m *model) predictBy(i int, want prediction) error {
	kept := 0
	if want == m.how[i] {
		kept = 1
	}
	if m.single(&m.keep, kept) != 0 {
		return nil
	}
	by := correction(m.number(int(want.by), 3))
	moved := 0
	if want.n > 1 || want.off != 0 {
		moved = 1
	}
	got := prediction{by, 1, 0}
	if m.half(moved) != 0 {
		got.n = m.number(want.n-1, 4) + 1
		got.off = m.number(want.off+16, 5) - 16
	}
	m.how[i] = got
	switch {
	case by >= corrections:
		return fmt.Errorf("correction %d: %w", by, errCoded)
	case (got.n > 1 || got.off != 0) && got.n > m.k.slots:
		return fmt.Errorf("a prediction from %d frames ago, %d are kept: %w", got.n, m.k.slots, errCoded)
	case by == asLinear && m.k.slots < 2:
		return fmt.Errorf("a linear prediction, %d frames are kept: %w", m.k.slots, errCoded)
	case by == asAgain && !m.k.history:
		return fmt.Errorf("a repeated step without history: %w", errCoded)
	}
	return nil
}

// rawFrame codes a frame as it is.
func (m *model) rawFrame(src []uint8) error {
	if !m.asItIs(0, 1, len(m.frame), src) {
		return errCoded
	}
	return nil
}

// asItIs codes n samples as they are, in whole bytes between the bits. It
// reports whether every value is one.
func (m *model) asItIs(at, stride, n int, src []uint8) bool {
	m.toil.raw += n
	switch m.way {
	case encoding:
		m.finish()
	case weighing:
		m.spent += uint64(n+3) * 8 * 256
	}
	for x := at; n > 0; n, x = n-1, x+stride {
		var v uint8
		if m.way == decoding {
			v = m.byte()
		} else {
			v = src[x]
		}
		if m.way == encoding {
			m.out = append(m.out, v)
		}
		if int(v) > m.hi {
			return false
		}
		m.follow(x, v)
	}
	if m.way != weighing {
		m.begin()
	}
	return true
}

// plan is an encoder's choice for a frame.
type plan struct {
	same, raw bool
	light     bool // without second contexts
	how       []prediction
	equal     []uint8 // bit per channel
	bare      []uint8 // bit per channel that is stored as it is; may be nil
}
