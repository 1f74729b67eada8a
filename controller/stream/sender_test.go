package stream

import (
	"context"
	"encoding/binary"
	"io"
	"math/rand/v2"
	"net"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
)

// controller is the far end of a line: it answers as docs/link.md has it, and shows
// what comes 30 times a second.
type controller struct {
	t    *testing.T
	line net.Conn
	open link.Status // the answer to opening

	mu     sync.Mutex
	rec    *receiver // none: no stream
	alive  int
	opens  int
	closed int
	states []uint8
}

const testChannels = 60

// talk runs a sender against a controller until do returns; gives what Run gave.
func talk(t *testing.T, c *controller, source Source, do func(ctx context.Context, s *Sender, conn *link.Conn)) (ran error) {
	near, far := net.Pipe()
	c.t, c.line = t, far
	go c.read()
	s := NewSender(source, testChannels, 115200)
	conn := link.NewConn(near, link.Options{Event: s.Event})
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx, conn) }()
	do(ctx, s, conn)
	cancel()
	ran = <-ended
	require.NoError(t, near.Close())
	_ = far.Close()
	c.mu.Lock()
	c.rec = nil
	c.mu.Unlock()
	time.Sleep(time.Second) // of the bubble: all that runs sees that it is over
	return ran
}

func (c *controller) read() {
	split := link.Splitter{Frame: c.hear}
	b := make([]byte, 4096)
	for {
		n, err := c.line.Read(b)
		split.Write(b[:n], time.Now())
		if err != nil {
			return
		}
	}
}

func (c *controller) say(f link.Frame) {
	if _, err := c.line.Write(link.Append(nil, f)); err != nil {
		require.ErrorIs(c.t, err, io.ErrClosedPipe)
	}
}

func (c *controller) hear(f link.Frame) {
	c.mu.Lock()
	defer c.mu.Unlock()
	status := link.OK
	var body []byte
	switch f.Kind {
	case link.OpenStream:
		status = c.open
		if status == link.OK {
			state := 2
			if c.opens++; len(c.states) > 0 {
				state = int(c.states[len(c.states)-1])
			}
			c.rec = newReceiver(Line{FPS: 30, Ring: 1000, Block: 100}, testChannels, state)
			body = binary.LittleEndian.AppendUint16(body, 30)
			body = binary.LittleEndian.AppendUint16(body, 1000)
			body = append(body, 100)
			go c.show(c.rec)
		}
	case link.Stream:
		if c.rec != nil {
			require.NoError(c.t, c.rec.take(f.Body))
		}
		return
	case link.Alive:
		c.alive++
		return
	case link.State:
		c.states = append(c.states, f.Body[0])
		c.rec.enter(int(f.Body[0]))
	case link.CloseStream:
		c.closed++
		c.rec = nil
	}
	go c.say(link.Frame{Kind: f.Kind, Seq: f.Seq, Body: append([]byte{uint8(status)}, body...)})
}

// show is a player's time with a stream.
func (c *controller) show(rec *receiver) {
	for {
		time.Sleep(33 * time.Millisecond)
		c.mu.Lock()
		if c.rec != rec {
			c.mu.Unlock()
			return
		}
		require.NoError(c.t, rec.show())
		want := rec.want(GoesOn)
		c.mu.Unlock()
		c.say(link.Frame{Kind: link.Want, Body: want})
	}
}

// ends has the stream end by itself.
func (c *controller) ends(why Why) {
	c.mu.Lock()
	want := c.rec.want(why)
	c.rec = nil
	c.mu.Unlock()
	c.say(link.Frame{Kind: link.Want, Body: want})
}

func (c *controller) shown() (states []int, n int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, l := range c.rec.shown {
		if len(states) == 0 || states[len(states)-1] != l.state {
			states = append(states, l.state)
		}
	}
	return states, len(c.rec.shown)
}

func counted(each int) *numbered {
	return &numbered{each: each, channels: testChannels, few: 10, r: rand.New(rand.NewPCG(3, 4)), given: map[[2]int][]uint8{}}
}

// A stream opens in the panel's own state, shows a frame each thirtieth of a second,
// follows states that are told and those that the panel takes by itself, and is
// closed.
func TestSenderFollowsStates(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &controller{}
		src := counted(1 << 20)
		var stats Stats
		require.NoError(t, talk(t, c, src, func(ctx context.Context, s *Sender, conn *link.Conn) {
			time.Sleep(2 * time.Second)
			states, n := c.shown()
			require.Equal(t, []int{2}, states)
			require.InDelta(t, 60, n, 5)
			require.NoError(t, s.State(ctx, conn, 1))
			time.Sleep(time.Second)
			states, _ = c.shown()
			require.Equal(t, []int{2, 1}, states)
			c.mu.Lock()
			c.rec.enter(3) // its longest stay is over
			c.mu.Unlock()
			time.Sleep(time.Second)
			states, n = c.shown()
			require.Equal(t, []int{2, 1, 3}, states)
			require.Greater(t, n, 100)
			stats = s.Stats()
		}))
		require.Equal(t, 3, src.entered)
		require.Equal(t, []uint8{1}, c.states)
		require.Equal(t, 1, c.closed)
		require.Zero(t, stats.Again)
		require.Zero(t, stats.Late)
		require.Equal(t, GoesOn, stats.Ended)
	})
}

// Three states within a moment, the last of them the first: the panel shows its frames,
// and does not wait for those of the state between.
func TestSenderMeetsABurst(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &controller{}
		src := counted(1 << 20)
		require.NoError(t, talk(t, c, src, func(ctx context.Context, s *Sender, conn *link.Conn) {
			time.Sleep(time.Second)
			for burst := range 12 {
				first := uint8(burst % 2) // the other one is what shows
				for _, state := range []uint8{first, 3, first} {
					require.NoError(t, s.State(ctx, conn, state))
					time.Sleep(time.Duration(burst) * time.Millisecond)
				}
				time.Sleep(time.Second)
				c.mu.Lock()
				late := c.rec.late
				c.mu.Unlock()
				time.Sleep(time.Second)
				c.mu.Lock()
				last, now := c.rec.shown[len(c.rec.shown)-1], c.rec.late
				c.mu.Unlock()
				require.EqualValues(t, first, last.state, "burst %d", burst)
				require.EqualValues(t, src.entered, binary.LittleEndian.Uint16(last.codes), "burst %d: of the last time in it", burst)
				require.Equal(t, late, now, "burst %d: it goes on", burst)
			}
		}))
		require.Equal(t, 1, c.closed)
		require.Greater(t, c.opens, 1)
	})
}

// Where the source has no frame, a sign of life goes out twice a second, so that the
// show's silence does not begin.
func TestSenderShowsLife(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &controller{}
		require.NoError(t, talk(t, c, counted(1), func(context.Context, *Sender, *link.Conn) { time.Sleep(10 * time.Second) }))
		require.InDelta(t, 20, c.alive, 2)
	})
}

// A stream that ends by itself says why.
func TestSenderEnds(t *testing.T) {
	for _, why := range []Why{Silent, Malformed, HandOver, Service, Anew} {
		t.Run(why.String(), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				c := &controller{}
				err := talk(t, c, counted(1<<20), func(context.Context, *Sender, *link.Conn) {
					time.Sleep(time.Second)
					c.ends(why)
					time.Sleep(time.Second)
				})
				require.ErrorIs(t, err, ErrEnded)
				require.ErrorContains(t, err, why.String())
				require.Zero(t, c.closed, "it knows")
			})
		})
	}
}

// Streams that have ended are counted once, and one that was refused counts nothing,
// however often it is tried.
func TestSenderTotal(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &controller{}
		err := talk(t, c, counted(1<<20), func(ctx context.Context, s *Sender, conn *link.Conn) {
			time.Sleep(time.Second)
			require.Equal(t, s.Stats(), s.Total())
			c.ends(Service)
			time.Sleep(time.Second)
			once := s.Total()
			require.Greater(t, once.Frames, 20)
			c.mu.Lock()
			c.open = link.Busy
			c.mu.Unlock()
			for range 3 {
				require.True(t, link.IsStatus(s.Run(ctx, conn), link.Busy))
			}
			require.Equal(t, once, s.Total())
			require.Equal(t, once, s.Stats(), "the last one's")
		})
		require.ErrorIs(t, err, ErrEnded)
	})
}

// What a controller answers to opening is told with what to do.
func TestSenderIsRefused(t *testing.T) {
	for status, want := range map[link.Status]string{
		link.Unknown:    "PG_STREAMS",
		link.OutOfRange: "another coding",
		link.Refused:    "does not hold one frame",
		link.Busy:       "no table plays, or somebody is inside",
		link.Damaged:    "damaged",
	} {
		t.Run(status.String(), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				c := &controller{open: status}
				err := talk(t, c, counted(1), func(context.Context, *Sender, *link.Conn) { time.Sleep(time.Second) })
				require.True(t, link.IsStatus(err, status), "%v", err)
				require.ErrorContains(t, err, want)
				require.ErrorContains(t, err, "opening a stream")
			})
		})
	}
}

// A controller that says yes and then nothing ends it after two seconds; so does a
// line that is gone.
func TestSenderMeetsSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &controller{}
		err := talk(t, c, counted(1<<20), func(context.Context, *Sender, *link.Conn) {
			time.Sleep(time.Millisecond) // the answer
			c.mu.Lock()
			c.rec = nil // and no want after it
			c.mu.Unlock()
			time.Sleep(3 * time.Second)
		})
		require.ErrorIs(t, err, ErrEnded)
		require.ErrorContains(t, err, Silent.String())
	})
	synctest.Test(t, func(t *testing.T) {
		c := &controller{}
		err := talk(t, c, counted(1<<20), func(context.Context, *Sender, *link.Conn) {
			time.Sleep(time.Second)
			_ = c.line.Close()
			time.Sleep(3 * time.Second)
		})
		require.ErrorIs(t, err, io.ErrClosedPipe)
	})
}
