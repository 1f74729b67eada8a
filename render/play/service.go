package play

import (
	"fmt"
	"slices"

	"paneglow/render/table"
)

// Modes of the service state: what somebody inside the machine sees, without a
// computer and without any load able to start.
const (
	ServiceOff   = iota
	ServiceLight // a work light
	ServiceTest  // every second another picture: red, green, blue, white, count, direction
)

// service is the service state.
type service struct {
	told, on int
	code     uint8  // of what is lit
	at       uint32 // refreshes since it began
	picture  int
}

// next takes what was told into a refresh.
func (s *service) next(rate uint32) {
	if s.told == s.on {
		s.at++
	} else {
		s.at = 0
	}
	s.on = s.told
	s.picture = int(s.at / rate % 6)
}

// paint writes the picture of this refresh: a light everywhere, or the test's.
// Count: every tenth pixel of a strip white, its first green, its last red.
// Direction: a white pixel runs along every strip.
func (s *service) paint(dst []uint8, t *table.Table, rate uint32) {
	at := 0
	for k := range t.Strips {
		st := &t.Strips[k]
		dies := t.Parts[st.Part].Dies
		runner := int(s.at % rate * uint32(st.Pixels) / rate)
		for i := range st.Pixels {
			px := dst[at : at+dies]
			at += dies
			clear(px)
			white := func() { px[0], px[1], px[2] = s.code, s.code, s.code }
			switch {
			case s.on == ServiceLight:
				white()
				if dies == 4 {
					px[3] = s.code
				}
			case s.picture < 3:
				px[s.picture] = s.code
			case s.picture == 3 && dies == 4:
				px[3] = s.code
			case s.picture == 3:
				white()
			case s.picture == 4 && i == 0:
				px[1] = s.code
			case s.picture == 4 && i == st.Pixels-1:
				px[0] = s.code
			case s.picture == 4 && i%10 == 9, s.picture == 5 && i == runner:
				white()
			}
		}
	}
}

// mark takes a pixel out of the data or back into it; the picture of all others
// stays in place. One that the table calls missing stays so.
func (p *Player) mark(pixel int, dead bool) error {
	at, found := slices.BinarySearch(p.dead, pixel)
	switch {
	case dead == found:
		return nil
	case dead:
		if p.missing(pixel) {
			return nil
		}
		p.dead = slices.Insert(p.dead, at, pixel)
	default:
		p.dead = slices.Delete(p.dead, at, at+1)
	}
	meter, err := p.t.MeterWithout(p.dead)
	if err != nil {
		return fmt.Errorf("play: dead pixel %d: %w", pixel, err)
	}
	for i := range p.rails {
		r := &p.rails[i]
		r.drawn -= r.meter.Idle()
		r.meter = meter.Of(i)
		r.drawn += r.meter.Idle()
		r.ceiling = r.meter.AnyCeiling()
	}
	p.refresh, p.outdated = true, true
	return nil
}

// missing tells whether the table gives a pixel no address.
func (p *Player) missing(pixel int) bool {
	for i := range p.t.Strips {
		st := &p.t.Strips[i]
		if pixel < st.Pixels {
			return slices.Contains(st.Missing, pixel)
		}
		pixel -= st.Pixels
	}
	return false
}

// hide blackens what has no address.
func (p *Player) hide(codes []uint8) {
	at, px, k := 0, 0, 0
	for i := range p.t.Strips {
		st := &p.t.Strips[i]
		dies := p.t.Parts[st.Part].Dies
		for _, m := range st.Missing {
			clear(codes[at+m*dies : at+(m+1)*dies])
		}
		for ; k < len(p.dead) && p.dead[k] < px+st.Pixels; k++ {
			d := at + (p.dead[k]-px)*dies
			clear(codes[d : d+dies])
		}
		at += st.Pixels * dies
		px += st.Pixels
	}
}
