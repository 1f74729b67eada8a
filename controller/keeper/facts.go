package keeper

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"paneglow/controller/link"
)

// facts are what the keeper was told of the machine, so that a board that was away
// can be told again. nil and 0 of known: not told yet.
type facts struct {
	state   *uint8
	value   *uint8
	level   *uint16
	service uint8
	known   uint16 // loads of which something is known
	running uint16 // that run, or were granted
	asking  uint16 // that wait for being granted
}

// revert takes back what a message has changed, since the board refused it. What
// came in between, such as a load that was granted, stays.
func (f *facts) revert(before, after facts) {
	if f.state == after.state {
		f.state = before.state
	}
	if f.value == after.value {
		f.value = before.value
	}
	if f.level == after.level {
		f.level = before.level
	}
	if before.service != after.service {
		f.service = before.service
	}
	loads := func(now *uint16, before, after uint16) { *now = *now&^(before^after) | before&(before^after) }
	loads(&f.known, before.known, after.known)
	loads(&f.running, before.running, after.running)
	loads(&f.asking, before.asking, after.asking)
}

// again tells a board everything, in an order in which no budget is too high on
// the way: loads first. A board that starts is waited for, for so long; one that is
// busy still hears it later. What it does not know, a state of another show perhaps,
// is written down and forgotten: it would refuse that for ever.
func (k *Keeper) again(ctx context.Context, c *link.Conn, patience time.Duration) error {
	k.mu.Lock()
	f := k.facts
	k.stale = false
	k.mu.Unlock()
	type message struct {
		tell   func() error
		what   string
		forget func(f *facts)
	}
	var all []message
	add := func(kind link.Kind, body []byte, what string, forget func(f *facts)) {
		all = append(all, message{func() error {
			return askSoon(ctx, patience, func() error { return k.ask(ctx, c, kind, body) })
		}, what, forget})
	}
	for i := range uint8(16) {
		bit := uint16(1) << i
		load := fmt.Sprintf("load %d", i)
		forget := func(f *facts) { f.known, f.running, f.asking = f.known&^bit, f.running&^bit, f.asking&^bit }
		switch {
		case f.running&bit != 0:
			add(link.Load, link.LoadBody(i, link.LoadRunning), load, forget)
		case f.known&bit != 0:
			add(link.Load, link.LoadBody(i, link.LoadStopped), load, forget)
		}
		if f.asking&bit != 0 {
			add(link.Load, link.LoadBody(i, link.LoadAsk), load, forget)
		}
	}
	if f.level != nil {
		add(link.Level, link.LevelBody(*f.level), "level", func(f *facts) { f.level = nil })
	}
	if f.value != nil {
		add(link.Value, link.ValueBody(*f.value), "value", func(f *facts) { f.value = nil })
	}
	add(link.Clock, clock(time.Now()), "time of day", func(*facts) {})
	add(link.Service, []byte{f.service}, "service", func(f *facts) { f.service = 0 })
	if f.state != nil {
		all = append(all, message{func() error { return k.enter(ctx, c, *f.state, patience) }, fmt.Sprintf("state %d", *f.state), func(f *facts) { f.state = nil }})
	}
	for _, m := range all {
		err := m.tell()
		var s *link.StatusError
		switch {
		case link.IsStatus(err, link.Busy):
			k.mu.Lock()
			k.stale = true
			k.mu.Unlock()
			if patience > 0 {
				k.o.Log.Warn("the board cannot be told of the machine yet", "why", busy)
			}
			return nil
		case errors.As(err, &s):
			k.o.Log.Error("the board refuses what the machine told, and it is forgotten", "what", m.what, "why", s.Status)
			k.mu.Lock()
			m.forget(&k.facts)
			k.mu.Unlock()
		case err != nil:
			return err
		}
	}
	return nil
}

// ask tells the board one thing. The answer to a load says which were granted, in
// case that was lost.
func (k *Keeper) ask(ctx context.Context, c *link.Conn, kind link.Kind, body []byte) error {
	b, err := c.Ask(ctx, kind, body)
	if err == nil && kind == link.Load && len(b) == 2 {
		k.granted(uint16(b[0]) | uint16(b[1])<<8)
	}
	return err
}

// clock is the time of day by this computer, whose zone is the machine's.
func clock(now time.Time) []byte {
	day := uint8((int(now.Weekday()) + 6) % 7) // Monday 0
	h, m, s := now.Clock()
	return link.ClockBody(day, uint32(h*3600+m*60+s))
}

// starts is how long a board looks at its table before it can be told anything.
const starts = 5 * time.Second

// busy is what a board that answers so may mean.
const busy = "it is busy: it has just started, or plays no show (paneglow upload gives it one)"

// askSoon asks again while the board is busy with starting, for so long.
func askSoon(ctx context.Context, patience time.Duration, ask func() error) error {
	for end := time.Now().Add(patience); ; {
		err := ask()
		if !link.IsStatus(err, link.Busy) || !time.Now().Before(end) {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// doing says in words what the machine does, for the log.
func (k *Keeper) doing() string {
	k.mu.Lock()
	defer k.mu.Unlock()
	f := &k.facts
	var words []string
	if f.state != nil {
		words = append(words, "state "+k.stateName(*f.state))
	}
	for i := range 16 {
		bit := uint16(1) << i
		switch {
		case f.running&bit != 0:
			words = append(words, k.loadName(i)+" running")
		case f.asking&bit != 0:
			words = append(words, k.loadName(i)+" waiting to start")
		}
	}
	if f.service != 0 {
		words = append(words, "somebody inside")
	}
	if len(words) == 0 {
		return "nothing that it told of"
	}
	return strings.Join(words, ", ")
}

func (k *Keeper) stateName(i uint8) string {
	if int(i) < len(k.names.states) {
		return k.names.states[i]
	}
	return fmt.Sprint(i)
}

func (k *Keeper) loadName(i int) string {
	if i < len(k.names.loads) {
		return k.names.loads[i]
	}
	return fmt.Sprintf("load %d", i)
}
