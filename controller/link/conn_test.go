package link

import (
	"context"
	"errors"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// board answers questions at the far end of a line; it may drop what it is told
// to.
type board struct {
	line   net.Conn
	mu     sync.Mutex
	asked  []Frame
	answer func(f Frame, time int) [][]byte // what goes back, on the wire; time counts how often this number was asked
	times  map[uint8]int
	text   strings.Builder
}

func newBoard(t *testing.T, o Options, answer func(f Frame, time int) [][]byte) (*board, *Conn) {
	near, far := net.Pipe()
	b := &board{line: far, answer: answer, times: map[uint8]int{}}
	go func() {
		s := Splitter{Frame: b.take, Text: func(x []byte) { b.mu.Lock(); b.text.Write(x); b.mu.Unlock() }}
		buf := make([]byte, 64)
		for {
			n, err := far.Read(buf)
			if err != nil {
				return
			}
			s.Write(buf[:n], time.Now())
		}
	}()
	t.Cleanup(func() { near.Close(); far.Close() })
	return b, NewConn(near, o)
}

func (b *board) take(f Frame) {
	b.mu.Lock()
	b.asked = append(b.asked, f)
	b.times[f.Seq]++
	n := b.times[f.Seq]
	b.mu.Unlock()
	for _, w := range b.answer(f, n) {
		b.line.Write(w)
	}
}

func ok(f Frame, body ...byte) []byte {
	return Append(nil, Frame{f.Kind, f.Seq, append([]byte{byte(OK)}, body...)})
}

func TestAskAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, c := newBoard(t, Options{}, func(f Frame, time int) [][]byte {
			if time < 3 {
				return nil
			}
			return [][]byte{[]byte("text between\n"), ok(f, 42), ok(f, 43)} // the second one is late
		})
		got, err := c.Ask(context.Background(), State, StateBody(3))
		require.NoError(t, err)
		require.Equal(t, []byte{42}, got)
		require.Len(t, b.asked, 3)
		require.Equal(t, b.asked[0], b.asked[2], "the same number again")
		require.Equal(t, []byte{3}, b.asked[0].Body)
		got, err = c.Ask(context.Background(), State, StateBody(3))
		require.ErrorIs(t, err, nil)
		require.Equal(t, []byte{42}, got, "the late answer is not the next one's")
	})
}

func TestAskInVain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, c := newBoard(t, Options{Timeout: time.Second, Tries: 3}, func(Frame, int) [][]byte { return nil })
		from := time.Now()
		_, err := c.Ask(context.Background(), Alive, nil)
		require.ErrorIs(t, err, ErrSilent)
		require.Equal(t, 3*time.Second, time.Since(from))
		b.mu.Lock()
		require.Len(t, b.asked, 3)
		b.mu.Unlock()

		ctx, cancel := context.WithTimeout(context.Background(), 500*time.Millisecond)
		defer cancel()
		_, err = c.Ask(ctx, Alive, nil)
		require.ErrorIs(t, err, context.DeadlineExceeded)

		time.AfterFunc(time.Second/2, func() { b.line.Close() })
		_, err = c.Ask(context.Background(), Alive, nil)
		require.ErrorIs(t, err, ErrClosed)
		require.ErrorIs(t, err, io.EOF)
	})
}

func TestAnswers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		id := Identity{Version: 1, Firmware: 7, Board: [8]uint8{1, 2, 3, 4, 5, 6, 7, 8}, Layout: 0xdeadbeef, Channels: 540, Slots: 2,
			SlotSize: 98304, Window: 512, BrownOut: 43, Reset: ResetPin | ResetBrownOut, Uptime: 1 << 31, Table: 5, Installed: 6}
		events := make(chan Frame, 4)
		texts := make(chan string, 8)
		b, c := newBoard(t, Options{Event: func(f Frame) { events <- f }, Text: func(x []byte) { texts <- string(x) }}, func(f Frame, _ int) [][]byte {
			switch f.Kind {
			case Hello:
				return [][]byte{ok(f, append(id.Append(nil), 99)...)} // a later version says more
			case State:
				return [][]byte{Append(nil, Frame{f.Kind, f.Seq, []byte{byte(OutOfRange)}})}
			case Level:
				return [][]byte{Append(nil, Frame{Clock, f.Seq, []byte{0}})}
			case Counters:
				return [][]byte{ok(f, 1, 0, 0, 0, 2, 1, 0, 0)}
			case Load:
				return [][]byte{[]byte("ready\n"), ok(f, 0, 0), Append(nil, Frame{Granted, 0, []byte{1, 0}})}
			}
			return nil
		})
		ctx := context.Background()
		got, err := c.Hello(ctx)
		require.NoError(t, err)
		require.Equal(t, id, got)
		id.Version = 9
		_, err = c.Hello(ctx)
		require.ErrorContains(t, err, "version 9")
		_, err = c.Ask(ctx, State, StateBody(200))
		var status *StatusError
		require.True(t, errors.As(err, &status))
		require.Equal(t, OutOfRange, status.Status)
		require.ErrorContains(t, err, "out of range")
		_, err = c.Ask(ctx, Level, LevelBody(500))
		require.ErrorIs(t, err, ErrAnswer)
		body, err := c.Ask(ctx, Counters, nil)
		require.NoError(t, err)
		counts, err := ParseCounters(body)
		require.NoError(t, err)
		require.Equal(t, []uint32{1, 258}, counts)
		_, err = ParseCounters(body[:3])
		require.ErrorIs(t, err, ErrAnswer)
		_, err = ParseIdentity(make([]byte, identityBytes-1))
		require.ErrorIs(t, err, ErrAnswer)

		body, err = c.Ask(ctx, Load, LoadBody(0, LoadAsk))
		require.NoError(t, err)
		require.Equal(t, []byte{0, 0}, body)
		require.Equal(t, Frame{Granted, 0, []byte{1, 0}}, <-events)
		synctest.Wait()
		said := ""
		for len(texts) > 0 {
			said += <-texts
		}
		require.Equal(t, "ready\n", said)

		require.NoError(t, c.WriteText([]byte("move 3\n")))
		require.ErrorContains(t, c.WriteText([]byte("a\x00")), "byte 1")
		require.NoError(t, c.Tell(Pass, []byte{0, 1}))
		synctest.Wait()
		b.mu.Lock()
		defer b.mu.Unlock()
		require.Equal(t, "move 3\n", b.text.String())
		require.Equal(t, Frame{Pass, 0, []byte{0, 1}}, b.asked[len(b.asked)-1])
	})
}

// A lone byte of text after a frame waits for a pause, not for the next byte.
func TestLoneByteOfText(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var mu sync.Mutex
		text, at := "", time.Time{}
		b, _ := newBoard(t, Options{Baud: 500000, Text: func(x []byte) { mu.Lock(); text, at = text+string(x), time.Now(); mu.Unlock() }}, func(Frame, int) [][]byte { return nil })
		from := time.Now()
		b.line.Write(append(Append(nil, Frame{Kind: Granted, Body: []byte{1, 0}}), '!'))
		time.Sleep(time.Second)
		mu.Lock()
		defer mu.Unlock()
		require.Equal(t, "!", text)
		require.Equal(t, FrameTime(500000), at.Sub(from))
	})
}

// Many goroutines ask at once: frames stay whole and every answer finds who
// asked for it.
func TestManyAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, c := newBoard(t, Options{}, func(f Frame, _ int) [][]byte { return [][]byte{ok(f, f.Body...)} })
		var wg sync.WaitGroup
		for i := range 100 {
			wg.Go(func() {
				for k := range 5 {
					want := []byte{byte(i), 0, byte(k)}
					got, err := c.Ask(context.Background(), Block, want)
					require.NoError(t, err)
					require.Equal(t, want, got)
				}
			})
		}
		wg.Wait()
		require.Zero(t, c.Lost())
	})
}

func TestTooManyQuestions(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, c := newBoard(t, Options{}, func(Frame, int) [][]byte { return nil })
		for range 128 {
			_, err := c.Start(Alive, nil)
			require.NoError(t, err)
		}
		_, err := c.Start(Alive, nil)
		require.ErrorContains(t, err, "128")
	})
}

// The answer to what was told without waiting for one is never taken for a question's.
func TestToldIsNotAsked(t *testing.T) {
	b, c := newBoard(t, Options{}, func(f Frame, _ int) [][]byte { return [][]byte{ok(f)} })
	for range 300 {
		require.NoError(t, c.Tell(Alive, nil))
		_, err := c.Ask(t.Context(), State, []byte{1})
		require.NoError(t, err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, f := range b.asked {
		require.Equal(t, f.Kind == Alive, f.Seq == 0)
	}
}
