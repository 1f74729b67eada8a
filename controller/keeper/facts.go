package keeper

import (
	"context"
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

// again tells a board everything, in an order in which no budget is too high on
// the way: loads first.
func (k *Keeper) again(ctx context.Context, c *link.Conn) error {
	k.mu.Lock()
	f := k.facts
	k.mu.Unlock()
	type message struct {
		kind link.Kind
		body []byte
	}
	var all []message
	for i := range uint8(16) {
		bit := uint16(1) << i
		switch {
		case f.running&bit != 0:
			all = append(all, message{link.Load, link.LoadBody(i, link.LoadRunning)})
		case f.known&bit != 0:
			all = append(all, message{link.Load, link.LoadBody(i, link.LoadStopped)})
		}
		if f.asking&bit != 0 {
			all = append(all, message{link.Load, link.LoadBody(i, link.LoadAsk)})
		}
	}
	if f.level != nil {
		all = append(all, message{link.Level, link.LevelBody(*f.level)})
	}
	if f.value != nil {
		all = append(all, message{link.Value, link.ValueBody(*f.value)})
	}
	all = append(all, message{link.Clock, clock(time.Now())}, message{link.Service, []byte{f.service}})
	for _, m := range all {
		if err := askSoon(ctx, c, m.kind, m.body); err != nil {
			return err
		}
	}
	if f.state != nil {
		return k.enter(ctx, c, *f.state)
	}
	return nil
}

// clock is the time of day by this computer, whose zone is the machine's.
func clock(now time.Time) []byte {
	day := uint8((int(now.Weekday()) + 6) % 7) // Monday 0
	h, m, s := now.Clock()
	return link.ClockBody(day, uint32(h*3600+m*60+s))
}

// starts is how long a board looks at its table before it can be told anything.
const starts = 5 * time.Second

// askSoon asks again while the board is busy with starting.
func askSoon(ctx context.Context, c *link.Conn, kind link.Kind, body []byte) error {
	for end := time.Now().Add(starts); ; {
		_, err := c.Ask(ctx, kind, body)
		if !link.IsStatus(err, link.Busy) || time.Now().After(end) {
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
