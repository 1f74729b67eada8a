package twin

import (
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/controller/stream"
	"paneglow/render/play"
	"paneglow/render/table"
	"paneglow/render/table/tabletest"
)

// computer streams drawn frames to a player that is watched beside its twin.
type computer struct {
	*pair
	r       *rand.Rand
	enc     *stream.Encoder
	shows   []uint8 // the frame before
	codes   []uint8 // as a controller has them
	frames  []sentFrame
	bytes   []byte // not sent yet
	number  uint16 // of the next block
	room    int
	open    bool // it takes blocks
	asked   bool
	service bool
	state   int // the last one that was told
	counts  map[string]int
}

// sentFrame is a frame by its number since the stream opened.
type sentFrame struct {
	codes []uint8 // none: its bytes make no frame
	mark  int
}

func newComputer(w *pair, r *rand.Rand, first int) *computer {
	c := &computer{pair: w, r: r, state: first, counts: map[string]int{}}
	w.before = c.watch
	return c
}

// watch tells the twin the frames that the C player took, and what it thought of
// their bytes.
func (c *computer) watch(got latch) {
	// Bytes that make no frame are met where they stand: behind frames that only the state
	// which is entered leaves out, perhaps.
	spoiled := got.state
	if got.endedOld != 0 {
		spoiled = stream.None
	}
	for _, k := range got.took {
		f := c.frames[k]
		if f.codes == nil {
			f.mark = spoiled
		}
		c.p.StreamFrame(f.codes, f.mark)
		c.counts["taken"]++
		if f.mark != stream.None {
			c.counts["hand-overs"]++
		}
	}
	if open, _, _ := c.p.Stream(); open && got.stream == 0 && got.why == int(play.StreamMalformed) {
		c.counts["malformed"]++
		if n := len(got.took); n == 0 || c.frames[got.took[n-1]].codes != nil {
			c.p.StreamFrame(nil, spoiled)
		}
	}
}

func (c *computer) refresh() {
	c.next(c.r.IntN(2) * 1000)
	got := c.last
	open, late, why := c.p.Stream()
	where := fmt.Sprintf("refresh %d after\n%s", c.seen, c.h.sent.String())
	require.Equal(c.t, open, got.stream != 0, where)
	require.Equal(c.t, int(why), got.why, where)
	if open {
		require.Equal(c.t, late, got.starved, where)
		c.counts["open"]++
	} else if c.open {
		c.counts[fmt.Sprint("ended ", why)]++
	}
	if c.asked = c.asked && !open; open && !c.open {
		c.number, c.frames, c.bytes, c.shows = 0, nil, nil, make([]uint8, len(c.dst))
		c.enc, c.codes = stream.NewEncoder(len(c.dst)), make([]uint8, len(c.dst))
	}
	c.open = open
	c.room = int(config().Work) - got.fill
}

func (c *computer) tell(e play.Event) {
	if e.Kind == play.Service {
		c.service = e.Value != 0
	}
	if e.Kind == play.State {
		c.state = e.Index
	}
	c.pair.tell(e)
}

// draw makes the next frame out of the one before.
func (c *computer) draw() []uint8 {
	r := c.r
	switch r.IntN(6) {
	case 0: // the same
	case 1:
		for i := range c.shows {
			c.shows[i] += uint8(r.IntN(16)) - 8
		}
	case 2:
		v := uint8(r.IntN(256))
		for i := range c.shows {
			c.shows[i] = v
		}
	case 3:
		for i := range c.shows {
			c.shows[i] = uint8(r.IntN(256))
		}
	default:
		from := r.IntN(len(c.shows) + 1)
		for i := from; i < len(c.shows) && r.IntN(9) > 0; i++ {
			c.shows[i] = uint8(r.IntN(256))
		}
	}
	return c.shows
}

// add puts a frame into the line's queue; some are spoiled behind their checksum.
func (c *computer) add(mark int, spoil bool) {
	codes := c.draw()
	if len(c.frames) == 0 {
		mark = max(mark, c.state)
	}
	b := c.enc.Append(nil, codes, mark)
	if spoil {
		for range 1 + c.r.IntN(3) {
			b[2+c.r.IntN(len(b)-2)] ^= 1 << c.r.IntN(8)
		}
	}
	f := sentFrame{mark: mark}
	got, err := stream.Decode(c.codes, b[2:])
	if err == nil {
		f.codes, f.mark = slices.Clone(c.codes), got
	}
	c.frames = append(c.frames, f)
	c.bytes = append(c.bytes, b...)
}

// send sends a block of what waits, if there is room, and may double it, leave it
// out once or send one that is too early.
func (c *computer) send() {
	n := min(1+c.r.IntN(128), len(c.bytes), c.room)
	if n <= 0 {
		return
	}
	say := func(number uint16, b []byte) {
		c.h.say("block %d %s", uint32(c.at), hex.EncodeToString(append([]byte{uint8(number), uint8(number >> 8)}, b...)))
	}
	noise := make([]byte, 1+c.r.IntN(128))
	switch c.r.IntN(8) {
	case 0:
		say(c.number+1+uint16(c.r.IntN(9)), noise)
	case 1:
		say(c.number-1-uint16(c.r.IntN(9)), noise)
	case 2:
		say(c.number, nil)
	}
	say(c.number, c.bytes[:n])
	c.number++
	c.bytes = c.bytes[n:]
	c.room -= n
}

// streamed plays a drawn show of a panel with a stream and drawn events.
func streamed(t require.TestingT, h *host, panel *table.Show, seed uint64) map[string]int {
	r := rand.New(rand.NewPCG(seed, 7))
	show := *panel
	tab := tabletest.Fill(t, r, &show, []table.Pack{table.Plain, table.Plain, table.Quick}[r.IntN(3)])
	o := play.Options{Start: play.Tick(r.Uint32()), First: r.IntN(len(tab.States)), Refreshes: 1 + r.IntN(2), Seed: r.Uint32()}
	c := newComputer(newPair(t, h, tab, o), r, o.First)
	hostile := r.IntN(3) == 0
	for range 80 {
		if r.IntN(6) == 0 {
			if e := event(r, &tab.Show); e.Kind != play.Dead && e.Kind != play.Service {
				c.tell(e)
			}
		}
		if r.IntN(150) == 0 {
			c.tell(play.Event{Kind: play.Service, Value: r.IntN(2)})
		} else if c.service {
			c.tell(play.Event{Kind: play.Service})
		}
		if r.IntN(4) > 0 {
			c.tell(play.Event{Kind: play.Host})
		}
		switch {
		case !c.service && (!c.open && !c.asked && r.IntN(3) == 0 || c.open && r.IntN(100) == 0):
			c.h.say("open 0 0")
			require.NoError(t, c.p.OpenStream())
			c.asked, c.open = true, false // what is sent now is lost
		case c.open && r.IntN(60) == 0:
			c.h.say("close 0 0")
			c.p.CloseStream()
			c.open = false
		}
		if c.open {
			for range r.IntN(4) {
				mark := stream.None
				if r.IntN(4) == 0 || len(c.frames) > 0 && len(c.bytes) == 0 && r.IntN(2) == 0 {
					mark = c.state
					if r.IntN(8) == 0 {
						mark = r.IntN(len(tab.States))
					}
				}
				c.add(mark, hostile && r.IntN(12) == 0)
			}
			for range r.IntN(12) {
				c.send()
			}
		}
		c.refresh()
	}
	return c.counts
}

// streams are what all panels' streams have seen.
type streams struct {
	sync.Mutex
	seen map[string]int
}

// check plays streams to the player of a panel: whatever comes, both latch the same.
func (s *streams) check(t *testing.T, h *host, panel *table.Show) {
	streamed(t, h, panel, 0x1f4e2f9d5) // panel 24: bytes that make no frame behind frames that only the next state leaves out
	rapid.Check(t, func(t *rapid.T) {
		counts := streamed(t, h, panel, rapid.Uint64().Draw(t, "stream"))
		s.Lock()
		defer s.Unlock()
		for k, n := range counts {
			s.seen[k] += n
		}
	})
}

// had fails when something was never tried.
func (s *streams) had(t *testing.T) {
	for _, k := range []string{"open", "taken", "hand-overs", "malformed", "ended 2", "ended 3", "ended 4", "ended 5"} {
		require.NotZero(t, s.seen[k], "%s of %v", k, s.seen)
	}
}
