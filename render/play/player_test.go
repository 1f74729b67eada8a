package play

import (
	"bytes"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/render/drive"
	"paneglow/render/power"
	"paneglow/render/table"
)

// States of the cabinet below.
const (
	rest = iota
	turning
	thanks
	alarm
	lift
	fault
)

// cabinet is an invented panel of four pixels of 10 mA a die and 1 mA idle, at
// 10 frames a second, on a supply of 200 mA beside a carousel.
func cabinet(t testing.TB) *table.Table {
	s := &table.Show{
		Title: "cabinet", FPS: 10, Steady: 200_000, Surge: 250_000, Least: 50_000, Raise: 100,
		Silence: 5000, Then: rest,
		Lines: []string{"a"},
		Parts: []table.Part{{Name: "p", Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{10_000, 10_000, 10_000}},
			Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000}},
		Strips: []table.Strip{{Name: "left", Pixels: 4}},
		Loads:  []table.Load{{Name: "carousel", Run: 100_000, Start: 200_000}, {Name: "fan", Run: 10_000, Start: 20_000}},
		States: []table.State{
			rest:    {Name: "rest", Clip: 0, HandOver: show.Crossfade, Fade: 400, Then: table.None, Budget: 200_000},
			turning: {Name: "turning", Clip: 1, Loads: 1, Still: true, AtMost: 12_000, Then: fault, Budget: 50_000},
			thanks:  {Name: "thanks", Clip: 1, HandOver: show.Finish, Then: table.None, Budget: 200_000},
			alarm:   {Name: "alarm", Clip: 2, Then: table.None, Budget: 200_000},
			lift:    {Name: "lift", Clip: 3, Then: table.None, Budget: 200_000},
			fault:   {Name: "fault", Clip: 2, HandOver: show.Crossfade, Fade: 400, Then: table.None, Budget: 200_000},
		},
	}
	n := s.Channels()
	level := func(codes ...uint8) (b []byte) {
		for _, c := range codes {
			b = append(b, bytes.Repeat([]byte{c}, n)...)
		}
		return b
	}
	var values []uint8
	for v := range 256 {
		values = append(values, uint8(v))
	}
	clips := []table.Clip{
		{Name: "rest", Frames: 4, Channels: n, Bytes: level(10, 20, 30, 40), Loop: true},
		{Name: "turning", Frames: 3, Channels: n, Bytes: level(80, 90, 100), Loop: true},
		{Name: "alarm", Frames: 2, Channels: n, Bytes: level(200, 210)},
		{Name: "lift", Frames: 256, Channels: n, Bytes: level(values...), Value: true},
	}
	var out bytes.Buffer
	_, err := table.Write(&out, s, clips, table.Options{})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

type stage struct {
	*testing.T
	p     *Player
	codes []byte
	last  Latched
	quiet bool // the host is silent
}

func on(t *testing.T, o Options) *stage {
	tab := cabinet(t)
	p, err := NewPlayer(tab, o)
	require.NoError(t, err)
	return &stage{T: t, p: p, codes: make([]byte, tab.Channels()), last: Latched{At: o.Start}}
}

func (s *stage) tell(e Event) {
	s.Helper()
	require.NoError(s, s.p.Tell(s.last.At, e))
}

// next makes a refresh and gives the one code that all dies have.
func (s *stage) next() int {
	s.Helper()
	if !s.quiet {
		s.tell(Event{Kind: Host})
	}
	s.last = s.p.Next(s.codes)
	for _, c := range s.codes {
		require.Equal(s, s.codes[0], c)
	}
	return int(s.codes[0])
}

// shows expects these codes, refresh by refresh.
func (s *stage) shows(codes ...int) {
	s.Helper()
	for i, want := range codes {
		require.Equal(s, want, s.next(), "refresh %d of %v", i, codes)
	}
}

// calm brings the player into a state where the whole budget is in force.
func calm(t *testing.T, first int) *stage {
	s := on(t, Options{KnownLoads: true, First: first})
	for range 30 {
		s.next()
	}
	require.EqualValues(t, s.p.t.States[first].Budget, s.last.Budget)
	return s
}

func TestBlackFirstThenTheHandOver(t *testing.T) {
	s := on(t, Options{KnownLoads: true})
	require.Zero(t, s.next())
	require.True(t, s.last.Sent)
	require.Equal(t, table.None, s.last.Clip)
	require.EqualValues(t, 4000, s.last.Current, "idle")
	// 400 ms are four refreshes: (0*(256-w) + code*w)/256 for w = 64 128 192 256.
	s.shows(2, 10, 22, 40, 10, 20, 30, 40, 10)
	require.EqualValues(t, 900_000, s.last.At)
}

func TestCrossfadeStartsFromTheFrozenFrame(t *testing.T) {
	s := calm(t, alarm)
	require.Equal(t, 210, s.next(), "a clip that does not loop keeps its last frame")
	s.tell(Event{Kind: State, Index: rest})
	// From 210, which stands still, to 10 20 30 40, which run.
	s.shows((210*192+10*64)/256, (210*128+20*128)/256)
	require.Equal(t, 128, s.last.Fade)
	// Broken off by another crossfade: from the mix that would have come next.
	s.tell(Event{Kind: State, Index: fault})
	mixed := (210*64 + 30*192) / 256
	s.shows((mixed*192+200*64)/256, (mixed*128+210*128)/256)
	// Broken off by a cut.
	s.tell(Event{Kind: State, Index: alarm})
	s.shows(200)
}

func TestCutIsImmediate(t *testing.T) {
	s := calm(t, rest)
	s.tell(Event{Kind: State, Index: alarm})
	s.shows(200, 210, 210)
}

func TestFinishPlaysToTheEnd(t *testing.T) {
	s := calm(t, rest)
	for s.next() != 20 {
	}
	s.tell(Event{Kind: State, Index: thanks})
	s.shows(30, 40, 80, 90, 100, 80)
	require.Equal(t, thanks, s.last.State)

	// From a clip that has run out, and from a value, at once.
	s = calm(t, alarm)
	s.tell(Event{Kind: State, Index: thanks})
	s.shows(80)
	s = calm(t, lift)
	s.tell(Event{Kind: State, Index: thanks})
	s.shows(80)

	// A cut breaks the finishing off.
	s = calm(t, rest)
	for s.next() != 20 {
	}
	s.tell(Event{Kind: State, Index: thanks})
	s.shows(30)
	s.tell(Event{Kind: State, Index: alarm})
	s.shows(200)
}

func TestStillRefreshesOnlyWhenOwed(t *testing.T) {
	s := calm(t, rest)
	s.tell(Event{Kind: State, Index: turning})
	sent := func() (n int) {
		for range 20 {
			s.next()
			if s.last.Sent {
				n++
			}
		}
		return n
	}
	s.next()
	require.True(t, s.last.Sent, "on entering")
	require.LessOrEqual(t, s.last.Current, int64(50_000))
	held := s.codes[0]
	require.Zero(t, sent())
	s.tell(Event{Kind: Ask, Index: 0})
	s.next()
	require.True(t, s.last.Sent, "the answer follows a latched frame")
	require.Equal(t, []int{0}, s.last.Granted)
	require.Zero(t, sent())
	s.tell(Event{Kind: Running, Index: 0})
	require.Equal(t, 1, sent(), "a load that started may have disturbed the strip")
	s.tell(Event{Kind: Stopped, Index: 0})
	require.Equal(t, 1, sent())
	require.Equal(t, held, s.codes[0])
}

// A still frame that a load had dimmed is sent once more when the budget has
// risen all the way, and not at every step there.
func TestStillBrightensWhenTheLoadHasStopped(t *testing.T) {
	tab := cabinet(t)
	tab.States[alarm].Still = true
	p, err := NewPlayer(tab, Options{KnownLoads: true, First: alarm})
	require.NoError(t, err)
	s := &stage{T: t, p: p, codes: make([]byte, tab.Channels())}
	for range 30 {
		s.next()
	}
	require.Equal(t, 200, s.next())
	s.tell(Event{Kind: Ask, Index: 0})
	require.Less(t, s.next(), 120)
	s.tell(Event{Kind: Stopped, Index: 0})
	var sent []int
	for n := range 30 {
		if s.next(); s.last.Sent {
			sent = append(sent, n)
		}
	}
	// 50 mA to 200 mA at 10 mA a refresh: all of it with the fifteenth.
	require.Equal(t, []int{0, 14}, sent)
	require.EqualValues(t, 200, s.codes[0])
}

func TestLoadLowersAtOnceAndRaisesSlowly(t *testing.T) {
	s := calm(t, alarm)
	s.next()
	// 4 pixels x 30 mA x 210/255 + 4 mA = 102.824 mA: affordable.
	require.EqualValues(t, 102_824, s.last.Current)
	require.EqualValues(t, drive.FullGain, s.last.Gain)
	s.tell(Event{Kind: Ask, Index: 0})
	s.next()
	// Start 200 mA of 250 mA surge: 50 mA are left; steady would leave 100 mA.
	require.EqualValues(t, 50_000, s.last.Budget)
	require.LessOrEqual(t, s.last.Current, int64(50_000))
	require.Greater(t, s.last.Current, int64(49_000), "and little is wasted")
	require.Equal(t, []int{0}, s.last.Granted)
	s.next()
	require.Empty(t, s.last.Granted, "one answer to one question")

	s.tell(Event{Kind: Running, Index: 0}) // 100 mA are left, after 50 mA at 100 uA/ms: 500 ms
	for _, want := range []int64{60_000, 70_000, 80_000, 90_000, 100_000, 100_000} {
		s.next()
		require.Equal(t, want, s.last.Budget)
		require.LessOrEqual(t, s.last.Current, want)
	}
	s.tell(Event{Kind: Stopped, Index: 0})
	s.next()
	require.EqualValues(t, 110_000, s.last.Budget)
}

// Loads that start together are added.
func TestTwoLoadsAskTogether(t *testing.T) {
	s := calm(t, alarm)
	s.tell(Event{Kind: Ask, Index: 0})
	s.tell(Event{Kind: Ask, Index: 1})
	s.next()
	require.EqualValues(t, 250_000-200_000-20_000, s.last.Budget)
	require.Equal(t, []int{0, 1}, s.last.Granted)
}

func TestLongestStayLeadsOn(t *testing.T) {
	// The clock wraps meanwhile.
	s := on(t, Options{KnownLoads: true, First: turning, Start: math.MaxUint32 - 3_000_000})
	begin := Tick(math.MaxUint32 - 3_000_000)
	for s.next(); s.last.State == turning; s.next() {
		require.Less(t, s.last.At.Since(begin), int32(12_000_000))
	}
	require.EqualValues(t, 12_000_000, s.last.At.Since(begin))
	require.Equal(t, fault, s.last.State)
	require.EqualValues(t, 50_000, s.last.Budget, "what runs is not certain: the smallest budget")
	for range 20 {
		s.next()
		require.EqualValues(t, 50_000, s.last.Budget)
	}
	s.tell(Event{Kind: Stopped, Index: 0})
	s.next()
	require.EqualValues(t, 50_000, s.last.Budget, "one load of two is still unknown")
	s.tell(Event{Kind: Stopped, Index: 1})
	s.next()
	require.EqualValues(t, 60_000, s.last.Budget)
}

func TestRepeatedWishesDoNotProlongAStay(t *testing.T) {
	s := on(t, Options{KnownLoads: true, First: turning})
	n := 0
	for s.next(); s.last.State == turning; s.next() {
		n++
		s.tell(Event{Kind: State, Index: turning})
	}
	require.Equal(t, 120, n)
}

func TestSilentHost(t *testing.T) {
	s := on(t, Options{KnownLoads: true, First: alarm})
	s.quiet = true
	for n := range 100 {
		s.next()
		require.Equal(t, alarm, s.last.State)
		if n%40 == 0 {
			s.tell(Event{Kind: Host})
		}
	}
	// Last sign of life at 8.0 s: at 13.0 s the panel rests.
	for s.last.State == alarm {
		s.next()
	}
	require.EqualValues(t, 13_000_000, s.last.At)
	require.Equal(t, rest, s.last.State)
	s.tell(Event{Kind: State, Index: alarm})
	for range 100 {
		s.next()
		require.Equal(t, alarm, s.last.State, "a silence leads away only once")
	}
}

func TestValueClip(t *testing.T) {
	s := calm(t, lift)
	for _, v := range []int{0, 7, 7, 200, 3, 255, 254} {
		s.tell(Event{Kind: Value, Value: v})
		s.next()
		require.Equal(t, v, s.last.Frame)
		require.Equal(t, v*int(s.last.Gain)>>16, int(s.codes[0]))
	}
}

func TestLevelOnlyLowers(t *testing.T) {
	s := calm(t, alarm)
	s.tell(Event{Kind: Level, Value: 500})
	// L* 50 is a luminance of 0.184187 (CIE 15), 210 x 0.184187 = 38.7
	s.shows(38)
	require.InDelta(t, 0.184187, float64(s.last.Gain)/drive.FullGain, 1e-5)
	s.tell(Event{Kind: Level, Value: 0})
	s.shows(0)
	s.tell(Event{Kind: Level, Value: 1000})
	s.shows(210)
}

// Source: the definition in floating point, CIE 15:2018; L* 50 = 18.4187 % as
// tables print it.
func TestLinearFollowsCIE(t *testing.T) {
	for p := range 1001 {
		l := float64(p) / 10
		y := l * 27 / 24389
		if l > 8 {
			y = math.Pow((l+16)/116, 3)
		}
		require.InDelta(t, y*drive.FullGain, float64(Linear(p)), 0.5001, "lightness %d", p)
	}
	require.EqualValues(t, 0, Linear(-5))
	require.EqualValues(t, drive.FullGain, Linear(2000))
}

func TestTimetable(t *testing.T) {
	tab := cabinet(t)
	tab.Levels = []table.Level{{From: 6 * 3600, Days: 0x7f, Lightness: 1000}, {From: 22 * 3600, Days: 0x1f, Lightness: 300}}
	p, err := NewPlayer(tab, Options{First: alarm, KnownLoads: true})
	require.NoError(t, err)
	low := Linear(300)
	for _, c := range []struct {
		day, second int
		want        uint32
	}{
		{0, 22*3600 - 1, drive.FullGain}, {0, 22 * 3600, low}, {1, 0, low}, {1, 6*3600 - 1, low}, {1, 6 * 3600, drive.FullGain},
		{5, 5 * 3600, low}, {5, 23 * 3600, drive.FullGain}, {6, 23 * 3600, drive.FullGain}, {0, 3600, drive.FullGain},
	} {
		require.NoError(t, p.Tell(0, Event{Kind: Clock, Index: c.day, Value: c.second}))
		require.Equal(t, c.want, p.level(), "day %d second %d", c.day, c.second)
	}
	// The clock runs on by itself, over midnight.
	require.NoError(t, p.Tell(0, Event{Kind: Clock, Index: 6, Value: 86_399}))
	codes := make([]byte, tab.Channels())
	for range 12 {
		p.Next(codes)
	}
	require.Equal(t, 0, p.day)
	require.Equal(t, 0, p.second)
}

func TestTellRefuses(t *testing.T) {
	s := on(t, Options{})
	for _, e := range []Event{
		{Kind: State, Index: 6}, {Kind: State, Index: -1}, {Kind: Ask, Index: 2}, {Kind: Value, Value: 256}, {Kind: Level, Value: 1001},
		{Kind: Loads, Mask: 4}, {Kind: Clock, Index: 7}, {Kind: Clock, Value: 86_400},
		{Kind: Service, Value: 3}, {Kind: Dead, Index: 4}, {Kind: Verified, Index: 4}, {Kind: Lost, Index: -1}, {Kind: Damaged + 1},
	} {
		require.Error(t, s.p.Tell(0, e), "%+v", e)
	}
	_, err := NewPlayer(cabinet(t), Options{First: 6})
	require.Error(t, err)
	_, err = NewPlayer(cabinet(t), Options{Refreshes: -1})
	require.Error(t, err)
}

// Refreshes of a rate that does not divide a second keep time: no drift.
func TestRefreshesKeepTime(t *testing.T) {
	tab := cabinet(t)
	tab.FPS = 7
	p, err := NewPlayer(tab, Options{Refreshes: 3})
	require.NoError(t, err)
	codes := make([]byte, tab.Channels())
	var l Latched
	for range 21*10 + 1 {
		l = p.Next(codes)
	}
	require.EqualValues(t, 10_000_000, l.At)
}

func TestPlayingAllocatesNothing(t *testing.T) {
	s := calm(t, rest)
	require.Zero(t, testing.AllocsPerRun(100, func() { s.p.Next(s.codes) }))
}

func BenchmarkNext(b *testing.B) {
	s := &table.Show{Title: "t", FPS: 40, Steady: 2_000_000, Surge: 2_000_000, Least: 2_000_000, Raise: 100, Then: table.None,
		Lines: []string{"a"},
		Parts: []table.Part{{Name: "p", Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}},
			Order: "GRB", Bit: 1250, Latch: 280_000}},
		Strips: []table.Strip{{Name: "a", Pixels: 300}},
		States: []table.State{{Name: "a", Then: table.None, Budget: 2_000_000}},
	}
	const frames = 200
	codes := make([]byte, 0, frames*900)
	for f := range frames {
		for px := range 300 {
			v := 60 + 50*math.Sin(2*math.Pi*(float64(px)/300-float64(f)/frames))
			codes = append(codes, uint8(v), uint8(v*0.7), uint8(v*0.4))
		}
	}
	var out bytes.Buffer
	_, err := table.Write(&out, s, []table.Clip{{Name: "a", Frames: frames, Channels: 900, Bytes: codes, Loop: true}}, table.Options{})
	require.NoError(b, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(b, err)
	p, err := NewPlayer(tab, Options{})
	require.NoError(b, err)
	dst := make([]byte, 900)
	b.ReportAllocs()
	for b.Loop() {
		p.Next(dst)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/1000/float64(b.N), "play_refresh_us")
}
