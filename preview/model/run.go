package model

import (
	"paneglow/render/play"
	"paneglow/render/table"
)

// run is the machine at work: the player's twin, and what only the machine
// knows.
type run struct {
	player *play.Player
	table  *table.Table
	codes  []uint8
	last   play.Latched
	owed   float64 // seconds not played yet
	loads  uint32  // running
	grant  string  // the last answer
	silent bool    // no sign of the host
	value  int
	level  int // per mille
	err    string
	feed   *feed // takes every refresh; may be nil
}

// start plays a table from its first state, loads standing still.
func (r *run) start(t *table.Table, state int) {
	*r = run{table: t, codes: make([]uint8, t.Channels()), level: 1000, silent: r.silent, feed: r.feed}
	r.feed.restarts()
	p, err := play.NewPlayer(t, play.Options{First: state, KnownLoads: true})
	if err != nil {
		r.err = err.Error()
		return
	}
	r.player = p
	r.loads = t.States[state].Loads
	r.tell(play.Event{Kind: play.Loads, Mask: r.loads})
	r.step()
}

func (r *run) tell(e play.Event) {
	if r.player == nil {
		return
	}
	if err := r.player.Tell(r.last.At, e); err != nil {
		r.err = err.Error()
	}
}

func (r *run) step() {
	if r.player == nil {
		return
	}
	if !r.silent {
		r.tell(play.Event{Kind: play.Host})
	}
	r.last = r.player.Next(r.codes)
	r.feed.latched(r.last, r.codes, play.Tick(1_000_000/r.table.FPS))
	for _, i := range r.last.Granted {
		// The machine starts what it was granted.
		r.loads |= 1 << i
		r.grant = r.table.Loads[i].Name + " granted"
		r.tell(play.Event{Kind: play.Running, Index: i})
	}
	if err := r.player.Err(); err != nil {
		r.err = err.Error()
	}
}

// pass lets time go by and latches every refresh that falls due; the last one is
// what shows. A window that was away does not play the time it missed.
func (r *run) pass(seconds float64) (refreshes int) {
	if r.player == nil {
		return 0
	}
	r.owed += min(max(seconds, 0), 1)
	frame := 1 / float64(r.table.FPS)
	for r.owed >= frame {
		r.owed -= frame
		r.step()
		refreshes++
	}
	return refreshes
}

// enter is the machine's wish for a state: loads that the state does not hold
// stop, those it holds ask.
func (r *run) enter(state int) {
	if r.player == nil {
		return
	}
	want := r.table.States[state].Loads
	r.tell(play.Event{Kind: play.State, Index: state})
	for i := range r.table.Loads {
		bit := uint32(1) << i
		switch {
		case r.loads&bit != 0 && want&bit == 0:
			r.stop(i)
		case r.loads&bit == 0 && want&bit != 0:
			r.ask(i)
		}
	}
}

func (r *run) ask(load int) {
	r.grant = r.table.Loads[load].Name + " asked"
	r.tell(play.Event{Kind: play.Ask, Index: load})
}

func (r *run) stop(load int) {
	r.loads &^= 1 << load
	r.grant = r.table.Loads[load].Name + " stopped"
	r.tell(play.Event{Kind: play.Stopped, Index: load})
}

// toggle switches a load by hand.
func (r *run) toggle(load int) {
	if r.loads&(1<<load) != 0 {
		r.stop(load)
	} else {
		r.ask(load)
	}
}
