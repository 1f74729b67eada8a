package keeper

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"paneglow/controller/link"
	"paneglow/render/table"
)

// errAway answers what cannot be told now.
var errAway = errors.New("the line is down")

// Do obeys one line of a client and gives the answer without its line end: "ok",
// what was asked for, or "no: " and why.
func (k *Keeper) Do(ctx context.Context, line string) string {
	answer, err := k.do(ctx, strings.TrimSpace(line))
	if err != nil {
		return "no: " + err.Error()
	}
	if answer == "" {
		return "ok"
	}
	return answer
}

func (k *Keeper) do(ctx context.Context, line string) (string, error) {
	word, rest, _ := strings.Cut(line, " ")
	rest = strings.TrimSpace(rest)
	if word == "ask" {
		return k.doAsk(ctx, rest)
	}
	k.order.Lock()
	defer k.order.Unlock()
	switch word {
	case "state":
		return "", k.doState(ctx, rest)
	case "value":
		return "", k.doNumber(ctx, rest, 255, func(f *facts, n int) (link.Kind, []byte) {
			v := uint8(n)
			f.value = &v
			if k.o.Stream != nil {
				k.o.Stream.Value(v)
			}
			return link.Value, link.ValueBody(v)
		})
	case "level":
		return "", k.doNumber(ctx, rest, 1000, func(f *facts, n int) (link.Kind, []byte) {
			v := uint16(n)
			f.level = &v
			return link.Level, link.LevelBody(v)
		})
	case "load":
		return "", k.doLoad(ctx, rest)
	case "loads":
		return "", k.doLoads(ctx, strings.Fields(rest))
	case "service":
		mode := slices.Index([]string{"off", "light", "test"}, rest)
		if mode < 0 {
			return "", fmt.Errorf("service off, light or test, not %q", rest)
		}
		return "", k.tell(ctx, func(f *facts) (link.Kind, []byte) {
			f.service = uint8(mode)
			return link.Service, []byte{uint8(mode)}
		})
	case "text":
		return "", k.with(func(c *link.Conn) error { return c.WriteText([]byte(rest + "\n")) })
	case "send":
		b, err := hex.DecodeString(rest)
		if err != nil || len(b) == 0 || len(b) > link.MostBody {
			return "", fmt.Errorf("send wants 1 to %d bytes as hexadecimal digits", link.MostBody)
		}
		return "", k.with(func(c *link.Conn) error { return c.Tell(link.Pass, b) })
	case "status":
		return k.status()
	case "":
		return "", errors.New("an empty line")
	}
	return "", fmt.Errorf("%q is no word of the keeper; it knows state, value, level, load, loads, service, text, send, status, ask", word)
}

// with gives the conversation, if there is one.
func (k *Keeper) with(do func(c *link.Conn) error) error {
	k.mu.Lock()
	l, why := k.line, k.reason
	k.mu.Unlock()
	if l == nil {
		return fmt.Errorf("%w: %s", errAway, why)
	}
	return do(l.Conn)
}

// tell keeps a fact and tells it. A board that is away is told when it is back,
// which is no failure, but answered so.
func (k *Keeper) tell(ctx context.Context, set func(f *facts) (link.Kind, []byte)) error {
	k.mu.Lock()
	before := k.facts
	kind, body := set(&k.facts)
	after := k.facts
	k.mu.Unlock()
	err := k.with(func(c *link.Conn) error { return k.ask(ctx, c, kind, body) })
	return k.told(err, before, after)
}

// told turns what came of telling into an answer; what the board refused was never
// so, what it did not hear it is told again.
func (k *Keeper) told(err error, before, after facts) error {
	if err == nil {
		return nil
	}
	var s *link.StatusError
	k.mu.Lock()
	defer k.mu.Unlock()
	if !errors.As(err, &s) {
		k.stale = true
		return fmt.Errorf("%w; it is told when it is back", err)
	}
	k.facts.revert(before, after)
	if s.Status == link.Busy {
		return errors.New("the board refuses: " + busy)
	}
	return fmt.Errorf("the board refuses: %v", s.Status)
}

func (k *Keeper) doNumber(ctx context.Context, s string, most int, set func(f *facts, n int) (link.Kind, []byte)) error {
	n, err := strconv.Atoi(s)
	if err != nil || n < 0 || n > most {
		return fmt.Errorf("a whole number from 0 to %d, not %q", most, s)
	}
	return k.tell(ctx, func(f *facts) (link.Kind, []byte) { return set(f, n) })
}

// index finds a name, or takes a number: below most, and where the board has told
// names below their count.
func index(what, s string, names []string, most int) (int, error) {
	if i := slices.Index(names, s); i >= 0 {
		return i, nil
	}
	if len(names) > 0 {
		most = len(names)
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 0 || n >= most {
		if len(names) == 0 {
			return 0, fmt.Errorf("no %s is called %q; the board has told no names, give its number", what, s)
		}
		return 0, fmt.Errorf("no %s is called %q; there are %s", what, s, strings.Join(names, ", "))
	}
	return n, nil
}

func (k *Keeper) doState(ctx context.Context, s string) error {
	k.mu.Lock()
	n, err := index("state", s, k.names.states, 64)
	if err != nil {
		k.mu.Unlock()
		return err
	}
	before := k.facts
	v := uint8(n)
	k.facts.state = &v
	after := k.facts
	k.mu.Unlock()
	return k.told(k.with(func(c *link.Conn) error { return k.enter(ctx, c, v, starts) }), before, after)
}

func (k *Keeper) doLoad(ctx context.Context, rest string) error {
	name, what, _ := strings.Cut(rest, " ")
	k.mu.Lock()
	n, err := index("load", name, k.names.loads, 16)
	k.mu.Unlock()
	if err != nil {
		return err
	}
	bit := uint16(1) << n
	switch strings.TrimSpace(what) {
	case "ask":
		return k.tell(ctx, func(f *facts) (link.Kind, []byte) {
			f.asking |= bit
			return link.Load, link.LoadBody(uint8(n), link.LoadAsk)
		})
	case "runs":
		return k.tell(ctx, func(f *facts) (link.Kind, []byte) {
			f.known, f.running, f.asking = f.known|bit, f.running|bit, f.asking&^bit
			return link.Load, link.LoadBody(uint8(n), link.LoadRunning)
		})
	case "stopped":
		return k.tell(ctx, func(f *facts) (link.Kind, []byte) {
			f.known, f.running, f.asking = f.known|bit, f.running&^bit, f.asking&^bit
			return link.Load, link.LoadBody(uint8(n), link.LoadStopped)
		})
	}
	return fmt.Errorf("load NAME ask, runs or stopped, not %q", what)
}

func (k *Keeper) doLoads(ctx context.Context, running []string) error {
	mask := uint16(0)
	k.mu.Lock()
	count := len(k.names.loads)
	for _, s := range running {
		n, err := index("load", s, k.names.loads, 16)
		if err != nil {
			k.mu.Unlock()
			return err
		}
		mask |= 1 << n
	}
	k.mu.Unlock()
	return k.tell(ctx, func(f *facts) (link.Kind, []byte) {
		f.known, f.running, f.asking = uint16(1<<count-1)|mask, mask, 0
		return link.Loads, link.LoadsBody(mask)
	})
}

// status is one line of JSON.
func (k *Keeper) status() (string, error) {
	doing := k.doing()
	stream := ""
	if k.o.Stream != nil {
		stream = k.o.Stream.Status()
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.frames != nil {
		stream = "none: " + k.frames.Error()
	}
	s := struct {
		Connected bool   `json:"connected"`
		Board     string `json:"board,omitempty"`
		Target    string `json:"target,omitempty"`
		Show      string `json:"show,omitempty"`
		Seconds   int    `json:"seconds,omitempty"` // since the line is up
		Why       string `json:"why,omitempty"`     // it is not
		Drops     int    `json:"drop_outs"`
		Machine   string `json:"machine"`
		Stream    string `json:"stream,omitempty"`
	}{Why: k.reason, Drops: k.drops, Machine: doing, Show: k.names.title, Stream: stream}
	if k.line != nil {
		s.Connected, s.Board, s.Target, s.Seconds = true, boardName(k.line.Is), k.line.Name, int(time.Since(k.since).Seconds())
	}
	b, err := json.Marshal(s)
	return string(b), err
}

// Wish is the state to begin with, by name or number; t names the states where the
// board has not told them yet, and may be nil.
func (k *Keeper) Wish(state string, t *table.Table) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	names := k.names.states
	if t != nil {
		names = namesOf(&t.Header).states
	}
	n, err := index("state", state, names, 64)
	if err != nil {
		return err
	}
	v := uint8(n)
	k.facts.state = &v
	return nil
}
