package blackbox

import (
	"errors"
	"fmt"
	"hash/crc32"
	"slices"
	"strings"

	"paneglow/render/play"
	"paneglow/render/table"
)

// ErrTable is wrapped when a log was written while another table played.
var ErrTable = errors.New("not the table that played")

// TableSum is what a Table record holds: the CRC-32/ISCSI of the CRCs that end the
// table's header and its clips, so it names every byte that is played.
func TableSum(t *table.Table) uint32 {
	var ends []byte
	end := func(at int) { ends = append(ends, t.Bytes()[at:at+4]...) }
	end(t.HeaderLength - 4)
	for i := range t.Clips {
		end(int(t.Clips[i].Offset) + int(t.Clips[i].Length))
	}
	return crc32.Checksum(ends, crc32.MakeTable(crc32.Castagnoli))
}

// slimmed tells whether a sum is that of the table as upload sends it, with fewer
// notes: nothing that is played differs.
func slimmed(t *table.Table, sum uint32) bool {
	slim, err := t.Slim()
	return err == nil && TableSum(slim) == sum
}

// Plays tells whether a table is the one that the span's run played.
func (s *Span) Plays(t *table.Table) bool {
	return s.Known && (TableSum(t) == s.Sum || slimmed(t, s.Sum))
}

// Player plays a span's refreshes again.
type Player struct {
	t       *table.Table
	span    *Span
	twin    *play.Player
	number  uint32 // of the next refresh
	at      int    // the next record
	values  []event
	list    []int // of dead pixels, in the making
	dead    []int
	whole   []bool // clips
	damaged []bool
	lot     *uint32 // after the refresh in the making, where a clip was lost in it
	first   []uint8 // a check point's own refresh, not given yet
}

type event struct {
	refresh uint32
	value   uint8
}

// Play begins with a refresh of the span. It is made from the nearest check point
// before it, or from the player's beginning.
func (s *Span) Play(t *table.Table, refresh uint32) (*Player, error) {
	if refresh < s.From || refresh > s.To {
		return nil, fmt.Errorf("blackbox: refresh %d, want %d to %d", refresh, s.From, s.To)
	}
	if !s.Known {
		return nil, fmt.Errorf("blackbox: run %d ended before the controller had written down which table played: %w", s.Run, ErrTable)
	}
	if !s.Plays(t) {
		return nil, fmt.Errorf("blackbox: run %d played table %08x, this one is %08x: %w", s.Run, s.Sum, TableSum(t), ErrTable)
	}
	p := &Player{t: t, span: s, whole: make([]bool, len(t.Clips)), damaged: make([]bool, len(t.Clips))}
	o := play.Options{Refreshes: s.PerFrame, Stay: true, Unverified: true, Still: s.still, Work: s.service, Seed: s.seed}
	check := -1
	for _, k := range s.checks {
		if s.records[k].Refresh <= refresh {
			check = k
		}
	}
	var err error
	switch {
	case check >= 0:
		err = p.resume(o, check)
	case s.begun:
		p.number = 1
		p.twin, err = play.NewPlayer(t, o)
	default:
		err = errors.New("blackbox: a span without a beginning")
	}
	if err != nil {
		return nil, err
	}
	dst := make([]uint8, t.Channels())
	for p.number < refresh {
		if _, err := p.Next(dst); err != nil {
			return nil, err
		}
	}
	return p, nil
}

// resume begins with the check point that ends with a record.
func (p *Player) resume(o play.Options, end int) error {
	rs := p.span.records[:end+1]
	check := &rs[end]
	from := end
	for from > 0 && rs[from-1].Refresh == check.Refresh && rs[from].Kind != Table {
		from--
	}
	at := play.Place{Refresh: check.Refresh, State: int(check.Body[0]), Clip: int(check.Body[1]), Sub: int(check.Body[2]), Frame: -1,
		Facts: play.Facts{Known: check.u16(3), Running: check.u16(5), Starting: check.u16(7)}}
	n := len(p.t.Supplies())
	at.InForce, at.Held = make([]int64, n), make([]int64, n)
	seen := 0
	for i := from; i <= end; i++ {
		r := &rs[i]
		switch r.Kind {
		case Table:
			at.Level = r.u24(5)
		case Place:
			at.Frame, at.Lot, at.Value = int(r.u32(0)), r.u32(4), int(r.Body[8])
		case Budget:
			if k := int(r.Body[8]); k < n {
				at.InForce[k], at.Held[k] = int64(int32(r.u32(0))), int64(int32(r.u32(4)))
				seen |= 1 << k
			}
		case Dead:
			if p.gather(r) {
				p.dead = slices.Clone(p.list)
			}
		case Damaged:
			for _, c := range bits(r.Body[:8]) {
				if c < len(p.damaged) {
					p.damaged[c] = true
					at.Damaged = append(at.Damaged, c)
				}
			}
		}
	}
	if at.Frame < 0 || seen != 1<<n-1 || at.Level == 0 && at.Frame < 0 {
		return fmt.Errorf("blackbox: the check point of refresh %d is not whole", check.Refresh)
	}
	at.Dead = p.dead
	p.first = make([]uint8, p.t.Channels())
	var err error
	if p.twin, err = play.Resume(p.t, o, at, p.first); err != nil {
		return fmt.Errorf("blackbox: the check point of refresh %d: %w", check.Refresh, err)
	}
	p.whole[at.Clip] = true
	p.number, p.at = check.Refresh, end+1
	return nil
}

// Number is that of the refresh which Next gives.
func (p *Player) Number() uint32 { return p.number }

// Dead are the pixels that show nothing since the last refresh: they were taken out.
// Valid until the next one.
func (p *Player) Dead() []int { return p.dead }

// Next makes the next refresh into dst, a frame long (or it panics), in data order.
// After the span's last one it gives an error.
func (p *Player) Next(dst []uint8) (play.Latched, error) {
	if p.number > p.span.To {
		return play.Latched{}, fmt.Errorf("blackbox: refresh %d: the log is exact up to refresh %d only, for %s", p.number, p.span.To, p.span.Why)
	}
	if p.first != nil {
		copy(dst, p.first)
		p.first = nil
		p.number++
		return p.twin.Last(), nil
	}
	for ; p.at < len(p.span.records) && p.span.records[p.at].Refresh <= p.number; p.at++ {
		if err := p.tell(&p.span.records[p.at]); err != nil {
			return play.Latched{}, fmt.Errorf("blackbox: record %d: %w", p.span.records[p.at].Number, err)
		}
	}
	for len(p.values) > 0 && p.values[0].refresh <= p.number {
		if err := p.twin.Tell(0, play.Event{Kind: play.Value, Value: int(p.values[0].value)}); err != nil {
			return play.Latched{}, err
		}
		p.values = p.values[1:]
	}
	l := p.twin.Next(dst)
	if p.lot != nil {
		p.twin.PutLot(*p.lot)
		p.lot = nil
	}
	p.number++
	return l, p.twin.Err()
}

// tell brings a record into force.
func (p *Player) tell(r *Record) error {
	t := func(e play.Event) error { return p.twin.Tell(0, e) }
	switch r.Kind {
	case State:
		return t(play.Event{Kind: play.State, Index: int(r.Body[0])})
	case Facts:
		p.twin.PutFacts(play.Facts{Known: r.u16(0), Running: r.u16(2), Starting: r.u16(4), Pending: r.u16(6)})
	case Value:
		at, v := r.Values()
		for i := range at {
			p.values = append(p.values, event{at[i], v[i]})
		}
	case Place:
		// A value that was told while nothing followed it is written down here only.
		p.twin.PutValue(r.Body[8])
	case Level:
		p.twin.PutLevel(r.u24(0))
	case Service:
		return t(play.Event{Kind: play.Service, Value: int(r.Body[0])})
	case News:
		p.twin.PutNews(r.Body[0]&2 != 0)
	case Dead:
		if !p.gather(r) {
			return nil
		}
		for _, px := range p.dead {
			if !slices.Contains(p.list, px) {
				if err := t(play.Event{Kind: play.Dead, Index: px}); err != nil {
					return err
				}
			}
		}
		for _, px := range p.list {
			if !slices.Contains(p.dead, px) {
				if err := t(play.Event{Kind: play.Dead, Index: px, Value: 1}); err != nil {
					return err
				}
			}
		}
		p.dead = slices.Clone(p.list)
	case Lost:
		c := int(r.Body[0])
		if c >= len(p.whole) {
			return fmt.Errorf("clip %d of %d", c, len(p.whole))
		}
		lot := r.u32(2)
		p.lot = &lot
		told := []play.Kind{play.Verified, play.Lost, play.Verified}
		if p.whole[c] {
			told = told[1:]
		}
		if p.whole[c] = r.Body[1] != 0; !p.whole[c] {
			told = told[:len(told)-1]
		}
		for _, kind := range told {
			if err := t(play.Event{Kind: kind, Index: c}); err != nil {
				return err
			}
		}
	case Damaged:
		for _, i := range bits(r.Body[:8]) {
			if i < len(p.damaged) && !p.damaged[i] {
				p.damaged[i], p.whole[i] = true, false
				if err := t(play.Event{Kind: play.Damaged, Index: i}); err != nil {
					return err
				}
			}
		}
	case Verified:
		now := bits(r.Body[:8])
		for i := range p.whole {
			is := slices.Contains(now, i)
			kind := play.Verified
			if !is {
				kind = play.Lost
			}
			if is != p.whole[i] {
				if err := t(play.Event{Kind: kind, Index: i}); err != nil {
					return err
				}
				p.whole[i] = is
			}
		}
	}
	return nil
}

// gather takes a list of dead pixels, four a record; true when it is whole.
func (p *Player) gather(r *Record) bool {
	if r.Body[0] != 0 {
		p.list = p.list[:0]
	}
	for i := 1; i < 9; i += 2 {
		px := int(r.u16(i))
		if px == 0xffff {
			return true
		}
		if len(p.list) < 255 { // the player counts at most 254
			p.list = append(p.list, px)
		}
	}
	return false
}

// Wires are a frame's codes as they go out on every data line: strips in data order,
// pixels that have an address, dies in the part's order.
func (p *Player) Wires(codes []uint8) [][]uint8 {
	out := make([][]uint8, len(p.t.Lines))
	at, first := 0, 0
	for i := range p.t.Strips {
		st := &p.t.Strips[i]
		part := &p.t.Parts[st.Part]
		for px := range st.Pixels {
			if !slices.Contains(st.Missing, px) && !slices.Contains(p.dead, first+px) {
				for k := range part.Dies {
					out[st.Line] = append(out[st.Line], codes[at+strings.IndexByte("RGBW", part.Order[k])])
				}
			}
			at += part.Dies
		}
		first += st.Pixels
	}
	return out
}
