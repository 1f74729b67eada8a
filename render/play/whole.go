package play

import "paneglow/render/table"

// A clip is shown once its bytes are known to be whole. Until its checksum was
// first found right the built-in still stands in for it. One that was right and
// then cannot be unpacked is lost: while its checksum is worked out again the
// strips hold what they show, and nothing goes out; a load that asks, a budget
// that falls below what is held, another level and a pixel taken out end that,
// and the built-in still goes out. Found right the clip begins anew. Found wrong, or
// lost again before it has played through, it is broken for good: the clip of the
// show's rest takes its place in every state, and where that is the broken one the
// built-in still. The rest is the state that a silent host leads to, or else the
// first. What the state is, its budget, its longest stay, does not change.

// find takes what was found of a clip.
func (p *Player) find(kind Kind, clip int) {
	was := p.verified[clip]
	p.verified[clip] = kind == Verified
	if kind == Lost {
		p.lost = clip
	} else if p.lost == clip {
		p.lost = table.None
	}
	p.damaged[clip] = kind == Damaged
	if clip != p.clip || was == p.verified[clip] {
		return
	}
	if p.stream.on { // another source's frames are shown
		p.refresh = p.refresh || kind == Verified
		return
	}
	p.fresh, p.sub = true, p.perFrame
	switch {
	case kind == Verified:
		p.refresh = true
	case kind == Lost:
		p.holding = !p.finishing
		p.fadeLen = 0
	}
}

// ready tells whether the clip may be unpacked.
func (p *Player) ready() bool { return p.verified[p.clip] }

// clipOf is what a state shows: its clip, or the rest's where that is broken for good.
func (p *Player) clipOf(state int) int {
	c := p.t.States[state].Clip
	if p.damaged[c] {
		c = p.t.States[p.rest].Clip
	}
	return c
}

// replace puts the rest in the place of a clip that was found broken for good; if
// it stands there already the built-in still takes over.
func (p *Player) replace() {
	if !p.damaged[p.clip] {
		return
	}
	if c := p.clipOf(p.state); c != p.clip {
		p.fadeLen, p.refresh = 0, true
		p.begin(c)
	} else if p.holding {
		p.holding, p.refresh = false, true
	}
}

// due tells whether this refresh goes out.
func (p *Player) due() bool {
	switch {
	case p.service.on != ServiceOff:
		return true
	case p.holding:
		return p.outdated || p.pending != 0 || p.broken()
	case p.t.States[p.state].Still:
		return p.owed()
	}
	return true
}

// broken tells whether what the strips show draws more than a budget in force.
func (p *Player) broken() bool {
	for i := range p.rails {
		r := &p.rails[i]
		if r.drawn > r.inForce && r.drawn > r.meter.Idle() {
			return true
		}
	}
	return false
}

// owed tells whether a still state needs a refresh: on entering, after news of
// a load, to keep a budget that fell, while the light still climbs, and once
// more when the budget that dimmed it has risen all the way.
func (p *Player) owed() bool {
	if p.refresh || p.pending != 0 || p.last.Climbing || p.broken() {
		return true
	}
	risen, settled := false, true
	for i := range p.rails {
		r := &p.rails[i]
		risen = risen || r.held < r.inForce
		settled = settled && r.inForce == p.target(i)
	}
	return p.last.Gain < p.level() && risen && settled
}
