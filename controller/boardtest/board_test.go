package boardtest

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/controller/port"
	"paneglow/controller/upload"
	"paneglow/render/power"
	"paneglow/render/table"
)

func TestMain(m *testing.M) {
	code := m.Run()
	CleanUp()
	os.Exit(code)
}

// shelf is a small panel with two states, a load, and clips of one code each.
func shelf(t testing.TB, dark, bright uint8) *table.Table {
	return shelfWith(t, dark, bright, func(*table.Show) {})
}

func shelfWith(t testing.TB, dark, bright uint8, change func(s *table.Show)) *table.Table {
	s := &table.Show{Title: "shelf", FPS: 50, Then: table.None, Lines: []string{"a"}, Steady: 4_000_000, Surge: 4_000_000, Least: 3_000_000, Raise: 4000,
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
			Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}},
		Strips: []table.Strip{{Name: "s", Pixels: 4}},
		Loads:  []table.Load{{Name: "ring", Run: 500_000, Start: 1_000_000}}}
	var clips []table.Clip
	for i, c := range []uint8{dark, bright} {
		clips = append(clips, table.Clip{Name: fmt.Sprint(i), Frames: 1, Channels: 12, Bytes: bytes.Repeat([]byte{c, c + 1, c + 2}, 4)})
	}
	s.States = []table.State{{Name: "rest", Clip: 0, Then: table.None, Budget: 3_000_000}, {Name: "turning", Clip: 1, Then: table.None, Budget: 3_000_000, Loads: 1}}
	change(s)
	var out bytes.Buffer
	_, err := table.Write(&out, s, clips, table.Options{Workers: 1})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

// attach opens a line to a board.
func attach(t *testing.T, b *Board, o link.Options) *link.Conn {
	p, err := port.Open(t.Context(), b.Target(), 0)
	require.NoError(t, err)
	t.Cleanup(func() { p.Close() })
	return link.NewConn(p, o)
}

func last(t *testing.T, b *Board) string {
	r := b.Refreshes(t)
	if len(r) == 0 {
		return ""
	}
	f := strings.Fields(r[len(r)-1])
	return f[1] + " " + f[2]
}

// entered wants something to have begun to show so many times, and to have ended: what
// shows for a moment is looked for in what was latched, however late.
func entered(t *testing.T, b *Board, what string, want int) {
	n := 0
	count := func() bool {
		n = 0
		was := ""
		for _, r := range b.Refreshes(t) {
			f := strings.Fields(r)
			if now := f[1] + " " + f[2]; now != was {
				if was = now; now == what {
					n++
				}
			}
		}
		return n == want && was != what
	}
	require.Eventually(t, count, 10*time.Second, 10*time.Millisecond, "%s: wanted %d times", what, want)
}

func shows(t *testing.T, b *Board, want string) {
	require.Eventually(t, func() bool { return last(t, b) == want }, 10*time.Second, 10*time.Millisecond, "want %s, shown last: %s", want, last(t, b))
}

// A table built in plays, then the one that was loaded, and it again after the power
// was off; what the player was told stays told.
func TestConversation(t *testing.T) {
	first, second := shelf(t, 10, 40), shelf(t, 20, 60)
	b := New(t, &first.Show, first.Bytes())
	granted := make(chan link.Frame, 8)
	texts := make(chan string, 8)
	p, err := port.Open(t.Context(), b.Target(), 0)
	require.NoError(t, err)
	c := link.NewConn(p, link.Options{Event: func(f link.Frame) { granted <- f }, Text: func(b []byte) { texts <- string(b) }})
	id, err := c.Hello(t.Context())
	require.NoError(t, err)
	require.Equal(t, first.PanelSum(), id.Layout)
	require.EqualValues(t, 0, id.Installed)
	require.True(t, id.Since().IsZero())
	shows(t, b, "0 "+strings.Repeat("0b0a0c", 4))

	ask := func(kind link.Kind, body ...byte) ([]byte, error) { return c.Ask(t.Context(), kind, body) }
	ok := func(kind link.Kind, body ...byte) []byte {
		got, err := ask(kind, body...)
		require.NoError(t, err)
		return got
	}
	refused := func(s link.Status, kind link.Kind, body ...byte) {
		_, err := ask(kind, body...)
		var e *link.StatusError
		require.ErrorAs(t, err, &e)
		require.Equal(t, s, e.Status)
	}
	ok(link.Loads, 0, 0)
	ok(link.State, 1)
	shows(t, b, "1 "+strings.Repeat("29282a", 4))
	refused(link.OutOfRange, link.State, 2)
	refused(link.Malformed, link.State)
	refused(link.Malformed, link.Clock, 1)
	refused(link.OutOfRange, link.Clock, 7, 0, 0, 0)
	refused(link.OutOfRange, link.Load, 1, 0)
	refused(link.OutOfRange, link.Load, 0, 3)
	refused(link.Unknown, link.Kind(0x1f))
	ok(link.Clock, 1, 0, 0, 0)
	ok(link.Value, 7)
	ok(link.Alive)

	// A load asks, waits, starts; no table is taken meanwhile.
	ok(link.Load, 0, link.LoadAsk)
	select {
	case f := <-granted:
		require.Equal(t, link.Granted, f.Kind)
		require.Equal(t, []byte{1, 0}, f.Body)
	case <-time.After(10 * time.Second):
		t.Fatal("the load was never granted")
	}
	require.Equal(t, []byte{1, 0}, ok(link.Load, 0, link.LoadAsk), "who lost the message is told again")
	ok(link.Load, 0, link.LoadRunning)
	_, err = upload.Upload(t.Context(), c, second, upload.Options{})
	require.ErrorIs(t, err, upload.ErrBusy)
	ok(link.Load, 0, link.LoadStopped)

	r, err := upload.Upload(t.Context(), c, second, upload.Options{})
	require.NoError(t, err)
	require.EqualValues(t, 1, r.Installed)
	shows(t, b, "1 "+strings.Repeat("3d3c3e", 4)) // the state is kept
	id, err = c.Hello(t.Context())
	require.NoError(t, err)
	require.WithinDuration(t, time.Now(), id.Since(), 2*time.Minute)

	// The machine's own bytes, in the midst of it.
	require.NoError(t, c.WriteText([]byte("who\n")))
	var said string
	for !strings.HasSuffix(said, "\n") {
		said += <-texts
	}
	require.Equal(t, "umbrellas\n", said)
	require.NoError(t, c.Tell(link.Pass, []byte{0, 1, 0}))
	f := <-granted
	require.Equal(t, link.Pass, f.Kind)
	require.Equal(t, []byte{0, 1, 0}, f.Body)

	counts, err := link.ParseCounters(ok(link.Counters))
	require.NoError(t, err)
	require.Len(t, counts, int(link.Counts))
	require.Positive(t, counts[link.Refreshes])
	require.Zero(t, counts[link.BadFrames])
	p.Close()

	c = attach(t, b, link.Options{})
	id, err = c.Hello(t.Context())
	require.NoError(t, err)
	require.EqualValues(t, 1, id.Installed)
	shows(t, b, "0 "+strings.Repeat("151416", 4))
}

// Who counts no sequence numbers tells a state as docs/link.md does, a sign of life
// before it: so a state that has ended by itself is entered again by the very same bytes.
func TestTheSameStateToldAgain(t *testing.T) {
	tab := shelfWith(t, 10, 40, func(s *table.Show) { s.States[1].AtMost, s.States[1].Then = 200, 0 })
	b := New(t, &tab.Show, tab.Bytes())
	p, err := port.Open(t.Context(), b.Target(), 0)
	require.NoError(t, err)
	defer p.Close()
	go io.Copy(io.Discard, p)
	rest, turning := "0 "+strings.Repeat("0b0a0c", 4), "1 "+strings.Repeat("29282a", 4)
	shows(t, b, rest)
	for i := range 3 {
		_, err = p.Write(link.Append(link.Append(nil, link.Frame{Kind: link.Alive}), link.Frame{Kind: link.State, Body: link.StateBody(1)}))
		require.NoError(t, err)
		entered(t, b, turning, i+1)
		shows(t, b, rest)
	}
}

// A question that came twice is answered twice and done once, as long as nothing else was
// asked between.
func TestTheSameQuestionTwice(t *testing.T) {
	tab := shelfWith(t, 10, 40, func(s *table.Show) { s.States[1].AtMost, s.States[1].Then = 200, 0 })
	b := New(t, &tab.Show, tab.Bytes())
	p, err := port.Open(t.Context(), b.Target(), 0)
	require.NoError(t, err)
	defer p.Close()
	answers := make(chan link.Frame, 16)
	go func() {
		s, buf := link.Splitter{Frame: func(f link.Frame) { answers <- f }}, make([]byte, 256)
		for {
			n, err := p.Read(buf)
			s.Write(buf[:n], time.Now())
			if err != nil {
				return
			}
		}
	}()
	ask := func(seq, state uint8) {
		_, err := p.Write(link.Append(nil, link.Frame{Kind: link.State, Seq: seq, Body: link.StateBody(state)}))
		require.NoError(t, err)
		select {
		case f := <-answers:
			require.Equal(t, link.Frame{Kind: link.State, Seq: seq, Body: []byte{byte(link.OK)}}, f)
		case <-time.After(10 * time.Second):
			t.Fatal("no answer")
		}
	}
	rest, turning := "0 "+strings.Repeat("0b0a0c", 4), "1 "+strings.Repeat("29282a", 4)
	shows(t, b, rest)
	ask(5, 1)
	entered(t, b, turning, 1)
	ask(5, 1)
	ask(5, 1)
	time.Sleep(100 * time.Millisecond) // five frames
	entered(t, b, turning, 1)
	ask(6, 1) // another number: another question
	entered(t, b, turning, 2)
	ask(6, 1)
	ask(6, 0) // other words
	ask(6, 1)
	entered(t, b, turning, 3)
}

// Three writers, one lock: answers, what is sent unasked, and the machine's text. This
// board sends a byte in every third pass of its loop, as over a slow line, so that each
// comes up in the midst of the others; all of them arrive whole.
func TestOneSendLock(t *testing.T) {
	tab := shelf(t, 10, 40)
	dir := t.TempDir()
	slow := filepath.Join(dir, "slow.h")
	require.NoError(t, os.WriteFile(slow, []byte(`#include <time.h>
#include "line.h"
static inline uint8_t one_byte(struct pg_line *l, uint8_t *byte)
{
	static uint8_t turn;
	static const struct timespec pause = { 0, 50000 };
	nanosleep(&pause, 0);
	turn = (turn + 1) & 3;
	return turn == 0 && pg_line_next(l, byte);
}
#define pg_line_next one_byte
`), 0o666))
	if _, err := exec.LookPath("cc"); err != nil {
		t.Skip("NOT TRIED: there is no C compiler (cc) to build the controller with")
	}
	program, err := Build(dir, &tab.Show, "-D_POSIX_C_SOURCE=200809L", "-include", slow)
	require.NoError(t, err)
	p, err := port.Open(t.Context(), In(dir, program, "").Target(), 0)
	require.NoError(t, err)
	defer p.Close()
	var mu sync.Mutex
	var passed []link.Frame
	text := ""
	c := link.NewConn(p, link.Options{
		Baud:  1200, // patient: this computer has much else to do
		Event: func(f link.Frame) { mu.Lock(); defer mu.Unlock(); passed = append(passed, f) },
		Text:  func(b []byte) { mu.Lock(); defer mu.Unlock(); text += string(b) },
	})
	_, err = c.Hello(t.Context())
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(7, 8))
	soon := func() { time.Sleep(time.Duration(r.IntN(8)) * time.Millisecond) }
	said := func(passes, lines int) {
		require.Eventually(t, func() bool {
			mu.Lock()
			defer mu.Unlock()
			return len(passed) == passes && text == strings.Repeat("umbrellas\n", lines)
		}, 10*time.Second, time.Millisecond, "%d passed, wanted %d; text %q", len(passed), passes, text)
	}
	who := func() { require.NoError(t, c.WriteText([]byte("who\n"))) }
	start := func() *link.Question {
		q, err := c.Start(link.Counters, nil)
		require.NoError(t, err)
		return q
	}
	answered := func(q *link.Question) {
		_, err := c.Finish(t.Context(), q)
		require.NoError(t, err)
	}
	for i := range 4 {
		require.NoError(t, c.Tell(link.Pass, bytes.Repeat([]byte{uint8(2 * i), 0}, 30)))
		soon()
		who()
		said(2*i+1, 2*i+1)
		q := start()
		soon()
		who()
		answered(q)
		said(2*i+1, 2*i+2)
		one := start()
		soon()
		answered(start())
		answered(one)
		require.NoError(t, c.Tell(link.Pass, bytes.Repeat([]byte{uint8(2*i + 1), 0}, 30)))
		soon()
		answered(start())
		said(2*i+2, 2*i+2)
	}
	require.Zero(t, c.Lost())
	for i, f := range passed {
		require.Equal(t, link.Frame{Kind: link.Pass, Body: bytes.Repeat([]byte{uint8(i), 0}, 30)}, f)
	}
}

// Garbage on the line changes nothing and is counted.
func TestGarbage(t *testing.T) {
	first := shelf(t, 10, 40)
	b := New(t, &first.Show, first.Bytes())
	p, err := port.Open(t.Context(), b.Target(), 0)
	require.NoError(t, err)
	defer p.Close()
	c := link.NewConn(p, link.Options{})
	r := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		junk := make([]byte, r.IntN(300))
		for i := range junk {
			junk[i] = uint8(r.IntN(256))
		}
		_, err := p.Write(junk)
		require.NoError(t, err)
	}
	_, err = c.Hello(t.Context())
	require.NoError(t, err, "it listens on")
	body, err := c.Ask(t.Context(), link.Counters, nil)
	require.NoError(t, err)
	counts, err := link.ParseCounters(body)
	require.NoError(t, err)
	require.Greater(t, counts[link.BadFrames], uint32(100))
	_, err = c.Ask(t.Context(), link.State, link.StateBody(1))
	require.NoError(t, err)
	shows(t, b, "1 "+strings.Repeat("29282a", 4))
	_, err = c.Ask(t.Context(), link.State, link.StateBody(0))
	require.NoError(t, err)
	shows(t, b, "0 "+strings.Repeat("0b0a0c", 4))
}
