package play

import (
	"fmt"
	"math"

	"paneglow/render/drive"
	"paneglow/render/table"
)

// What a machine has written down of itself is played again here: not what was
// told and when, but what came into force with a refresh. A player that does so
// has the option Stay, since moves that the machine made by itself are written
// down like any other.

// Facts are what is known of the loads, one bit each.
type Facts struct {
	Known, Running, Starting uint32
	Pending                  uint32 // asked and not granted yet
}

// PutFacts brings facts into force with the next refresh, as they are.
func (p *Player) PutFacts(f Facts) {
	if f != (Facts{p.known, p.running, p.starting, p.pending}) {
		p.refresh = true
	}
	p.known, p.running, p.starting, p.pending = f.Known&p.loads, f.Running&p.loads, f.Starting&p.loads, f.Pending&p.loads
}

// PutLevel brings a level into force with the next refresh: a factor on light,
// k/65536, of which no timetable knows.
func (p *Player) PutLevel(gain uint32) {
	p.told, p.planned, p.day = min(gain, drive.FullGain), drive.FullGain, table.None
	p.refresh, p.outdated = true, true
}

// PutValue brings a value into force with the next refresh, as it is: no news, for
// it was told at some time before.
func (p *Player) PutValue(v uint8) { p.value = int(v) }

// PutNews has a still state go out with the next refresh, for news that changed
// nothing; outdated: what the strips hold in place of a lost clip too.
func (p *Player) PutNews(outdated bool) {
	p.refresh, p.outdated = true, p.outdated || outdated
}

// Place is where a player is after a refresh when nothing but a clip is on show:
// no crossfade, nobody inside, no light that climbs.
type Place struct {
	Refresh            uint32 // its number, from 1
	State, Clip, Frame int
	Sub                int // refreshes of the frame so far
	Lot                uint32
	Value              int
	Level              uint32
	Facts              Facts
	InForce, Held      []int64 // a budget for every supply: now, and when what is shown was sent
	Dead               []int   // pixels
	Damaged            []int   // clips
}

// Resume makes a player that goes on from a place, and writes what it shows there
// into dst. It knows of no clip but the one on show that it is whole.
func Resume(t *table.Table, o Options, at Place, dst []uint8) (*Player, error) {
	o.Stay, o.Unverified = true, true
	p, err := NewPlayer(t, o)
	if err != nil {
		return nil, err
	}
	switch {
	case at.Refresh == 0:
		return nil, fmt.Errorf("play: a place before the first refresh")
	case at.State < 0 || at.State >= len(t.States):
		return nil, fmt.Errorf("play: state %d of %d", at.State, len(t.States))
	case at.Clip < 0 || at.Clip >= len(t.Clips):
		return nil, fmt.Errorf("play: clip %d of %d", at.Clip, len(t.Clips))
	case at.Frame < 0 || at.Frame >= t.Clips[at.Clip].Frames:
		return nil, fmt.Errorf("play: frame %d of clip %d, which has %d", at.Frame, at.Clip, t.Clips[at.Clip].Frames)
	case at.Sub < 1 || at.Sub > p.perFrame:
		return nil, fmt.Errorf("play: refresh %d of a frame, want 1 to %d", at.Sub, p.perFrame)
	case at.Value < 0 || at.Value > 255:
		return nil, fmt.Errorf("play: value %d, want 0 to 255", at.Value)
	case len(at.InForce) != len(p.rails) || len(at.Held) != len(p.rails):
		return nil, fmt.Errorf("play: budgets of %d and %d supplies, the table has %d", len(at.InForce), len(at.Held), len(p.rails))
	case len(dst) != len(p.out):
		panic("play: a frame of another length than the table's")
	}
	for _, px := range at.Dead {
		if err := p.Tell(0, Event{Kind: Dead, Index: px, Value: 1}); err != nil {
			return nil, err
		}
	}
	for _, c := range at.Damaged {
		if err := p.Tell(0, Event{Kind: Damaged, Index: c}); err != nil {
			return nil, err
		}
	}
	p.begin(at.Clip)
	p.state = at.State
	p.started, p.black = true, false
	p.value, p.lot, p.told = at.Value, max(at.Lot, 1), min(at.Level, drive.FullGain)
	p.known, p.running, p.starting = at.Facts.Known&p.loads, at.Facts.Running&p.loads, at.Facts.Starting&p.loads
	p.verified[at.Clip] = true
	p.remainder = uint32((uint64(at.Refresh) - 1) * uint64(1_000_000%p.rate) % uint64(p.rate))
	p.take(at.Frame)
	p.sub = at.Sub
	copy(p.shown, p.codes)
	for i := range p.rails {
		p.rails[i].inForce = at.Held[i]
		p.rails[i].drawn = math.MaxInt32 // nothing climbs
	}
	p.send(true, 0)
	for i := range p.rails {
		p.rails[i].inForce = at.InForce[i]
	}
	copy(dst, p.out)
	return p, p.err
}

// PutLot says what the generator of lots stands at after the latest refresh: a
// clip that is lost in the midst of a hand-over may have drawn one, or not.
func (p *Player) PutLot(lot uint32) { p.lot = max(lot, 1) }

// Last is the latest refresh; its lists are valid until the next one.
func (p *Player) Last() Latched { return p.last }
