// Package attach opens the line to the one controller that is meant: a target, or
// among several devices the board of a name. What it gives has said hello.
package attach

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/spf13/pflag"

	"paneglow/controller/link"
	"paneglow/controller/port"
)

// Target says where the controller is.
type Target struct {
	To    string // port.Open's target; with Board also a pattern of devices
	Board string // its name; "": whoever answers
	Baud  int    // of a serial device
	Reads bool   // nothing is changed there: a keeper that holds the line may be asked
}

// Flags adds --to, --baud and --board.
func (f *Target) Flags(fl *pflag.FlagSet) {
	fl.StringVar(&f.To, "to", "", "where the controller is: a serial device, tcp:HOST:PORT, exec:COMMAND for a command's standard streams, or, to read only, keeper:SOCKET, the socket of a stream that runs; with --board a pattern such as '/dev/ttyACM*'")
	fl.IntVar(&f.Baud, "baud", 115200, "of a serial device")
	fl.StringVar(&f.Board, "board", "", "the board's name, as status tells it: any other is left alone")
}

// Rate is the line's own in bits a second; 0 where it carries what is written.
func (f *Target) Rate() int {
	if !f.serial() {
		return 0
	}
	return f.Baud
}

func (f *Target) serial() bool {
	return !strings.HasPrefix(f.To, "tcp:") && !strings.HasPrefix(f.To, "exec:") && !f.through()
}

// through tells whether another program holds the line, and is asked for it.
func (f *Target) through() bool { return strings.HasPrefix(f.To, throughPrefix) }

func open(ctx context.Context, target string, baud int) (io.ReadWriteCloser, error) {
	if path, ok := strings.CutPrefix(target, throughPrefix); ok {
		return openThrough(ctx, path)
	}
	return port.Open(ctx, target, baud)
}

// Line is an open line to a controller that has told who it is.
type Line struct {
	*link.Conn
	Is      link.Identity // what it says of itself
	Target  string
	line    io.ReadWriteCloser
	written atomic.Int64 // bytes of the line
	read    atomic.Int64
}

// Read and Write are the line itself, whose bytes are counted.
func (w *Line) Read(b []byte) (int, error) {
	n, err := w.line.Read(b)
	w.read.Add(int64(n))
	return n, err
}

func (w *Line) Write(b []byte) (int, error) {
	n, err := w.line.Write(b)
	w.written.Add(int64(n))
	return n, err
}

// Written is how many bytes went over the line.
func (w *Line) Written() int64 { return w.written.Load() }

// Close ends the line.
func (w *Line) Close() error { return w.line.Close() }

// UntilInterrupted ends when the user interrupts the program, so that a line is left
// in order.
func UntilInterrupted() (context.Context, context.CancelFunc) {
	return signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
}

// BoardName is a board's name as people write it.
func BoardName(id link.Identity) string {
	return strings.TrimRight(string(id.Board[:]), "\x00 ")
}

// Said tells whether there is a target at all, before a minute's work, and one that
// can be opened as far as its words go.
func (f *Target) Said() error {
	switch {
	case f.To == "":
		return usage{errors.New("say where the controller is with --to: a serial device, tcp:HOST:PORT, exec:COMMAND or keeper:SOCKET")}
	case f.Baud < 0, f.serial() && !slices.Contains(port.Bauds, f.Baud):
		return usage{fmt.Errorf("--baud %d: the rates are %v", f.Baud, port.Bauds)}
	}
	if f.through() {
		if f.To == throughPrefix {
			return usage{errors.New("--to keeper: without a socket; it is keeper:SOCKET, the --socket of the stream that runs")}
		}
		if !f.Reads {
			return usage{fmt.Errorf("--to %s: through a keeper a board can only be read; this wants the line for itself: stop the stream that holds it, and name the controller's own device", f.To)}
		}
		return nil
	}
	if err := port.Check(context.Background(), f.To, f.Baud); err != nil {
		return usage{fmt.Errorf("--to %s: %w", f.To, err)}
	}
	return nil
}

// Connect opens the line to the one controller that is meant.
func (f *Target) Connect(ctx context.Context, o link.Options) (*Line, error) {
	if err := f.Said(); err != nil {
		return nil, err
	}
	targets := []string{f.To}
	if strings.ContainsAny(f.To, "*?[") && strings.HasPrefix(f.To, "/") {
		var err error
		if targets, err = filepath.Glob(f.To); err != nil {
			return nil, usage{fmt.Errorf("--to %s: %w", f.To, err)}
		}
		if len(targets) == 0 {
			return nil, fmt.Errorf("no device is called %s: plug the controller in", f.To)
		}
		if f.Board == "" && len(targets) > 1 {
			return nil, usage{fmt.Errorf("%d devices are called %s: say with --board which controller is meant, or name its device", len(targets), f.To)}
		}
	}
	o.Baud = f.Baud
	if f.through() {
		o.Timeout, o.Tries = throughWait, 1 // the keeper asks again by itself
	}
	var all reasons
	for _, target := range targets {
		w, err := attach(ctx, target, f.Baud, o)
		if err == nil && f.Board != "" && BoardName(w.Is) != f.Board {
			w.Close()
			err = fmt.Errorf("%s: the controller there is %q, not %q; name its own device, or give its name", target, BoardName(w.Is), f.Board)
		}
		if err == nil {
			return w, nil
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		all = append(all, err)
	}
	return nil, all
}

// reasons are those of several devices, in one sentence.
type reasons []error

func (r reasons) Unwrap() []error { return r }

func (r reasons) Error() string {
	var b strings.Builder
	for i, err := range r {
		if i > 0 {
			b.WriteString("; ")
		}
		b.WriteString(err.Error())
	}
	return b.String()
}

// ErrUsage is wrapped by errors of a target that was not well said.
var ErrUsage = errors.New("where the controller is was not well said")

// usage is an error of the command line, without more words than its own.
type usage struct{ error }

func (usage) Is(target error) bool { return target == ErrUsage }

// wakes is how long a board may take to answer that was restarted by the opening
// of its port.
const wakes = 4 * time.Second

// attach opens one target and waits for its hello.
func attach(ctx context.Context, target string, baud int, o link.Options) (*Line, error) {
	line, err := open(ctx, target, baud)
	if err != nil {
		return nil, err
	}
	w := &Line{Target: target, line: line}
	w.Conn = link.NewConn(w, o)
	limited, stop := context.WithTimeout(ctx, wakes)
	defer stop()
	for {
		if w.Is, err = w.Hello(limited); err == nil {
			return w, nil
		}
		if !errors.Is(err, link.ErrSilent) || limited.Err() != nil {
			break
		}
	}
	closed := line.Close()
	var status *link.StatusError
	var said keeperError
	switch n := w.read.Load(); {
	case ctx.Err() != nil:
	case errors.As(err, &said):
		err = said
	case strings.HasPrefix(target, throughPrefix) && (errors.Is(err, context.DeadlineExceeded) || errors.Is(err, link.ErrSilent)):
		err = fmt.Errorf("nothing came back within %v: is this the socket of a stream that runs", wakes)
	case errors.Is(err, context.DeadlineExceeded) || errors.Is(err, link.ErrSilent):
		err = fmt.Errorf("nobody answered within %v: check the cable, the rate (--baud, here %d) and that the firmware holds the panel's line", wakes, baud)
		switch {
		case n > 0 && strings.HasPrefix(target, "tcp:"):
			err = fmt.Errorf("%d bytes came within %v, and none of them an answer: the program there has to pass the controller's line on as it is, at its rate; what stream --listen serves is another language (docs/service.md)", n, wakes)
		case n > 0:
			err = fmt.Errorf("%d bytes came within %v, and none of them an answer: the rate may be another (--baud, here %d), or the firmware does not hold the panel's line", n, wakes, baud)
		}
	case closed != nil:
		err = fmt.Errorf("the line ended: %w", closed)
	case errors.Is(err, link.ErrClosed):
		err = fmt.Errorf("the line ended before the controller had answered: look at its cable, or at the program at its other end: %w", err)
	case errors.As(err, &status):
		// A controller says hello whatever it is asked.
		err = fmt.Errorf("what is sent comes back, and nobody answers: a terminal that echoes (stty raw -echo), or a line that is joined to itself: %w", err)
	}
	return nil, fmt.Errorf("%s: %w", target, err)
}

// Soon asks the controller something that it may be too busy for. A board that has just started answers that
// it is busy until it has looked at its table; one that has no table answers so for
// ever.
func (w *Line) Soon(ctx context.Context, kind link.Kind, body []byte) error {
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
