package twin

import (
	"bytes"
	"math/rand/v2"
	"slices"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/play"
	"paneglow/render/table"
)

// rots counts what happened to clips that rot while they play. The decoder is told
// to find its bytes bad, and checksums are spoilt and put right, so that not one
// wrong code is ever unpacked and all can be compared.
type rots struct{ lost, again, damaged, held atomic.Int64 }

func (n *rots) next(w *pair, r *rand.Rand) {
	for _, e := range w.found {
		switch e.Kind {
		case play.Lost:
			n.lost.Add(1)
			w.lost[e.Index] = true
		case play.Damaged:
			n.damaged.Add(1)
		case play.Verified:
			if w.lost[e.Index] {
				n.again.Add(1)
			}
		}
	}
	if w.held {
		n.held.Add(1)
	}
	if r.IntN(4) == 0 {
		w.h.say("spoil 0 0")
	}
	if r.IntN(20) == 0 {
		c := w.tab.Clips[r.IntN(len(w.tab.Clips))]
		w.h.say("flip %d 64", c.Offset+c.Length) // of its checksum
	}
}

func (n *rots) check(t *testing.T) {
	t.Logf("%d clips lost, %d begun anew, %d broken for good, %d refreshes held", n.lost.Load(), n.again.Load(), n.damaged.Load(), n.held.Load())
	for _, k := range []*atomic.Int64{&n.lost, &n.again, &n.damaged, &n.held} {
		require.Greater(t, k.Load(), int64(10))
	}
}

// One bit of the store turns while its clip plays. The strips hold the last frame
// that was right; when the bit is right again before the checksum is worked out
// the clip begins anew, by lot where it does that; when it is not, the rest takes
// its place, and where the rest itself is broken the built-in still.
func TestABitTurnsDuringPlay(t *testing.T) {
	const before = 7
	tab := cabinet(t, table.Quick)
	h := start(t, cabinetProgram(t))
	good := tab.ForController()
	clip := tab.Clips[tab.States[thanks].Clip]
	require.Equal(t, table.Coded, clip.Kind)

	// plays until the clip is lost to a flip; false where a wrong code came first,
	// which no player can know.
	plays := func(at int, mask byte) (w *pair, ok bool) {
		w = newPair(t, h, tab, play.Options{First: thanks, Seed: 5})
		for range 20 {
			w.next(100_000)
		}
		for range before {
			w.next(100_000)
		}
		h.say("flip %d %d", at, mask)
		for range 50 {
			got := h.next(t, 0)
			if slices.Contains(got.found, play.Event{Kind: play.Lost, Index: tab.States[thanks].Clip}) {
				require.False(t, got.sent)
				require.Equal(t, 1, got.holds)
				w.after(got)
				return w, true
			}
			if l := w.p.Next(w.dst); !slices.EqualFunc(wire(&tab.Show, w.dst, nil), got.wires, bytes.Equal) || l.Sent != got.sent {
				return nil, false
			}
		}
		return nil, false
	}
	r := rand.New(rand.NewPCG(3, 8))
	found := 0
	for tries := 0; found < 3 && tries < 2000; tries++ {
		at, mask := clip.Offset+r.IntN(clip.Length), byte(1)<<r.IntN(8)
		if w, ok := plays(at, mask); ok {
			found++
			h.say("flip %d %d", at, mask)
			w.next(0)
			require.True(t, w.held)
			w.next(100_000)
			require.False(t, w.held)
			require.Equal(t, []play.Event{{Kind: play.Verified, Index: tab.States[thanks].Clip}}, w.found)
			for range 30 {
				w.next(100_000)
			}
			w, ok = plays(at, mask)
			require.True(t, ok)
			w.next(100_000)
			require.Contains(t, w.found, play.Event{Kind: play.Damaged, Index: tab.States[thanks].Clip})
			require.False(t, w.held)
			l := w.next(100_000)
			require.Equal(t, thanks, l.State)
			require.Equal(t, tab.States[rest].Clip, l.Clip, "the rest stands in for it")
			require.GreaterOrEqual(t, l.Frame, 0)
			w.tell(play.Event{Kind: play.State, Index: lift})
			l = w.next(0)
			require.Equal(t, tab.States[lift].Clip, l.Clip, "other states show their own")
			w.tell(play.Event{Kind: play.State, Index: thanks})
			l = w.next(0)
			require.Equal(t, tab.States[rest].Clip, l.Clip)
		}
	}
	require.Equal(t, 3, found, "flips that the decoder finds at once")

	// Rotten from the beginning: never shown; the rest, if it is that, has nothing
	// to stand in for it.
	b := bytes.Clone(good)
	b[tab.Clips[rest].Offset+5] ^= 0x10
	w := newPair(t, h, tab, play.Options{})
	h.begin(t, b, play.Options{}) // the C player gets other bytes than the twin
	for range 40 {
		if l := w.next(100_000); l.Clip == 0 {
			require.Equal(t, -1, l.Frame, "the built-in still")
		}
	}
	w.tell(play.Event{Kind: play.State, Index: thanks})
	for range 20 {
		w.next(100_000)
	}
	require.NoError(t, h.stop(), h.err.String())
}

// What ends a hold before the checksum is worked out: what the strips show would
// break a budget, a load waits for its answer, the level or a pixel changes.
func TestAHoldEnds(t *testing.T) {
	tab := cabinet(t, table.Quick)
	h := start(t, cabinetProgram(t))
	for name, c := range map[string]struct {
		tell []play.Event
		ends bool
	}{
		"nothing":    {nil, false},
		"a value":    {[]play.Event{{Kind: play.Value, Value: 9}}, false},
		"sign":       {[]play.Event{{Kind: play.Host}}, false},
		"facts":      {[]play.Event{{Kind: play.Loads, Mask: 0}}, false},
		"a question": {[]play.Event{{Kind: play.Ask}}, true},
		"night":      {[]play.Event{{Kind: play.Level, Value: 300}}, true},
		"timetable":  {[]play.Event{{Kind: play.Clock, Value: 23 * 3600}}, true},
		"a pixel":    {[]play.Event{{Kind: play.Dead, Index: 7, Value: 1}}, true},
		"somebody":   {[]play.Event{{Kind: play.Service, Value: play.ServiceLight}}, true},
		"a state":    {[]play.Event{{Kind: play.State, Index: lift}}, true},
	} {
		t.Run(name, func(t *testing.T) {
			w := newPair(t, h, tab, play.Options{First: thanks, Seed: 5})
			w.tell(play.Event{Kind: play.Loads})
			for range 40 {
				w.next(100_000)
			}
			h.say("spoil 0 0")
			for range 3 {
				w.next(0)
			}
			require.True(t, w.held)
			for _, e := range c.tell {
				w.tell(e)
			}
			w.next(0)
			require.Equal(t, !c.ends, w.held)
			for range 30 {
				w.next(0)
			}
			for range 40 {
				w.next(100_000)
			}
		})
	}
	require.NoError(t, h.stop(), h.err.String())
}
