package play

import "fmt"

// Tell takes an event that comes at a tick, not later than the next refresh
// and not earlier than the last. An index or value out of range is refused and
// changes nothing.
func (p *Player) Tell(at Tick, e Event) error {
	limit := 1
	switch e.Kind {
	case State:
		limit = len(p.t.States)
	case Ask, Running, Stopped:
		limit = len(p.t.Loads)
	case Clock:
		limit = 7
	case Dead:
		limit = p.t.Pixels()
	case Verified, Lost, Damaged:
		limit = len(p.t.Clips)
	}
	if e.Kind > Damaged || e.Index < 0 || e.Index >= limit {
		return fmt.Errorf("play: event %d with index %d, want 0 to %d", e.Kind, e.Index, limit-1)
	}
	bit := uint32(1) << e.Index
	switch e.Kind {
	case State:
		p.wish, p.wished = e.Index, at
	case Value:
		if e.Value < 0 || e.Value > 255 {
			return fmt.Errorf("play: value %d, want 0 to 255", e.Value)
		}
		p.refresh = p.refresh || e.Value != p.value
		p.value = e.Value
	case Ask:
		p.known |= bit
		p.starting |= bit
		p.pending |= bit
		p.refresh = true
	case Running:
		p.known |= bit
		p.running |= bit
		p.starting &^= bit
		p.refresh = true
	case Stopped:
		p.known |= bit
		p.running &^= bit
		p.starting &^= bit
		p.pending &^= bit
		p.refresh = true
	case Loads:
		if e.Mask&^p.loads != 0 {
			return fmt.Errorf("play: loads %b, the table holds %d", e.Mask, len(p.t.Loads))
		}
		p.known = p.loads
		p.running = e.Mask
		p.starting = p.pending // a load that waits for its answer still waits
		p.refresh = true
	case Level:
		if e.Value < 0 || e.Value > 1000 {
			return fmt.Errorf("play: level %d per mille, want 0 to 1000", e.Value)
		}
		p.told = Linear(e.Value)
		p.refresh, p.outdated = true, true
	case Host:
		p.host, p.silent = at, false
	case Clock:
		if e.Value < 0 || e.Value >= 86400 {
			return fmt.Errorf("play: second %d of a day", e.Value)
		}
		p.day, p.second, p.micros = e.Index, e.Value, 0
		p.plan()
	case Service:
		if e.Value < 0 || e.Value > ServiceTest {
			return fmt.Errorf("play: service %d, want 0 to %d", e.Value, ServiceTest)
		}
		p.service.told = e.Value
	case Dead:
		return p.mark(e.Index, e.Value != 0)
	case Verified, Lost, Damaged:
		p.find(e.Kind, e.Index)
	}
	return nil
}
