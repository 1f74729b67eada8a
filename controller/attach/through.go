package attach

import (
	"bufio"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"sync"
	"time"

	"paneglow/controller/link"
)

// throughPrefix begins a target that is another program's line.
const throughPrefix = "keeper:"

// throughWait is how long the keeper may take for an answer: its board may ask back for
// patience, and it asks four times.
const throughWait = 10 * time.Second

// through is the line of a keeper, which owns the port: frames that are written go to it
// as "ask" lines, one after the other, and its answers are read as frames. What the keeper
// says unasked is not for a program that only asks.
type through struct {
	conn   net.Conn
	s      link.Splitter
	out    *io.PipeReader
	in     *io.PipeWriter
	mu     sync.Mutex
	asked  []link.Frame // whose answers are to come, in order
	refuse error        // of the last Write
}

// keeperError is what a keeper says in place of an answer.
type keeperError string

func (e keeperError) Error() string { return "the keeper of the line says " + string(e) }

// openThrough connects to a keeper's local socket.
func openThrough(ctx context.Context, path string) (io.ReadWriteCloser, error) {
	d := net.Dialer{Timeout: 10 * time.Second}
	conn, err := d.DialContext(ctx, "unix", path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, fmt.Errorf("no keeper serves %s: start stream with --socket %s, or name the controller's own device", path, path)
	case errors.Is(err, os.ErrPermission):
		return nil, fmt.Errorf("not allowed to use the keeper's socket %s: its owner and group may", path)
	case err != nil:
		return nil, fmt.Errorf("the keeper of %s: %w; does stream still run?", path, err)
	}
	t := &through{conn: conn}
	t.out, t.in = io.Pipe()
	t.s.Frame = t.ask
	go t.listen()
	return t, nil
}

func (t *through) Read(b []byte) (int, error) { return t.out.Read(b) }

func (t *through) Write(b []byte) (int, error) {
	t.refuse = nil
	t.s.Write(b, time.Now())
	return len(b), t.refuse
}

func (t *through) Close() error {
	t.in.Close()
	return t.conn.Close()
}

// ask puts one question to the keeper.
func (t *through) ask(f link.Frame) {
	t.mu.Lock()
	t.asked = append(t.asked, f)
	t.mu.Unlock()
	if _, err := fmt.Fprintf(t.conn, "ask %02x%x\n", uint8(f.Kind), f.Body); err != nil {
		t.refuse = err
	}
}

// listen takes the keeper's lines until they end.
func (t *through) listen() {
	lines := bufio.NewScanner(t.conn)
	for lines.Scan() {
		word, rest, _ := strings.Cut(lines.Text(), " ")
		switch word {
		case "answer":
			b, err := hex.DecodeString(rest)
			t.mu.Lock()
			if err != nil || len(t.asked) == 0 || len(b) > link.MostBody {
				t.mu.Unlock()
				t.in.CloseWithError(keeperError(fmt.Sprintf("%.40q, which is no answer", lines.Text())))
				return
			}
			f := t.asked[0]
			t.asked = t.asked[1:]
			t.mu.Unlock()
			if _, err := t.in.Write(link.Append(nil, link.Frame{Kind: f.Kind, Seq: f.Seq, Body: b})); err != nil {
				return
			}
		case "no:":
			t.in.CloseWithError(keeperError(rest))
			return
		}
	}
	err := lines.Err()
	if err == nil {
		err = keeperError("nothing more, and has ended the connection")
	}
	t.in.CloseWithError(err)
}
