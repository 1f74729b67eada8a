package play

import (
	"errors"
	"fmt"

	"paneglow/render/drive"
	"paneglow/render/table"
)

// Options of a player. The zero value starts at tick 0 in state 0 and
// refreshes once a frame.
type Options struct {
	Start      Tick // of the first refresh
	First      int  // the state shown after start and reset
	Refreshes  int  // per frame; 0 counts as 1
	KnownLoads bool // at the start all loads are known to stand still
	Stay       bool // no longest stay and no silent host: for a look at one state

	Unverified bool     // clips are shown once an event Verified has come for them; until then the built-in still is
	Still      [4]uint8 // the built-in still's codes of red, green, blue, white
	Work       uint8    // code of the pictures of the service state
	Seed       uint32   // of the lots that clips are begun by; 0 counts as 1
}

// Player is one machine's player. One serves one goroutine.
type Player struct {
	t     *table.Table
	loads uint32 // one bit for every load of the table
	rails []rail // one for every supply

	// time
	at        Tick
	rate      uint32 // refreshes a second
	remainder uint32 // of the microseconds that a whole rate does not divide
	perFrame  int
	stay      bool
	sub       int // refreshes of the frame on show
	started   bool

	// what is shown
	state     int
	entered   Tick
	wish      int // a state told since the last refresh, or None
	wished    Tick
	clip      int
	decoder   *table.Decoder
	frame     int
	finishing bool    // the clip plays to its end, then the state's own
	fresh     bool    // the clip has not shown a frame yet
	black     bool    // nothing but black was shown yet
	codes     []uint8 // of the clip's frame, before level and budget
	frozen    []uint8 // what a crossfade comes from
	shown     []uint8 // the mix of the two
	fadeAt    int     // refreshes of the crossfade so far
	fadeLen   int     // 0: none
	value     int
	err       error
	verified  []bool // clips
	damaged   []bool // clips that are broken for good
	lost      int    // the clip that was lost last and not verified since, or None
	holding   bool   // the strips keep what they show: the clip on show was lost
	rest      int    // the state whose clip stands in for one that is broken for good
	still     [4]uint8
	lot       uint32
	service   service
	stream    stream
	dead      []int // pixels of the panel, ascending

	// what is known
	known    uint32 // loads whose condition was told
	running  uint32
	starting uint32 // asked and not yet told to run or to have stopped
	pending  uint32 // asked and not yet granted
	granted  []int
	host     Tick
	silent   bool

	// light
	told    uint32 // level by event, a linear factor k/65536
	planned uint32 // level by timetable
	day     int    // None without a clock
	second  int
	micros  uint32

	// what the strips show
	out      []uint8
	last     Latched
	refresh  bool // a still state owes one
	outdated bool // what the strips hold may stand no longer: the level or the pixels changed
}

// NewPlayer makes a player before its first refresh, which is black. The
// table must have a state; First must be one.
func NewPlayer(t *table.Table, o Options) (*Player, error) {
	if len(t.States) == 0 {
		return nil, errors.New("play: the table has no state to show")
	}
	if o.First < 0 || o.First >= len(t.States) {
		return nil, fmt.Errorf("play: first state %d of %d", o.First, len(t.States))
	}
	if o.Refreshes < 0 || o.Refreshes > 1000 {
		return nil, fmt.Errorf("play: %d refreshes a frame, want 1 to 1000", o.Refreshes)
	}
	n := t.Channels()
	p := &Player{
		t: t, loads: 1<<len(t.Loads) - 1, rails: newRails(t),
		at: o.Start, host: o.Start, perFrame: max(o.Refreshes, 1), stay: o.Stay,
		state: o.First, wish: table.None, clip: table.None, black: true,
		verified: make([]bool, len(t.Clips)), damaged: make([]bool, len(t.Clips)), lost: table.None, rest: o.First, still: o.Still, lot: max(o.Seed, 1), service: service{code: o.Work},
		codes: make([]uint8, n), frozen: make([]uint8, n), shown: make([]uint8, n), out: make([]uint8, n),
		told: drive.FullGain, planned: drive.FullGain, day: table.None,
		granted: make([]int, 0, len(t.Loads)),
	}
	p.rate = uint32(t.FPS * p.perFrame)
	if t.Then >= 0 && t.Then < len(t.States) {
		p.rest = t.Then
	}
	if o.KnownLoads {
		p.known = p.loads
	}
	for i := range p.verified {
		p.verified[i] = !o.Unverified
	}
	return p, nil
}

// Err is the first error of a decoder, or nil; Read makes it impossible.
func (p *Player) Err() error { return p.err }
