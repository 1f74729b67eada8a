package play

import "paneglow/render/table"

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
