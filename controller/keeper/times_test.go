package keeper

import (
	"context"
	"errors"
	"net"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
)

// A line that cannot be opened is tried after half a second, then twice as long each
// time, up to 30 s, and never more than a quarter later.
func TestBackOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, stop := context.WithTimeout(t.Context(), 10*time.Minute)
		defer stop()
		var tried []time.Time
		k := New(Options{Open: func(context.Context, link.Options) (*Line, error) {
			tried = append(tried, time.Now())
			return nil, errors.New("nobody is there")
		}})
		require.ErrorIs(t, k.Run(ctx), context.DeadlineExceeded)
		want := 500 * time.Millisecond
		for i := range len(tried) - 1 {
			got := tried[i+1].Sub(tried[i])
			require.GreaterOrEqual(t, got, want, "pause %d", i)
			require.LessOrEqual(t, got, want+want/4, "pause %d", i)
			want = min(2*want, 30*time.Second)
		}
		require.InDelta(t, 22, len(tried), 3)
	})
}

// A computer that has nothing to say gives a sign of life every second and the time of
// day every minute.
func TestSignsOfLife(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		var mu sync.Mutex
		told := map[link.Kind][]time.Time{}
		go func() {
			s := link.Splitter{Frame: func(f link.Frame) {
				mu.Lock()
				told[f.Kind] = append(told[f.Kind], time.Now())
				mu.Unlock()
				body := []byte{byte(link.OK)}
				if f.Kind == link.Read {
					body[0] = byte(link.OutOfRange) // there is no table
				}
				_, _ = far.Write(link.Append(nil, link.Frame{Kind: f.Kind, Seq: f.Seq, Body: body}))
			}}
			b := make([]byte, 512)
			for {
				n, err := far.Read(b)
				if err != nil {
					return
				}
				s.Write(b[:n], time.Now())
			}
		}()
		k := New(Options{Open: func(_ context.Context, o link.Options) (*Line, error) {
			return &Line{Closer: near, Conn: link.NewConn(near, o), Name: "pipe"}, nil
		}})
		ctx, stop := context.WithTimeout(t.Context(), 10*time.Minute)
		defer stop()
		require.ErrorIs(t, k.Run(ctx), context.DeadlineExceeded)
		far.Close()
		synctest.Wait()
		require.InDelta(t, 600, len(told[link.Alive])+len(told[link.Clock]), 5)
		require.InDelta(t, 11, len(told[link.Clock]), 2, "when the line is up, and every minute")
		require.Zero(t, k.drops)
	})
}
