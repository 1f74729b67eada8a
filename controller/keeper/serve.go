package keeper

import (
	"bufio"
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"
)

// client is one connection of the machine's program. What it is told waits in a
// queue, so that one that does not read holds up nobody else.
type client struct {
	conn net.Conn
	out  chan string
}

// How many lines may wait for a client, and how long one may take to go out, before
// it is cut off.
const (
	clientLines = 256
	clientWait  = 2 * time.Second
)

func newClient(conn net.Conn) *client {
	return &client{conn: conn, out: make(chan string, clientLines)}
}

// write sends what is said until the queue is closed or the client is gone.
func (c *client) write() {
	for line := range c.out {
		if c.conn.SetWriteDeadline(time.Now().Add(clientWait)) != nil {
			continue
		}
		if _, err := c.conn.Write([]byte(line + "\n")); err != nil {
			c.conn.Close() // the reader ends, and the queue with it
		}
	}
}

// say queues a line; a client whose queue is full is cut off.
func (c *client) say(line string) {
	select {
	case c.out <- line:
	default:
		c.conn.Close()
	}
}

// tellAll tells every client something.
func (k *Keeper) tellAll(format string, args ...any) {
	line := fmt.Sprintf(format, args...)
	k.mu.Lock()
	defer k.mu.Unlock()
	for c := range k.clients {
		c.say(line)
	}
}

// ErrListen is wrapped by errors of Socket and Listen.
var ErrListen = errors.New("cannot listen")

// Socket makes a local socket that the owner and the group of its folder may use.
// One that a dead program has left is replaced, one that is in use is not.
func Socket(path string) (net.Listener, error) {
	l, err := net.Listen("unix", path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, fmt.Errorf("%w on %s: there is no folder %s: make it, one that only the machine's programs may enter, or name another place", ErrListen, path, filepath.Dir(path))
	case errors.Is(err, os.ErrPermission):
		return nil, fmt.Errorf("%w on %s: not allowed to write there; name another place, or start this as the user whose folder it is", ErrListen, path)
	case err != nil:
		c, dialled := net.DialTimeout("unix", path, time.Second)
		if dialled == nil {
			c.Close()
			return nil, fmt.Errorf("%w on %s: another program serves it; one line has one keeper", ErrListen, path)
		}
		st, statErr := os.Stat(path)
		if statErr == nil && st.Mode()&os.ModeSocket != 0 && !errors.Is(dialled, syscall.ECONNREFUSED) {
			return nil, fmt.Errorf("%w on %s: another program may serve it, and does not answer: %w", ErrListen, path, dialled)
		}
		if statErr != nil || st.Mode()&os.ModeSocket == 0 {
			return nil, fmt.Errorf("%w on %s: %w", ErrListen, path, err)
		}
		if err := os.Remove(path); err != nil {
			return nil, fmt.Errorf("%w on %s, which a dead program has left: %w", ErrListen, path, err)
		}
		if l, err = net.Listen("unix", path); err != nil {
			return nil, fmt.Errorf("%w on %s: %w", ErrListen, path, err)
		}
	}
	if err := os.Chmod(path, 0o660); err != nil {
		l.Close()
		return nil, fmt.Errorf("%w on %s: %w", ErrListen, path, err)
	}
	return l, nil
}

// leastKey is the fewest bytes of a key.
const leastKey = 16

// Listen opens a TCP address. Who may use it could switch the panel, and tell it of
// loads that do not run: without a key only this computer's own loopback is
// served, and with one every client must prove that it holds it. What is said then
// is not secret; where that matters, let ssh carry a local socket instead.
func Listen(ctx context.Context, address string, key []byte) (net.Listener, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, fmt.Errorf("%w on %s: %w; it is HOST:PORT", ErrListen, address, err)
	}
	if key != nil && len(key) < leastKey {
		return nil, fmt.Errorf("%w on %s: a key of %d bytes can be guessed; take %d or more, of chance", ErrListen, address, len(key), leastKey)
	}
	if key == nil {
		ips, err := net.DefaultResolver.LookupIPAddr(ctx, host)
		if err != nil && host != "" {
			return nil, fmt.Errorf("%w on %s: %w", ErrListen, address, err)
		}
		local := len(ips) > 0
		for _, ip := range ips {
			local = local && ip.IP.IsLoopback()
		}
		if !local {
			return nil, fmt.Errorf("%w on %s: without a key anybody on that network could switch the panel and tell it wrong loads; give one, listen on the loopback address, or let ssh carry the local socket", ErrListen, address)
		}
	}
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrListen, err)
	}
	return l, nil
}

// acceptAgain is how long is waited after a client that could not be accepted.
const acceptAgain = 100 * time.Millisecond

// Serve answers clients until ctx ends or the listener is closed. With a key each
// has to begin by proving that it holds it.
func (k *Keeper) Serve(ctx context.Context, l net.Listener, key []byte) error {
	stop := context.AfterFunc(ctx, func() { l.Close() })
	defer stop()
	var wg sync.WaitGroup
	defer wg.Wait()
	said := ""
	for {
		conn, err := l.Accept()
		if err != nil {
			if ctx.Err() != nil || errors.Is(err, net.ErrClosed) {
				return nil
			}
			// Too many files are open, perhaps: that passes, and months of service do not
			// end with it.
			if said != err.Error() {
				said = err.Error()
				k.o.Log.Error("a client could not connect", "why", err)
			}
			select {
			case <-ctx.Done():
			case <-time.After(acceptAgain):
			}
			continue
		}
		said = ""
		wg.Go(func() { k.serve(ctx, newClient(conn), key) })
	}
}

// mostLine is the longest line of a client.
const mostLine = 4096

func (k *Keeper) serve(ctx context.Context, c *client, key []byte) {
	var wrote sync.WaitGroup
	wrote.Go(c.write)
	defer func() { // what was said goes out, then the connection ends
		close(c.out)
		wrote.Wait()
		c.conn.Close()
	}()
	stop := context.AfterFunc(ctx, func() { c.conn.Close() })
	defer stop()
	lines := bufio.NewScanner(c.conn)
	lines.Buffer(nil, mostLine)
	if key != nil && !proves(c, lines, key) {
		c.say("no: that is not the key")
		return
	}
	k.mu.Lock()
	k.clients[c] = struct{}{}
	k.mu.Unlock()
	defer func() {
		k.mu.Lock()
		delete(k.clients, c)
		k.mu.Unlock()
	}()
	for lines.Scan() {
		c.say(k.Do(ctx, lines.Text()))
	}
	if errors.Is(lines.Err(), bufio.ErrTooLong) {
		c.say(fmt.Sprintf("no: a line has at most %d bytes", mostLine))
	}
}

// proves asks a client for the HMAC-SHA-256 of a number used once.
func proves(c *client, lines *bufio.Scanner, key []byte) bool {
	nonce := make([]byte, 16)
	rand.Read(nonce)
	c.say("prove " + hex.EncodeToString(nonce))
	if c.conn.SetReadDeadline(time.Now().Add(10*time.Second)) != nil || !lines.Scan() {
		return false
	}
	got, err := hex.DecodeString(strings.TrimSpace(strings.TrimPrefix(lines.Text(), "proof ")))
	if err != nil || !hmac.Equal(got, Proof(key, nonce)) || c.conn.SetReadDeadline(time.Time{}) != nil {
		return false
	}
	c.say("ok")
	return true
}

// Proof is what a client answers to "prove": HMAC-SHA-256 (RFC 2104, FIPS 180-4) of
// the bytes behind that word.
func Proof(key, nonce []byte) []byte {
	m := hmac.New(sha256.New, key)
	m.Write(nonce)
	return m.Sum(nil)
}
