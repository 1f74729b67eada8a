package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"paneglow/anim/finding"
	"paneglow/controller/attach"
	"paneglow/controller/keeper"
	"paneglow/controller/link"
	"paneglow/controller/stream"
	"paneglow/render/table"
)

type streamFlags struct {
	target              attach.Target
	socket, listen, key string
	state, log          string
	machine, flashes    string
}

const streamHelp = `Stream owns the line to the controller, for as long as it runs: it finds the board
by its name, connects again when the line was lost, gives signs of life, and serves a
local socket over which the machine's own program tells states, loads, values and
levels, and passes its own bytes (docs/service.md).

With a table it also shows the table's clips, frame by frame over the line, instead
of the stored ones; the states and budgets are those of the table that was uploaded,
which has to have the same. When this program is silent the stored show plays on. A
table that flashes more than three times a second is refused, as upload does.`

func (a *app) streamCommand() *cobra.Command {
	var f streamFlags
	c := &cobra.Command{
		Use:     "stream [TABLE]",
		Short:   "own the line: tell the panel what the machine does, and stream a table's frames",
		Long:    streamHelp,
		Example: "  paneglow stream --to /dev/ttyACM0 --socket /run/paneglow/socket",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usageError{fmt.Errorf("%s wants a table or nothing, and got %d arguments", cmd.CommandPath(), len(args))}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx, stop := attach.UntilInterrupted()
			defer stop()
			var t *table.Table
			if len(args) == 1 {
				var err error
				var found finding.List
				if t, found, err = checkedTable(args[0], f.machine); err != nil {
					return err
				}
				if err := a.flashesAllowed(found, f.flashes); err != nil {
					return err
				}
			}
			return a.stream(ctx, t, &f)
		},
	}
	fl := c.Flags()
	f.target.Flags(fl)
	fl.StringVar(&f.socket, "socket", "", "a local socket for the machine's program")
	fl.StringVar(&f.listen, "listen", "", "also serve HOST:PORT; beyond this computer only with --key")
	fl.StringVar(&f.key, "key", "", "a file of 16 bytes or more of chance: who holds it may connect")
	fl.StringVar(&f.state, "state", "", "the state to begin with")
	fl.StringVar(&f.machine, "machine", "", "the file of the table's machine: its flashes are counted with the light of its LEDs")
	fl.StringVar(&f.flashes, "flashes-because", "", "why more than three flashes a second hurt nobody here")
	fl.StringVar(&f.log, "log", "", "write connections and drop-outs to the end of this file (default: standard error)")
	return c
}

func (a *app) stream(ctx context.Context, t *table.Table, f *streamFlags) error {
	if err := f.target.Said(); err != nil {
		return err
	}
	to := a.err
	if f.log != "" {
		file, err := os.OpenFile(f.log, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
		if err != nil {
			return fmt.Errorf("cannot write the log: %w", err)
		}
		defer file.Close()
		to = file
	}
	o := keeper.Options{Log: slog.New(slog.NewTextHandler(to, nil)), Open: func(ctx context.Context, o link.Options) (*keeper.Line, error) {
		w, err := f.target.Connect(ctx, o)
		if err != nil {
			return nil, err
		}
		return &keeper.Line{Closer: w, Conn: w.Conn, Is: w.Is, Name: w.Target}, nil
	}}
	var s *streamed
	if t != nil {
		s = newStreamed(t, f.target.Rate(), o.Log)
		o.Stream = s
	}
	k := keeper.New(o)
	serve, err := f.listeners(ctx, k)
	if err != nil {
		return err
	}
	// The state is told as soon as there is a board, and again after each drop-out.
	if f.state != "" {
		if err := k.Wish(f.state, t); err != nil {
			return err
		}
	}
	var wg sync.WaitGroup
	defer wg.Wait()
	for _, one := range serve {
		wg.Go(func() {
			if err := one(ctx); err != nil {
				a.tellError(err)
			}
		})
	}
	err = k.Run(ctx)
	if s != nil {
		fmt.Fprintln(a.out, s.Status())
	}
	if errors.Is(err, context.Canceled) {
		return nil // the user has ended it
	}
	return err
}

// listeners opens what is served, before anything is told to the board.
func (f *streamFlags) listeners(ctx context.Context, k *keeper.Keeper) (serve []func(context.Context) error, err error) {
	if f.key != "" && f.listen == "" {
		return nil, usageError{errors.New("--key is for --listen: a local socket is guarded by its file's permissions")}
	}
	if f.socket != "" {
		l, err := keeper.Socket(f.socket)
		if err != nil {
			return nil, err
		}
		serve = append(serve, func(ctx context.Context) error { return k.Serve(ctx, l, nil) })
	}
	if f.listen != "" {
		var key []byte
		if f.key != "" {
			if key, err = os.ReadFile(f.key); err != nil {
				return nil, fmt.Errorf("cannot read the key: %w", err)
			}
			key = bytes.TrimRight(key, "\r\n")
		}
		l, err := keeper.Listen(ctx, f.listen, key)
		if err != nil {
			return nil, err
		}
		serve = append(serve, func(ctx context.Context) error { return k.Serve(ctx, l, key) })
	}
	return serve, nil
}

// streamed is a keeper.Stream of a table.
type streamed struct {
	table  *table.Table
	source *stream.Table
	sender *stream.Sender
	log    *slog.Logger

	mu   sync.Mutex
	conn *link.Conn
	stop context.CancelFunc
	done chan struct{}
}

func newStreamed(t *table.Table, baud int, log *slog.Logger) *streamed {
	source := stream.NewTable(t, uint64(time.Now().UnixNano()))
	return &streamed{table: t, source: source, sender: stream.NewSender(source, t.Channels(), baud), log: log}
}

// again is how long is waited before a stream that the panel has ended is opened
// once more.
const again = time.Second

func (s *streamed) Begin(ctx context.Context, c *link.Conn, _ *table.Header) error {
	if err := stream.Check(ctx, c, s.table); err != nil {
		return err
	}
	run, stop := context.WithCancel(ctx)
	s.mu.Lock()
	s.conn, s.stop, s.done = c, stop, make(chan struct{})
	done := s.done
	s.mu.Unlock()
	go func() {
		defer close(done)
		said := ""
		for run.Err() == nil {
			before := s.sender.Total().Frames
			err := s.sender.Run(run, c)
			if run.Err() != nil {
				return
			}
			// Somebody is inside, or the table was exchanged: the stored show plays meanwhile.
			// That may last, and is written down once.
			if s.sender.Total().Frames > before {
				said = ""
			}
			if said != err.Error() {
				said = err.Error()
				s.log.Warn("the stream has ended", "why", said)
			}
			if errors.Is(err, link.ErrClosed) || errors.Is(err, link.ErrSilent) {
				return // the keeper finds out by itself
			}
			select {
			case <-run.Done():
			case <-time.After(again):
			}
		}
	}()
	return nil
}

func (s *streamed) Event(f link.Frame) { s.sender.Event(f) }

func (s *streamed) State(ctx context.Context, state uint8) error {
	s.mu.Lock()
	c := s.conn
	s.mu.Unlock()
	return s.sender.State(ctx, c, state)
}

func (s *streamed) Value(v uint8) { s.source.Value(v) }

func (s *streamed) End() {
	s.mu.Lock()
	stop, done := s.stop, s.done
	s.stop = nil
	s.mu.Unlock()
	if stop != nil {
		stop()
		<-done
	}
}

func (s *streamed) Status() string {
	x := s.sender.Total()
	return fmt.Sprintf("%d frames in %d bytes, %.1f a second of their own, %d late, %d blocks sent again", x.Frames, x.Bytes, x.Rate(s.table.FPS), x.Late, x.Again)
}
