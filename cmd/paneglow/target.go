package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/spf13/pflag"

	"paneglow/controller/link"
	"paneglow/controller/port"
)

// targetFlags say where the controller is.
type targetFlags struct {
	to, board string
	baud      int
}

func (f *targetFlags) add(fl *pflag.FlagSet) {
	fl.StringVar(&f.to, "to", "", "where the controller is: a serial device, tcp:HOST:PORT, or exec:COMMAND for a command's standard streams; with --board a pattern such as '/dev/ttyACM*'")
	fl.IntVar(&f.baud, "baud", 115200, "of a serial device")
	fl.StringVar(&f.board, "board", "", "the board's name, as status tells it: any other is left alone")
}

// rate is the line's own in bits a second; 0 where it carries what is written.
func (f *targetFlags) rate() int {
	if strings.HasPrefix(f.to, "tcp:") || strings.HasPrefix(f.to, "exec:") {
		return 0
	}
	return f.baud
}

// wire is an open line to a controller that has told who it is.
type wire struct {
	*link.Conn
	id      link.Identity
	target  string
	line    io.ReadWriteCloser
	written atomic.Int64 // bytes of the line
}

func (w *wire) Read(b []byte) (int, error) { return w.line.Read(b) }

func (w *wire) Write(b []byte) (int, error) {
	n, err := w.line.Write(b)
	w.written.Add(int64(n))
	return n, err
}

func (w *wire) Close() error { return w.line.Close() }

// untilInterrupted ends when the user interrupts the program, so that a line is left
// in order.
func untilInterrupted() (context.Context, context.CancelFunc) {
	return signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
}

// boardName is a board's name as people write it.
func boardName(id *link.Identity) string {
	return strings.TrimRight(string(id.Board[:]), "\x00 ")
}

// connect opens the line to the one controller that is meant.
func (f *targetFlags) connect(ctx context.Context, o link.Options) (*wire, error) {
	if f.to == "" {
		return nil, usageError{errors.New("say where the controller is with --to: a serial device, tcp:HOST:PORT or exec:COMMAND")}
	}
	targets := []string{f.to}
	if strings.ContainsAny(f.to, "*?[") && strings.HasPrefix(f.to, "/") {
		var err error
		if targets, err = filepath.Glob(f.to); err != nil {
			return nil, usageError{fmt.Errorf("--to %s: %w", f.to, err)}
		}
		if len(targets) == 0 {
			return nil, fmt.Errorf("no device is called %s: plug the controller in", f.to)
		}
		if f.board == "" && len(targets) > 1 {
			return nil, usageError{fmt.Errorf("%d devices are called %s: say with --board which controller is meant, or name its device", len(targets), f.to)}
		}
	}
	o.Baud = f.baud
	var reasons []error
	for _, target := range targets {
		w, err := attach(ctx, target, f.baud, o)
		if err == nil && f.board != "" && boardName(&w.id) != f.board {
			w.Close()
			err = fmt.Errorf("%s: the controller there is %q, not %q; name its own device, or give its name", target, boardName(&w.id), f.board)
		}
		if err == nil {
			return w, nil
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		reasons = append(reasons, err)
	}
	return nil, errors.Join(reasons...)
}

// wakes is how long a board may take to answer that was restarted by the opening
// of its port.
const wakes = 4 * time.Second

// attach opens one target and waits for its hello.
func attach(ctx context.Context, target string, baud int, o link.Options) (*wire, error) {
	line, err := port.Open(ctx, target, baud)
	if err != nil {
		return nil, err
	}
	w := &wire{target: target, line: line}
	w.Conn = link.NewConn(w, o)
	limited, stop := context.WithTimeout(ctx, wakes)
	defer stop()
	for {
		if w.id, err = w.Hello(limited); err == nil {
			return w, nil
		}
		if !errors.Is(err, link.ErrSilent) || limited.Err() != nil {
			break
		}
	}
	silent := errors.Is(err, context.DeadlineExceeded) || errors.Is(err, link.ErrSilent)
	if silent {
		err = fmt.Errorf("nobody answered within %v: check the cable, the rate (--baud, here %d) and that the firmware holds the panel's line", wakes, baud)
	}
	closed := line.Close()
	if !silent && ctx.Err() == nil && closed != nil {
		err = fmt.Errorf("the line ended: %w", closed)
	}
	return nil, fmt.Errorf("%s: %w", target, err)
}

// tell tells the controller something. A board that has just started answers that
// it is busy until it has looked at its table; one that has no table answers so for
// ever.
func (w *wire) tell(ctx context.Context, kind link.Kind, body []byte) error {
	for end := time.Now().Add(wakes); ; {
		_, err := w.Ask(ctx, kind, body)
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
