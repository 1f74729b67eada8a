package play

import (
	"paneglow/anim/show"
	"paneglow/render/table"
)

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
