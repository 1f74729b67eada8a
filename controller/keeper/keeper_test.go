package keeper

import (
	"bufio"
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/boardtest"
	"paneglow/controller/link"
	"paneglow/controller/port"
	"paneglow/controller/stream"
	"paneglow/controller/upload"
	"paneglow/render/power"
	"paneglow/render/table"
)

func TestMain(m *testing.M) {
	code := m.Run()
	boardtest.CleanUp()
	os.Exit(code)
}

// shelf is a small panel with two states and two loads; the second state's light
// has to give way while the ring starts.
func shelf(t testing.TB) *table.Table {
	s := &table.Show{Title: "shelf", FPS: 50, Then: table.None, Lines: []string{"a"}, Steady: 4_000_000, Surge: 4_000_000, Least: 3_000_000, Raise: 4000,
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
			Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}},
		Strips: []table.Strip{{Name: "s", Pixels: 4}},
		Loads:  []table.Load{{Name: "ring", Run: 500_000, Start: 1_000_000}, {Name: "fan", Run: 100_000, Start: 200_000}}}
	var clips []table.Clip
	for i, c := range []uint8{10, 40} {
		clips = append(clips, table.Clip{Name: fmt.Sprint(i), Frames: 1, Channels: 12, Bytes: bytes.Repeat([]byte{c, c + 1, c + 2}, 4)})
	}
	s.States = []table.State{{Name: "rest", Clip: 0, Then: table.None, Budget: 3_000_000}, {Name: "turning", Clip: 1, Then: table.None, Budget: 3_000_000, Loads: 1}}
	var out bytes.Buffer
	_, err := table.Write(&out, s, clips, table.Options{Workers: 1})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	return tab
}

// bench is a keeper with its board, whose cable can be pulled.
type bench struct {
	*Keeper
	t     *testing.T
	board *boardtest.Board
	path  string
	log   *logText
	mu    sync.Mutex
	cable io.Closer
	away  error                                // nil: the board can be reached
	drop  atomic.Pointer[func(link.Kind) bool] // what goes astray on the way to the board
}

// sieve loses messages on the way to the board.
type sieve struct {
	io.ReadWriteCloser
	b *bench
}

func (s sieve) Write(w []byte) (int, error) {
	drop := s.b.drop.Load()
	// 00, COBS code, kind; right behind another frame without the zero.
	if f := bytes.TrimLeft(w, "\x00"); drop != nil && len(f) > 1 && w[len(w)-1] == 0 && (*drop)(link.Kind(f[1])) {
		return len(w), nil
	}
	return s.ReadWriteCloser.Write(w)
}

// loses makes messages go astray, by kind; none: all arrive.
func (b *bench) loses(kinds ...link.Kind) {
	drop := func(k link.Kind) bool { return slices.Contains(kinds, k) }
	b.drop.Store(&drop)
}

type logText struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *logText) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(b)
}

func (l *logText) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func (b *bench) open(ctx context.Context, o link.Options) (*Line, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.away != nil {
		return nil, b.away
	}
	p, err := port.Open(ctx, b.board.Target(), 0)
	if err != nil {
		return nil, err
	}
	c := link.NewConn(sieve{p, b}, o)
	id, err := c.Hello(ctx)
	b.cable = p
	return &Line{Closer: p, Conn: c, Is: id, Name: "the bench"}, err
}

// pull breaks the connection, as power that goes.
func (b *bench) pull(away error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.away = away
	b.cable.Close()
}

func start(t *testing.T) *bench { return startWith(t, shelf(t), nil) }

// startWith has a board that was given a table, or none, and a stream, or none.
func startWith(t *testing.T, tab *table.Table, frames Stream) *bench {
	b := &bench{t: t, board: boardtest.New(t, &shelf(t).Show, nil), log: &logText{}, path: filepath.Join(t.TempDir(), "socket")}
	if tab != nil {
		p, err := port.Open(t.Context(), b.board.Target(), 0)
		require.NoError(t, err)
		_, err = upload.Upload(t.Context(), link.NewConn(p, link.Options{}), tab, upload.Options{})
		require.NoError(t, err)
		p.Close()
	}
	b.Keeper = New(Options{Open: b.open, Stream: frames, Log: slog.New(slog.NewTextHandler(b.log, nil)), Alive: 20 * time.Millisecond, First: 5 * time.Millisecond, Most: 20 * time.Millisecond})
	l, err := Socket(b.path)
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	wg.Go(func() { _ = b.Run(ctx) })
	wg.Go(func() { require.NoError(t, b.Serve(ctx, l, nil)) })
	t.Cleanup(func() { stop(); wg.Wait() })
	return b
}

// program is the machine's own, on the socket.
type program struct {
	t    *testing.T
	conn net.Conn
	in   *bufio.Reader
}

func (b *bench) program() *program {
	c, err := net.Dial("unix", b.path)
	require.NoError(b.t, err)
	b.t.Cleanup(func() { c.Close() })
	return &program{b.t, c, bufio.NewReader(c)}
}

func (p *program) say(line string) {
	_, err := p.conn.Write([]byte(line + "\n"))
	require.NoError(p.t, err)
}

// hears reads on until a line begins so, and gives it.
func (p *program) hears(begin string) string {
	require.NoError(p.t, p.conn.SetReadDeadline(time.Now().Add(15*time.Second)))
	var heard []string
	for {
		line, err := p.in.ReadString('\n')
		require.NoError(p.t, err, "waiting for %q, heard %q", begin, heard)
		line = strings.TrimSuffix(line, "\n")
		heard = append(heard, line)
		if strings.HasPrefix(line, begin) {
			return line
		}
	}
}

func (b *bench) connected() {
	require.Eventually(b.t, func() bool { return strings.Contains(b.Do(b.t.Context(), "status"), `"connected":true`) }, 15*time.Second, 5*time.Millisecond)
}

func (b *bench) shows(state, codes string) {
	last := func() string {
		r := b.board.Refreshes(b.t)
		if len(r) == 0 {
			return ""
		}
		f := strings.Fields(r[len(r)-1])
		return f[1] + " " + f[2]
	}
	want := state + " " + strings.Repeat(codes, 4)
	require.Eventually(b.t, func() bool { return last() == want }, 15*time.Second, 5*time.Millisecond, "want %s, it shows %s", want, last())
}

func TestWords(t *testing.T) {
	t.Parallel()
	b := start(t)
	b.connected()
	p := b.program()
	for _, c := range []struct{ say, hear string }{
		{"loads", "ok"},
		{"state turning", "ok"},
		{"state 0", "ok"},
		{"state turning", "ok"},
		{"value 200", "ok"},
		{"level 1000", "ok"},
		{"service light", "ok"},
		{"service off", "ok"},
		{"load fan ask", "ok"},
		{"load fan runs", "ok"},
		{"loads fan", "ok"},
		{"load fan stopped", "ok"},
		{"state dancing", `no: no state is called "dancing"; there are rest, turning`},
		{"state 2", `no: no state is called "2"; there are rest, turning`},
		{"loads 2", `no: no load is called "2"; there are ring, fan`},
		{"load door ask", `no: no load is called "door"; there are ring, fan`},
		{"load ring jumps", `no: load NAME ask, runs or stopped, not "jumps"`},
		{"value 256", "no: a whole number from 0 to 255"},
		{"level bright", "no: a whole number from 0 to 1000"},
		{"service on", "no: service off, light or test"},
		{"send 0g", "no: send wants"},
		{"send " + strings.Repeat("00", 251), "no: send wants"},
		{"", "no: an empty line"},
		{"dance", `no: "dance" is no word of the keeper`},
		{"send 000100", "ok"},
	} {
		p.say(c.say)
		if c.say == "load fan ask" { // the answer and the grant come as they come
			p.hears(c.hear)
			continue
		}
		p.hears(c.hear)
	}
	require.Equal(t, "said 000100", p.hears("said 00"))
	p.say("text who")
	said := ""
	for !strings.HasSuffix(said, "\n") {
		b, err := hex.DecodeString(strings.TrimPrefix(p.hears("said "), "said "))
		require.NoError(t, err)
		said += string(b)
	}
	require.Equal(t, "umbrellas\n", said)
	b.shows("1", "29282a")

	p.say("load ring ask")
	require.Equal(t, "granted ring", p.hears("granted"))
	require.Contains(t, b.doing(), "ring running")
}

// The line is lost while the ring turns: written down with what the machine did;
// when the board is back it is told again, and so is what was said meanwhile.
func TestDropOut(t *testing.T) {
	t.Parallel()
	b := start(t)
	b.connected()
	p := b.program()
	p.say("loads")
	p.hears("ok")
	p.say("state turning")
	p.hears("ok")
	p.say("load ring runs")
	p.hears("ok")
	b.shows("1", "29282a")
	b.pull(errors.New("the hub has switched it off"))
	p.hears("line lost")
	require.Eventually(t, func() bool { return strings.Contains(b.log.String(), "the hub has switched it off") }, 15*time.Second, 5*time.Millisecond)
	require.Contains(t, b.log.String(), `"line lost" why=`)
	require.Contains(t, b.log.String(), `"the machine"="state turning, ring running"`)
	require.Equal(t, 1, strings.Count(b.log.String(), "not connected"), "the same reason is written down once")
	p.say("level 500")
	require.Equal(t, "no: the line is down: the hub has switched it off; it is told when it is back", p.hears("no"))
	p.say("status")
	require.Contains(t, p.hears("{"), `"connected":false`)
	b.pull(nil)
	p.hears("line back")
	b.shows("1", halved())
	p.say("status")
	require.Contains(t, p.hears("{"), `"drop_outs":1`)
}

// What the board refuses when it is back, such as a state that its show does not have,
// is written down and forgotten; it does not keep the line down.
func TestRefusedLater(t *testing.T) {
	t.Parallel()
	b := start(t)
	b.connected()
	b.pull(errors.New("gone"))
	p := b.program()
	require.Eventually(t, func() bool { return strings.Contains(b.log.String(), "gone") }, 15*time.Second, 5*time.Millisecond)
	b.mu.Lock()
	b.Keeper.names = names{} // as after a start without a board
	b.mu.Unlock()
	for _, line := range []string{"state 63", "load 15 runs", "level 500"} {
		p.say(line)
		p.hears("no: the line is down")
	}
	b.pull(nil)
	p.hears("line back")
	require.Contains(t, b.log.String(), `"the board refuses what the machine told, and it is forgotten" what="state 63" why="out of range"`)
	require.Contains(t, b.log.String(), `what="load 15"`)
	p.say("status")
	require.Contains(t, p.hears("{"), `"drop_outs":1,"machine":"nothing that it told of"`)
	b.Keeper.mu.Lock()
	defer b.Keeper.mu.Unlock()
	require.EqualValues(t, 500, *b.facts.level)
	require.Zero(t, b.facts.known)
}

// A board without a show still passes the machine's own bytes on, and hears the rest
// when it plays.
func TestNoShow(t *testing.T) {
	t.Parallel()
	b := startWith(t, nil, nil)
	b.connected()
	p := b.program()
	p.say("send 0001")
	require.Equal(t, "said 0001", p.hears("said"))
	p.say("level 500")
	require.Equal(t, "no: the board refuses: it is busy: it has just started, or plays no show (paneglow upload gives it one)", p.hears("no"))
	p.say("status")
	require.Contains(t, p.hears("{"), `"drop_outs":0`)
	require.Equal(t, 1, strings.Count(b.log.String(), "cannot be told of the machine yet"), b.log.String())
}

// A state that went astray, four times, while other questions were answered: it was
// said that it will be told, and it is.
func TestToldOnceMore(t *testing.T) {
	t.Parallel()
	b := start(t)
	b.connected()
	b.loses(link.State)
	require.Contains(t, b.Do(t.Context(), "state turning"), "it is told when it is back")
	b.loses()
	b.shows("1", "29282a")
	require.Contains(t, b.Do(t.Context(), "status"), `"drop_outs":0`)
}

// What the machine says is passed on at once, also while the board owes an answer.
func TestSaidAtOnce(t *testing.T) {
	t.Parallel()
	b := start(t)
	b.connected()
	p := b.program()
	p.say("status")
	p.hears("{")
	b.loses(link.Alive, link.Clock)
	time.Sleep(3 * b.o.Alive) // the keeper asks, and waits
	for i := range 20 {
		require.Equal(t, "ok", b.Do(t.Context(), fmt.Sprintf("send %04x", i)))
		require.Equal(t, fmt.Sprintf("said %04x", i), p.hears("said"))
	}
	require.NotContains(t, b.log.String(), "line lost", "all that before the question was given up")
}

// unlike is a stream of a table that the board does not hold.
type unlike struct{ Stream }

func (unlike) Begin(context.Context, *link.Conn, *table.Header) error {
	return fmt.Errorf("%w: the number of states is 3 here, 2 there", stream.ErrTable)
}
func (unlike) Event(link.Frame) {}
func (unlike) End()             {}
func (unlike) Value(uint8)      {}
func (unlike) Status() string   { return "" }

// Frames that do not belong to the board's show are left out, and that is said; the
// machine is heard all the same.
func TestStreamOfAnotherTable(t *testing.T) {
	b := startWith(t, shelf(t), unlike{})
	b.connected()
	require.Equal(t, "ok", b.Do(t.Context(), "state turning"))
	b.shows("1", "29282a")
	require.Contains(t, b.Do(t.Context(), "status"), `"stream":"none: stream: the controller's own table is another one: the number of states is 3 here, 2 there"`)
	require.Contains(t, b.log.String(), "the stored show plays, and not the stream")
}

// parting is a stream that says goodbye.
type parting struct {
	unlike
	conn *link.Conn
	said error
}

func (p *parting) Begin(_ context.Context, c *link.Conn, _ *table.Header) error {
	p.conn = c
	return nil
}

func (p *parting) End() { _, p.said = p.conn.Ask(context.Background(), link.CloseStream, nil) }

// A keeper that ends closes its stream first, so that the stored show plays at once.
func TestStreamIsClosed(t *testing.T) {
	s := &parting{said: errors.New("never")}
	t.Run("keeper", func(t *testing.T) {
		b := startWith(t, shelf(t), s)
		b.connected()
	})
	require.NoError(t, s.said)
}

// hoarse is a listener that fails a few times.
type hoarse struct {
	net.Listener
	fails int
}

func (h *hoarse) Accept() (net.Conn, error) {
	if h.fails--; h.fails >= 0 {
		return nil, errors.New("too many open files")
	}
	return h.Listener.Accept()
}

// Clients are served again after one could not be accepted.
func TestAcceptAgain(t *testing.T) {
	log := &logText{}
	k := New(Options{Log: slog.New(slog.NewTextHandler(log, nil))})
	l, err := Socket(filepath.Join(t.TempDir(), "s"))
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	wg.Go(func() { require.NoError(t, k.Serve(ctx, &hoarse{l, 3}, nil)) })
	c, err := net.Dial("unix", l.Addr().String())
	require.NoError(t, err)
	p := &program{t, c, bufio.NewReader(c)}
	p.say("status")
	p.hears(`{"connected":false`)
	require.Equal(t, 1, strings.Count(log.String(), "too many open files"))
	c.Close()
	stop()
	wg.Wait()
}

// What is taken back is what the message changed, and nothing that came in between.
func TestRevert(t *testing.T) {
	one, two := uint8(1), uint8(2)
	before := facts{state: &one, known: 0b01, running: 0b01}
	after := before
	after.state, after.asking = &two, 0b100
	f := after
	f.known, f.running = 0b11, 0b11 // granted meanwhile
	f.revert(before, after)
	require.Equal(t, facts{state: &one, known: 0b11, running: 0b11}, f)
	f = after
	level := uint16(7)
	f.level = &level
	f.revert(before, after)
	require.Equal(t, facts{state: &one, level: &level, known: 0b01, running: 0b01}, f)
}

// halved is what the second clip's codes come to at a lightness of one half:
// Y = ((50+16)/116)^3 = 0.1842 (CIE 15:2018), rounded down.
func halved() string {
	g, r, bl := 41*1842/10000, 40*1842/10000, 42*1842/10000
	return fmt.Sprintf("%02x%02x%02x", g, r, bl)
}

// A socket of a dead program is replaced, one that is served is not; who may use it
// is the group's business.
func TestSocket(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s")
	l, err := Socket(path)
	require.NoError(t, err)
	st, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o660), st.Mode().Perm())
	_, err = Socket(path)
	require.ErrorIs(t, err, ErrListen)
	require.ErrorContains(t, err, "one line has one keeper")
	l.(*net.UnixListener).SetUnlinkOnClose(false)
	l.Close()
	l, err = Socket(path)
	require.NoError(t, err)
	l.Close()
	_, err = Socket(filepath.Join(t.TempDir(), "none", "s"))
	require.ErrorIs(t, err, ErrListen)
	require.ErrorContains(t, err, "/none: make it")
	plain := filepath.Join(t.TempDir(), "plain")
	require.NoError(t, os.WriteFile(plain, []byte("kept"), 0o666))
	_, err = Socket(plain)
	require.ErrorIs(t, err, ErrListen)
	b, err := os.ReadFile(plain)
	require.NoError(t, err)
	require.Equal(t, "kept", string(b))
}

// loopback is this computer's own address.
var loopback = net.IPv4(127, 0, 0, 1).String()

func TestListen(t *testing.T) {
	for _, address := range []string{"0.0.0.0:0", ":0", "[::]:0"} {
		_, err := Listen(t.Context(), address, nil)
		require.ErrorIs(t, err, ErrListen, address)
		require.ErrorContains(t, err, "without a key", address)
	}
	_, err := Listen(t.Context(), loopback+":0", []byte("short"))
	require.ErrorContains(t, err, "can be guessed")
	_, err = Listen(t.Context(), loopback, nil)
	require.ErrorContains(t, err, "HOST:PORT")

	key := []byte("sixteen bytes or more")
	k := New(Options{Open: func(context.Context, link.Options) (*Line, error) { return nil, errors.New("none") }})
	l, err := Listen(t.Context(), loopback+":0", key)
	require.NoError(t, err)
	var wg sync.WaitGroup
	wg.Go(func() { require.NoError(t, k.Serve(t.Context(), l, key)) })
	for _, right := range []bool{true, false} {
		c, err := net.Dial("tcp", l.Addr().String())
		require.NoError(t, err)
		p := &program{t, c, bufio.NewReader(c)}
		nonce, err := hex.DecodeString(strings.TrimPrefix(p.hears("prove "), "prove "))
		require.NoError(t, err)
		mine := key
		if !right {
			mine = []byte("sixteen bytes of another")
		}
		p.say("proof " + hex.EncodeToString(Proof(mine, nonce)))
		if right {
			p.hears("ok")
			p.say("status")
			p.hears(`{"connected":false`)
		} else {
			p.hears("no: that is not the key")
		}
		c.Close()
	}
	l.Close()
	wg.Wait()
}

// The worked example of RFC 4231, test case 2.
func TestProof(t *testing.T) {
	require.Equal(t, "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843", hex.EncodeToString(Proof([]byte("Jefe"), []byte("what do ya want for nothing?"))))
}
