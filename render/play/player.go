package play

import (
	"errors"
	"fmt"
	"io"

	"paneglow/anim/show"
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

// enter begins a state by its own hand-over, which always cuts into a still
// state: it exists so that nothing disturbs the sensors. A crossfade comes from
// what would have been shown now. A stream that opens or ends enters its state
// again.
func (p *Player) enter(state int, opens, ends bool) {
	held := p.t.States[p.state].Still && !p.finishing
	st := &p.t.States[state]
	how := st.HandOver
	p.refresh, p.stream.handing = true, true
	switch {
	case opens || p.stream.on && !ends && (st.Still || how != show.Finish || p.stream.hold || held):
		p.hold(state, opens)
		return
	case st.Still || p.service.on != ServiceOff || ends && how == show.Finish:
		how = show.Cut
	case p.stream.on && !ends: // its frames go on to the clip's end
	case p.holding && how != show.Cut:
		how = show.Cut // nobody has what the strips show
	case how == show.Finish && (p.clip == table.None || held || !p.ready() || p.t.Clips[p.clip].Value):
		how = show.Cut // what shows has no end to come
	}
	switch how {
	case show.Crossfade:
		p.show()
		p.fadeAt, p.fadeLen = 0, p.fade(st)
		if p.holding { // it was lost on the way
			p.fadeLen = 0
		}
		copy(p.frozen, p.shown)
		p.state = state
		p.begin(p.clipOf(state))
	case show.Finish:
		p.state, p.finishing = state, true
	default:
		p.state, p.fadeLen = state, 0
		p.begin(p.clipOf(state))
	}
	if ends {
		p.endStream()
	}
}

// fade is how many refreshes a crossfade into a state takes.
func (p *Player) fade(st *table.State) int { return int(max(st.Fade*int64(p.rate)/1000, 1)) }

// begin puts a clip before its first frame.
func (p *Player) begin(clip int) {
	p.clip, p.decoder, p.frame, p.finishing = clip, p.t.Clip(clip).Start(), -1, false
	p.fresh, p.sub = true, p.perFrame
	if p.holding = clip == p.lost; p.holding {
		p.fadeLen = 0
	}
}

// Next makes the next refresh and writes its codes into dst, a frame long (or
// it panics), in data order. It allocates nothing but a decoder when a clip
// begins.
func (p *Player) Next(dst []uint8) Latched {
	if len(dst) != len(p.out) {
		panic("play: a frame of another length than the table's")
	}
	step := uint32(0)
	if p.started {
		step = p.advance()
	}
	served := p.service.on
	p.service.next(p.rate)
	if !p.started {
		// The strips may hold anything after power-up: black before all else.
		p.entered = p.at
		if p.wish != table.None {
			p.state, p.wish = p.wish, table.None
		}
		p.allow(0)
		p.send(true, 0)
		p.started = true
		copy(dst, p.out)
		return p.last
	}
	to := p.watch()
	opens, ends := p.turn()
	p.stream.handing = false
	if to != p.state || p.black || opens || ends {
		p.black = false
		p.enter(to, opens, ends)
	} else if served != ServiceOff && p.service.on == ServiceOff {
		p.fadeLen = 0
		p.begin(p.clipOf(p.state))
	} else if !p.stream.on {
		p.replace()
	}
	p.refresh = p.refresh || served != p.service.on
	p.allow(step)
	p.show()
	p.send(p.due(), step)
	copy(dst, p.out)
	return p.last
}

// advance moves the clock by one refresh and gives its microseconds.
func (p *Player) advance() uint32 {
	step := uint32(1_000_000) / p.rate
	if p.remainder += 1_000_000 % p.rate; p.remainder >= p.rate {
		p.remainder -= p.rate
		step++
	}
	p.at += Tick(step)
	if p.day != table.None {
		for p.micros += step; p.micros >= 1_000_000; p.micros -= 1_000_000 {
			if p.second++; p.second == 86400 {
				p.second, p.day = 0, (p.day+1)%7
			}
			p.plan()
		}
	}
	return step
}

// watch gives the state that is to be shown: the one wished since the last
// refresh; after a silence of the host or a longest stay the one that the table
// leads to. A move that nobody told makes uncertain what runs.
func (p *Player) watch() int {
	to := p.state
	if p.wish != table.None && p.wish != to {
		to, p.entered = p.wish, p.wished
	}
	p.wish = table.None
	if p.stay {
		return to
	}
	if p.t.Silence > 0 && !p.silent && int64(p.at.Since(p.host)) >= p.t.Silence*1000 {
		p.silent = true
		if p.t.Then != to {
			to, p.entered, p.known = p.t.Then, p.at, 0
		}
	}
	if st := &p.t.States[to]; st.AtMost > 0 && st.Then != to && int64(p.at.Since(p.entered)) >= st.AtMost*1000 {
		to, p.entered, p.known = st.Then, p.at, 0
	}
	return to
}

// show brings what this refresh shows into shown.
func (p *Player) show() {
	if p.service.on != ServiceOff {
		p.service.paint(p.shown, p.t, p.rate)
		return
	}
	p.pick()
	if p.stream.on && p.stream.hold {
		copy(p.shown, p.frozen)
		return
	}
	if p.fadeLen == 0 {
		copy(p.shown, p.codes)
		return
	}
	p.fadeAt++
	w := p.fadeAt * 256 / p.fadeLen
	mix(p.shown, p.frozen, p.codes, uint32(w))
	if p.fadeAt >= p.fadeLen {
		p.fadeLen = 0
	}
}

// pick brings the frame of this refresh into codes: the clip's, or the built-in
// still while the clip is not known to be whole.
func (p *Player) pick() {
	if p.stream.on {
		if p.pickStream(); p.stream.on {
			return
		}
	}
	if p.clip == table.None {
		clear(p.codes)
		return
	}
	if !p.ready() && p.finishing {
		p.begin(p.clipOf(p.state)) // its end will not come
	}
	if p.ready() {
		p.holding = false
		if p.sub >= p.perFrame {
			p.sub = 0
			p.step()
		}
	}
	if !p.ready() { // it, or the one that came after it
		p.fresh, p.frame, p.sub = true, -1, p.perFrame
		p.fill(p.codes, p.still)
		return
	}
	p.sub++
}

// fill gives every pixel the same codes.
func (p *Player) fill(dst []uint8, codes [4]uint8) {
	at := 0
	for i := range p.t.Strips {
		st := &p.t.Strips[i]
		dies := p.t.Parts[st.Part].Dies
		for range st.Pixels {
			copy(dst[at:at+dies], codes[:])
			at += dies
		}
	}
}

// step decodes the next frame of the clip.
func (p *Player) step() {
	c := &p.t.Clips[p.clip]
	if c.Value {
		if p.fresh || p.frame != p.value {
			p.take(p.value)
		}
		return
	}
	if p.fresh {
		p.take(p.firstFrame())
		return
	}
	st := &p.t.States[p.state]
	next := p.frame + 1
	if next >= c.Frames {
		if p.finishing {
			p.begin(p.clipOf(p.state))
			p.sub = 0
			if p.ready() {
				p.step()
			}
			return
		}
		if !c.Loop {
			return
		}
		next = 0
	}
	if st.Still && !p.finishing {
		return
	}
	p.take(next)
}

// firstFrame is the frame that the clip begins with: its first, or one of its
// start points drawn by lot.
func (p *Player) firstFrame() int {
	if !p.t.Clips[p.clip].Random {
		return 0
	}
	c := p.t.Clip(p.clip)
	return c.StartFrame(p.draw(c.Starts()))
}

// draw gives a number below n, at most 65536: the upper half of the next word of
// Marsaglia's 32-bit xorshift generator (13, 17, 5), scaled.
// Source: G. Marsaglia, Xorshift RNGs, Journal of Statistical Software 8 (14), 2003.
func (p *Player) draw(n int) int {
	p.lot ^= p.lot << 13
	p.lot ^= p.lot >> 17
	p.lot ^= p.lot << 5
	return int(p.lot >> 16 * uint32(n) >> 16)
}

// take decodes a frame of the clip; a frame behind the last one starts again
// from the clip's beginning or its nearest key.
func (p *Player) take(frame int) {
	err := p.decoder.Seek(frame)
	if err == nil {
		err = p.decoder.Next(p.codes)
	}
	if err != nil && !errors.Is(err, io.EOF) {
		// Read has decoded every frame: this is a fault of this program. Dark
		// is safe, and Err tells.
		p.err = err
		clear(p.codes)
	}
	p.frame, p.fresh = frame, false
}

// Err is the first error of a decoder, or nil; Read makes it impossible.
func (p *Player) Err() error { return p.err }

// send scales what is shown to the level and the budgets and latches it. step
// is the time since the refresh before, in microseconds.
func (p *Player) send(now bool, step uint32) {
	l := &p.last
	p.granted = p.granted[:0]
	l.At, l.State, l.Clip, l.Frame, l.Fade = p.at, p.state, p.clip, p.frame, 256
	l.Granted, l.Sent = p.granted, now
	l.Over, l.Budget = false, 0
	for i := range p.rails {
		r := &p.rails[i]
		l.Over = l.Over || r.meter.Idle() > r.inForce
		if len(p.rails) == 1 || r.meter.Pixels() > 0 {
			l.Budget += r.inForce
		}
	}
	if p.stream.on && p.stream.hold {
		l.Fade = 0
	} else if p.fadeLen > 0 {
		l.Fade = p.fadeAt * 256 / p.fadeLen
	}
	if now {
		p.refresh, p.outdated, p.holding = false, false, false
		p.scale(step)
		for i := range p.t.Loads {
			if p.service.on != ServiceOff {
				break // no load starts while somebody is inside
			}
			if p.pending&(1<<i) != 0 {
				p.granted = append(p.granted, i)
			}
		}
		l.Granted = p.granted
		if p.service.on == ServiceOff {
			p.pending = 0
		}
	}
	l.Supplies = l.Supplies[:0]
	for i := range p.rails {
		l.Supplies = append(l.Supplies, Drawn{p.rails[i].drawn, p.rails[i].inForce})
	}
}
