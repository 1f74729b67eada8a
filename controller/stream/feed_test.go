package stream

import (
	"encoding/binary"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// numbered is a source whose frames say which they are: so many of every state, then
// no more.
type numbered struct {
	each, channels int
	state, n       int
	entered        int
	r              *rand.Rand
	given          map[[2]int][]uint8 // by the state's turn and the frame's number in it
	few            int                // channels that change from frame to frame
}

func (s *numbered) Enter(state int, anew bool) bool {
	s.state, s.n = state, 0
	s.entered++
	return true
}

func (s *numbered) Ahead(int) int { return 8 }

func (s *numbered) Frame(dst []uint8) (int, bool) {
	if s.n == s.each {
		return None, false
	}
	if s.n == 0 {
		clear(dst)
	}
	for range s.few {
		dst[4+s.r.IntN(s.channels-4)] = uint8(s.r.IntN(256))
	}
	binary.LittleEndian.PutUint16(dst, uint16(s.entered))
	binary.LittleEndian.PutUint16(dst[2:], uint16(s.n))
	s.given[[2]int{s.entered, s.n}] = append([]uint8{}, dst...)
	s.n++
	if s.n == 1 {
		return s.state, true
	}
	return None, true
}

// way is one direction of a line: what was said arrives a time later, or is lost.
type way struct {
	delay time.Duration
	loses func() bool
	items []item
}

type item struct {
	at time.Duration
	f  func()
}

func (w *way) say(now time.Duration, f func()) {
	if !w.loses() {
		w.items = append(w.items, item{now + w.delay, f})
	}
}

func (w *way) arrive(now time.Duration) {
	for len(w.items) > 0 && w.items[0].at <= now {
		f := w.items[0].f
		w.items = w.items[1:]
		f()
	}
}

// Over a line that loses blocks and wants both ways, however late it is: never more
// comes than was granted, what is shown are the source's frames in their order, each
// state's from its first one on, and all of the last state's. Where nothing is lost
// nothing goes out twice, and nothing is late.
func TestFeedOverALine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const fps, channels, states = 30, 200, 4
		line := Line{FPS: fps, Ring: rapid.SampledFrom([]int{420, 1024, 4000}).Draw(t, "ring"), Block: rapid.IntRange(20, 200).Draw(t, "block"),
			Baud: rapid.SampledFrom([]int{115200, 250000, 0}).Draw(t, "baud")}
		loss := rapid.SampledFrom([]float64{0, 0, 0.02, 0.3}).Draw(t, "loss")
		seed := rapid.Uint64().Draw(t, "seed")
		r := rand.New(rand.NewPCG(seed, 0))
		src := &numbered{each: rapid.IntRange(1, 60).Draw(t, "frames of a state"), channels: channels, r: rand.New(rand.NewPCG(seed, 1)), given: map[[2]int][]uint8{},
			few: rapid.SampledFrom([]int{0, 5, 20, 60, 196}).Draw(t, "channels that change")}
		lossy := true
		loses := func() bool { return lossy && r.Float64() < loss }
		down := &way{delay: time.Duration(rapid.IntRange(0, 16).Draw(t, "delay, ms")) * time.Millisecond, loses: loses}
		up := &way{delay: down.delay, loses: loses}

		f := NewFeed(line, channels, 0, src)
		rec := newReceiver(line, channels, 0)
		turns := []int{0} // the states in turn
		say := func(now time.Duration, why Why) {
			w, err := ParseWant(rec.want(why))
			require.NoError(t, err)
			g := f // an old one's come to nothing
			up.say(now, func() { g.Want(w, now+up.delay) })
		}
		f.Want(Want{Room: line.Ring}, 0) // the opening's
		again := 0
		last, asked, starved := time.Duration(0), time.Duration(-time.Second), uint16(0)
		end := 9 * time.Second // the smallest ring on the slowest line takes 20 frames a second
		for now := time.Duration(0); now < end; now += time.Millisecond {
			down.arrive(now)
			up.arrive(now)
			if now > 4*time.Second {
				lossy = false
			} else if now > 0 && now%(1250*time.Millisecond) == 0 {
				// A State message has an answer and goes out until it comes.
				state := (turns[len(turns)-1] + 1 + r.IntN(states-1)) % states
				turns = append(turns, state)
				stale := f.Stale(state)
				down.items = append(down.items, item{now + down.delay, func() {
					if rec.enter(state); stale {
						rec.afresh()
					}
				}})
				if stale {
					g := NewFeed(line, channels, state, src)
					up.items = append(up.items, item{now + down.delay + up.delay, func() { g.Want(Want{Room: line.Ring}, now) }})
					f, again = g, again+1
				} else {
					f.Enter(state)
				}
			}
			for {
				b, wait := f.Next(now)
				if b == nil {
					if wait <= 0 { // require is slow, and this runs every millisecond
						require.Positive(t, wait)
					}
					break
				}
				down.say(now, func() { require.NoError(t, rec.take(b)) })
			}
			if now%(time.Second/fps).Truncate(time.Millisecond) == 0 {
				late := rec.late
				require.NoError(t, rec.show())
				if src.n < src.each && rec.turn == src.entered {
					starved += rec.late - late
				}
			}
			if rec.gap && now-asked >= 50*time.Millisecond {
				asked, last, rec.gap = now, now, false
				say(now, OnceMore)
			} else if rec.freed >= 200 || now-last >= 50*time.Millisecond {
				last = now
				say(now, GoesOn)
			}
		}

		// What was shown, turn by turn.
		turn, number, thinned := 0, 0, 0
		for i, l := range rec.shown {
			at := int(binary.LittleEndian.Uint16(l.codes))
			n := int(binary.LittleEndian.Uint16(l.codes[2:]))
			if at != turn {
				require.Greater(t, at, turn, "frame %d", i)
				require.Zero(t, n, "turn %d begins with its first frame", at)
				turn, number = at, -1
			}
			require.Equal(t, turns[turn-1], l.state)
			number++
			if n != number { // a frame that repeats the one before
				require.Equal(t, rec.shown[i-1].codes, l.codes, "frame %d", i)
				thinned++
				continue
			}
			require.Equal(t, src.given[[2]int{at, n}], l.codes)
		}
		st := f.Stats()
		require.Equal(t, len(turns), turn, "the last state is shown")
		require.Equal(t, src.each-1, number, "all its frames are")
		require.LessOrEqual(t, thinned, st.Thinned)
		require.Equal(t, GoesOn, st.Ended)
		require.Equal(t, int(rec.passed), st.Passed)
		require.Equal(t, st.Frames, st.Passed, "all that were sent were shown or left out")
		if loss == 0 {
			require.Zero(t, again, "a state is left after a second and more")
			require.Zero(t, st.Again)
			if line.Ring > 8*channels && src.few <= 20 { // neither the ring nor the line is the limit
				require.Zero(t, starved)
			}
		}
	})
}

// A state that is left and entered again before its first frame was seen: that frame is
// under way, and the panel would take it for the new one.
func TestFeedStale(t *testing.T) {
	const channels = 40
	src := &numbered{each: 30, channels: channels, few: channels, r: rand.New(rand.NewPCG(1, 1)), given: map[[2]int][]uint8{}}
	f := NewFeed(Line{FPS: 30, Ring: 4000, Block: 20}, channels, 0, src)
	f.Want(Want{Room: 4000}, 0)
	send := func(now time.Duration) {
		for {
			if b, _ := f.Next(now); b == nil {
				return
			}
		}
	}
	send(0)
	require.True(t, f.Stale(0))
	require.False(t, f.Stale(1))
	f.Enter(1)
	send(100 * time.Millisecond)
	require.True(t, f.Stale(1))
	f.Enter(2) // what waits unsent of state 1 is dropped, its first frame is not
	require.True(t, f.Stale(1))
	require.False(t, f.Stale(2))
	send(200 * time.Millisecond)
	require.True(t, f.Stale(2))
	f.Want(Want{Next: uint16(len(f.blocks)), Room: 4000, Passed: uint16(f.stats.Frames)}, 300*time.Millisecond)
	for state := range 3 {
		require.False(t, f.Stale(state), "all of it was shown or left out")
	}
	f.Enter(1)
	require.False(t, f.Stale(1), "nothing of it was sent yet")
}

// What goes out again, block by block.
func TestFeedAgain(t *testing.T) {
	const channels = 40
	src := &numbered{each: 30, channels: channels, few: channels, r: rand.New(rand.NewPCG(1, 1)), given: map[[2]int][]uint8{}}
	f := NewFeed(Line{FPS: 30, Ring: 400, Block: 20}, channels, 0, src)
	now := time.Duration(0)
	send := func(want ...int) {
		t.Helper()
		got := []int{}
		for range 40 {
			now += 2 * time.Millisecond
			if b, _ := f.Next(now); b != nil {
				got = append(got, int(binary.LittleEndian.Uint16(b)))
			}
		}
		require.Equal(t, append([]int{}, want...), got)
	}
	send() // nothing was granted
	f.Want(Want{Room: 80}, now)
	send(0, 1, 2, 3)
	f.Want(Want{Next: 1, Room: 60, Why: OnceMore}, now)
	send(1, 2, 3) // at once, and no more than there is room for
	f.Want(Want{Next: 2, Room: 80}, now)
	send(4, 5)
	f.Want(Want{Next: 1, Room: 400}, now)
	send() // out of date
	f.Want(Want{Next: 2, Room: 80, Why: OnceMore}, now)
	b, _ := f.Next(now + 10*time.Millisecond)
	require.EqualValues(t, 2, binary.LittleEndian.Uint16(b))
	f.Want(Want{Next: 3, Room: 60}, now+10*time.Millisecond) // in the midst of it
	now += 10 * time.Millisecond
	send(3, 4, 5)
	now += f.lost() + time.Millisecond
	f.Want(Want{Next: 3, Room: 60}, now) // the last one was lost, and nothing after it tells
	send(3, 4, 5)
	require.Equal(t, 3+4+3, f.Stats().Again)
	f.Want(Want{Next: 6, Room: 60, Why: Service}, now)
	send()
	require.Equal(t, Service, f.Stats().Ended)
}
