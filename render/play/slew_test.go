package play

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/show"
	"paneglow/render/drive"
	"paneglow/render/power"
	"paneglow/render/table"
)

// one packs a show of one strip and clips of one frame each, a state for each,
// entered as told.
func one(t require.TestingT, part power.Part, pixels int, slew int64, how show.HandOver, frames ...[]byte) *table.Table {
	s := &table.Show{Title: "t", FPS: 40, Steady: 1_000_000_000, Surge: 1_000_000_000, Least: 1_000_000_000, Raise: 1_000_000, Slew: slew, Then: table.None,
		Lines: []string{"a"}, Parts: []table.Part{{Name: "p", Part: part, Order: "RGB", Bit: 1250, Latch: 280_000}},
		Strips: []table.Strip{{Name: "s", Pixels: pixels}}}
	var clips []table.Clip
	for i, f := range frames {
		name := string(rune('a' + i))
		clips = append(clips, table.Clip{Name: name, Frames: 1, Channels: len(f), Bytes: f, Loop: true})
		s.States = append(s.States, table.State{Name: name, Clip: i, HandOver: how, Fade: 200, Then: table.None, Budget: s.Steady})
	}
	var out bytes.Buffer
	rep, err := table.Write(&out, s, clips, table.Options{Workers: 1})
	require.NoError(t, err)
	return rep.Table
}

func white(pixels int) []byte { return bytes.Repeat([]byte{255}, 3*pixels) }

// A cut from black to white of 3.6 A at 20 A/s takes 0.18 s: 0.5 A a refresh,
// eight refreshes. By hand: 3.6 / (20 x 0.025) = 7.2.
func TestACutClimbs(t *testing.T) {
	part := power.Part{Dies: 3, Channel: [4]int64{12_000, 12_000, 12_000}}
	tab := one(t, part, 100, 20_000, show.Cut, make([]byte, 300), white(100))
	p, err := NewPlayer(tab, Options{KnownLoads: true})
	require.NoError(t, err)
	codes := make([]byte, tab.Channels())
	p.Next(codes)
	p.Next(codes)
	require.NoError(t, p.Tell(p.at, Event{Kind: State, Index: 1}))
	var drawn []int64
	for {
		l := p.Next(codes)
		drawn = append(drawn, l.Current)
		if !l.Climbing {
			break
		}
	}
	require.Len(t, drawn, 8)
	require.EqualValues(t, 3_600_000, drawn[7])
	for i, ua := range drawn[:7] {
		require.LessOrEqual(t, ua, int64(i+1)*500_000)
		require.Greater(t, ua, int64(i+1)*500_000-16*int64(i+1)*1000) // one step of all codes is 14.1 mA
	}
	// Down again at once: a fall is not the player's to hold back.
	require.NoError(t, p.Tell(p.at, Event{Kind: State, Index: 0}))
	require.Zero(t, p.Next(codes).Current)
}

// At power-up strips may show anything, all white too: a load that asks before
// the first refresh is answered with it, and that one is black.
func TestNoLoadStartsBeforeTheFirstBlackFrame(t *testing.T) {
	part := power.Part{Dies: 3, Channel: [4]int64{12_000, 12_000, 12_000}}
	tab := one(t, part, 10, 0, show.Cut, white(10))
	tab.Loads = []table.Load{{Name: "motor", Run: 1_000_000, Start: 2_000_000}}
	p, err := NewPlayer(tab, Options{})
	require.NoError(t, err)
	require.NoError(t, p.Tell(0, Event{Kind: Ask}))
	codes := bytes.Repeat([]byte{255}, tab.Channels())
	l := p.Next(codes)
	require.Equal(t, make([]byte, len(codes)), codes)
	require.True(t, l.Sent)
	require.Equal(t, []int{0}, l.Granted)
}

// A still state sends until it has climbed, then rests.
func TestStillStatesClimb(t *testing.T) {
	part := power.Part{Dies: 3, Channel: [4]int64{12_000, 12_000, 12_000}}
	tab := one(t, part, 100, 20_000, show.Cut, make([]byte, 300), white(100))
	tab.States[1].Still = true
	p, err := NewPlayer(tab, Options{KnownLoads: true})
	require.NoError(t, err)
	codes := make([]byte, tab.Channels())
	p.Next(codes)
	p.Next(codes)
	require.NoError(t, p.Tell(p.at, Event{Kind: State, Index: 1}))
	sent := 0
	for range 30 {
		if p.Next(codes).Sent {
			sent++
		}
	}
	require.Equal(t, 8, sent)
	require.Equal(t, white(100), codes)
}

// The law ceiling would let a climb by the plain sum come to rest half-way: 100
// pixels at full, held at 10 mA of 36, beside 100 at a fifth, which nothing
// holds. The light must arrive all the same.
func TestAClimbUnderCeilingArrives(t *testing.T) {
	part := power.Part{Dies: 3, Law: show.Ceiling, Channel: [4]int64{12_000, 12_000, 12_000}, Ceiling: 10_000}
	frame := append(bytes.Repeat([]byte{255}, 300), bytes.Repeat([]byte{51}, 300)...)
	tab := one(t, part, 200, 4_000, show.Cut, frame)
	p, err := NewPlayer(tab, Options{KnownLoads: true})
	require.NoError(t, err)
	codes := make([]byte, tab.Channels())
	last := p.Next(codes)
	n := 0
	for ; ; n++ {
		l := p.Next(codes)
		require.LessOrEqual(t, l.Current, last.Current+100_000) // 4 A/s x 25 ms
		if last = l; !l.Climbing {
			break
		}
		require.Less(t, n, 60, "the climb rests at %d uA", l.Current)
	}
	require.Equal(t, frame, codes)
	require.EqualValues(t, 1_720_000, last.Current) // 100 x 10 mA + 100 x 7.2 mA
	require.Greater(t, n, 16, "1.72 A at 0.1 A a refresh")
}

// Wherever a slew is at least power.LeastSlew, the light arrives: any law, any
// frame, cut or crossfade.
func TestEveryClimbArrives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 4))
		part := power.Part{Dies: 3, Law: show.Law(r.IntN(3)), Idle: int64(r.IntN(2000)), Ceiling: 1 + int64(r.IntN(40_000))}
		for c := range 3 {
			part.Channel[c] = 1 + int64(r.IntN(20_000))
		}
		pixels := 1 + r.IntN(20)
		a, b := make([]byte, 3*pixels), make([]byte, 3*pixels)
		for i := range a {
			a[i], b[i] = uint8(r.IntN(256)), uint8(r.IntN(256)*r.IntN(2))
		}
		m, err := power.Build([]power.Part{part}, []power.Run{{Pixels: pixels}}, 3*pixels)
		require.NoError(t, err)
		slew := m.LeastSlew(40)/1000 + 1 + int64(r.IntN(50))
		tab := one(t, part, pixels, slew, show.HandOver(r.IntN(2)), a, b)
		p, err := NewPlayer(tab, Options{KnownLoads: true})
		require.NoError(t, err)
		codes := make([]byte, len(a))
		for state := range 2 {
			require.NoError(t, p.Tell(p.at, Event{Kind: State, Index: state}))
			var l Latched
			for n := range 3000 {
				if l = p.Next(codes); n > 10 && !l.Climbing && l.Fade == 256 {
					break
				}
			}
			require.False(t, l.Climbing, "state %d rests at %d uA", state, l.Current)
			require.EqualValues(t, drive.FullGain, l.Gain)
			require.Equal(t, [][]byte{a, b}[state], codes)
		}
	})
}
