package keeper

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"sync"
	"time"

	"paneglow/controller/link"
	"paneglow/controller/stream"
	"paneglow/controller/upload"
	"paneglow/render/table"
)

// Line is an open line to the board that was looked for, with what it says of
// itself. Closing ends the conversation.
type Line struct {
	io.Closer
	Conn *link.Conn
	Is   link.Identity
	Name string // of the target, for the log
}

// Stream shows frames from this computer instead of the stored ones.
type Stream interface {
	// Begin is called for every new line, before anything is told; show is what the
	// board has stored. Where the error is a stream.ErrTable the keeper goes on
	// without frames: the stored show plays, and the rest is told all the same.
	Begin(ctx context.Context, c *link.Conn, show *table.Header) error
	// Event is what came unasked. It must not wait.
	Event(f link.Frame)
	// State tells the board a state and goes on with that state's frames.
	State(ctx context.Context, state uint8) error
	// Value is the frame of clips that follow a value.
	Value(value uint8)
	// End is called when the line is gone.
	End()
	// Status is one line for people.
	Status() string
}

// Options of a Keeper.
type Options struct {
	// Open finds the board. o holds what is to be done with what comes; the rate is
	// the opener's own business.
	Open func(ctx context.Context, o link.Options) (*Line, error)
	// Stream, when not nil, gives the frames.
	Stream Stream
	Log    *slog.Logger
	// Alive is the time between signs of life; 0: a second.
	Alive time.Duration
	// First and Most are how long is waited before connecting again: First after a
	// line was lost, then twice as long each time up to Most. 0: 0.5 s and 30 s.
	First, Most time.Duration
}

// Keeper owns one line. It is safe for several goroutines.
type Keeper struct {
	o Options

	mu      sync.Mutex
	facts   facts
	stale   bool // the board has not heard all of them
	names   names
	line    *Line // nil: none at the moment
	since   time.Time
	drops   int
	reason  string // why there is none
	frames  error  // why the stream gives none on this line; nil: it does
	clients map[*client]struct{}

	order sync.Mutex // of what is told to the board: one thing after the other
}

type names struct {
	title         string
	states, loads []string
}

// New makes a keeper; Run makes it work.
func New(o Options) *Keeper {
	if o.Alive == 0 {
		o.Alive = time.Second
	}
	if o.First == 0 {
		o.First = 500 * time.Millisecond
	}
	if o.Most == 0 {
		o.Most = 30 * time.Second
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return &Keeper{o: o, reason: "not connected yet", clients: map[*client]struct{}{}}
}

// Run keeps the line until ctx ends.
func (k *Keeper) Run(ctx context.Context) error {
	wait := k.o.First
	said := ""
	for ctx.Err() == nil {
		l, err := k.o.Open(ctx, link.Options{Text: func(b []byte) { k.tellAll("said %x", b) }, Event: k.event})
		began, up := time.Now(), false
		if err == nil {
			up, err = k.session(ctx, l)
			if k.o.Stream != nil {
				k.o.Stream.End() // while the line is there to say so
			}
			l.Close()
		}
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case up:
			said = ""
			k.lost(err, time.Since(began))
			if time.Since(began) > k.o.Most {
				wait = k.o.First
			}
		case err.Error() != said:
			said = err.Error()
			k.o.Log.Warn("not connected", "why", said)
			k.mu.Lock()
			k.reason = said
			k.mu.Unlock()
		}
		// Not all keepers of a hall at the same moment.
		pause := wait + rand.N(wait/4+1)
		wait = min(2*wait, k.o.Most)
		select {
		case <-ctx.Done():
		case <-time.After(pause):
		}
	}
	return ctx.Err()
}

// lost notes a drop-out.
func (k *Keeper) lost(err error, lasted time.Duration) {
	doing := k.doing()
	k.mu.Lock()
	k.line = nil
	k.drops++
	k.reason = err.Error()
	drops := k.drops
	k.mu.Unlock()
	k.o.Log.Error("line lost", "why", err, "after", lasted.Round(time.Millisecond), "the machine", doing, "drop-outs", drops)
	k.tellAll("line lost")
}

// session talks to one board until the line ends; up tells whether it was ever open
// to the machine's program.
func (k *Keeper) session(ctx context.Context, l *Line) (up bool, err error) {
	h, err := upload.PlayingNames(ctx, l.Conn)
	if err != nil {
		return false, err
	}
	k.mu.Lock()
	k.names = namesOf(h)
	title := k.names.title
	k.mu.Unlock()
	var frames error
	if k.o.Stream != nil {
		if frames = k.o.Stream.Begin(ctx, l.Conn, h); frames != nil && !errors.Is(frames, stream.ErrTable) {
			return false, fmt.Errorf("the stream cannot begin: %w", frames)
		}
	}
	k.order.Lock()
	k.mu.Lock()
	k.frames = frames
	k.mu.Unlock()
	if err = k.again(ctx, l.Conn, starts); err == nil {
		// Before anything else is told: what comes now goes to the board.
		k.mu.Lock()
		k.line, k.since, k.reason = l, time.Now(), ""
		k.mu.Unlock()
	}
	k.order.Unlock()
	if err != nil {
		return false, err
	}
	k.o.Log.Info("connected", "target", l.Name, "board", boardName(l.Is), "show", title, "started because", link.ResetWords(l.Is.Reset))
	if frames != nil {
		k.o.Log.Error("the stored show plays, and not the stream", "why", frames)
	}
	k.tellAll("line back")

	alive := time.NewTicker(k.o.Alive)
	defer alive.Stop()
	toClock := 0
	for {
		select {
		case <-ctx.Done():
			return true, ctx.Err()
		case now := <-alive.C:
			kind, body := link.Alive, []byte(nil)
			if toClock--; toClock < 0 {
				kind, body, toClock = link.Clock, clock(now), 60
			}
			_, err := l.Conn.Ask(ctx, kind, body)
			if err == nil {
				err = k.refresh(ctx, l.Conn)
			}
			var s *link.StatusError
			if err != nil && !errors.As(err, &s) {
				return true, err
			}
		}
	}
}

// refresh tells once more what the board has not heard.
func (k *Keeper) refresh(ctx context.Context, c *link.Conn) error {
	k.order.Lock()
	defer k.order.Unlock()
	k.mu.Lock()
	stale := k.stale
	k.mu.Unlock()
	if !stale {
		return nil
	}
	return k.again(ctx, c, 0)
}

// event is what the board said unasked. It must not wait: it holds up the line.
func (k *Keeper) event(f link.Frame) {
	switch f.Kind {
	case link.Want:
		if k.o.Stream != nil {
			k.o.Stream.Event(f)
		}
	case link.Pass:
		k.tellAll("said %x", f.Body)
	case link.Granted:
		if len(f.Body) == 2 {
			k.granted(uint16(f.Body[0]) | uint16(f.Body[1])<<8)
		}
	}
}

// granted passes on that loads may start, once.
func (k *Keeper) granted(mask uint16) {
	k.mu.Lock()
	now := mask & k.facts.asking
	k.facts.asking &^= now
	k.facts.running |= now
	k.facts.known |= now
	var words []string
	for i := range 16 {
		if now&(1<<i) != 0 {
			words = append(words, k.loadName(i))
		}
	}
	k.mu.Unlock()
	for _, w := range words {
		k.tellAll("granted %s", w)
	}
}

// enter makes the board show a state.
func (k *Keeper) enter(ctx context.Context, c *link.Conn, state uint8, patience time.Duration) error {
	k.mu.Lock()
	streams := k.o.Stream != nil && k.frames == nil
	k.mu.Unlock()
	return askSoon(ctx, patience, func() error {
		if streams {
			return k.o.Stream.State(ctx, state)
		}
		_, err := c.Ask(ctx, link.State, link.StateBody(state))
		return err
	})
}

func namesOf(h *table.Header) (n names) {
	if h == nil {
		return n
	}
	n.title = h.Title
	for _, s := range h.States {
		n.states = append(n.states, s.Name)
	}
	for _, l := range h.Loads {
		n.loads = append(n.loads, l.Name)
	}
	return n
}

func boardName(id link.Identity) string {
	n := len(id.Board)
	for n > 0 && (id.Board[n-1] == 0 || id.Board[n-1] == ' ') {
		n--
	}
	return string(id.Board[:n])
}
