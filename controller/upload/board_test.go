package upload

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/render/power"
	"paneglow/render/table"
)

// unit and page of the board's memory in these tests: small, so that a small
// table crosses many of them. slotSize is a slot's.
const (
	unit     = 256
	page     = 64
	slotSize = 4096
)

// buildBoard builds the controller's side for this computer, with the
// sanitizers, once for all tests.
func buildBoard(t testing.TB) string {
	program, err := built()
	if errors.Is(err, exec.ErrNotFound) {
		t.Skip("NOT TRIED: uploads to the controller's side, there is no C compiler (cc)")
	}
	require.NoError(t, err)
	return program
}

var built = sync.OnceValues(func() (string, error) {
	cc, err := exec.LookPath("cc")
	if err != nil {
		return "", err
	}
	dir, err := os.MkdirTemp("", "board")
	if err != nil {
		return "", err
	}
	out := filepath.Join(dir, "board")
	b, err := exec.Command(cc, "-std=c99", "-O1", "-g", "-Wall", "-Wextra", "-pedantic", "-Werror", "-fsanitize=address,undefined", "-fno-sanitize-recover=all",
		fmt.Sprintf("-DPG_STORE_UNIT=%du", unit), fmt.Sprintf("-DPG_STORE_PAGE=%du", page), fmt.Sprintf("-DPG_SLOT_SIZE=%dul", slotSize),
		"-I../player/port/host", "-o", out, "testdata/board.c", "../player/link.c", "../player/slots.c", "../player/upload.c", "../player/upload_pages.c").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("%w: %s", err, b)
	}
	return out, nil
})

func TestMain(m *testing.M) {
	code := m.Run()
	if program, err := built(); err == nil {
		os.RemoveAll(filepath.Dir(program))
	}
	os.Exit(code)
}

// board is the controller's side in a process of its own.
type board struct {
	t   testing.TB
	in  io.WriteCloser
	out *bufio.Reader
	cmd *exec.Cmd
	mu  sync.Mutex
	// spoil may change what goes over the line, per direction; nil: nothing.
	spoil func(b []byte) []byte
	lined int // bytes of the line towards the board
}

func startBoard(t testing.TB, program string, layout uint32) *board {
	b := &board{t: t, cmd: exec.Command(program, fmt.Sprint(layout))}
	var err error
	b.in, err = b.cmd.StdinPipe()
	require.NoError(t, err)
	out, err := b.cmd.StdoutPipe()
	require.NoError(t, err)
	b.out = bufio.NewReader(out)
	var said bytes.Buffer
	b.cmd.Stderr = &said
	require.NoError(t, b.cmd.Start())
	t.Cleanup(func() {
		b.in.Close()
		require.NoError(t, b.cmd.Wait(), said.String())
	})
	return b
}

// record sends a record and reads n bytes of its answer, after the letter.
func (b *board) record(n int, letter byte, parts ...any) []byte {
	var rec bytes.Buffer
	for _, p := range parts {
		require.NoError(b.t, binary.Write(&rec, binary.LittleEndian, p))
	}
	_, err := b.in.Write(rec.Bytes())
	require.NoError(b.t, err)
	if letter == 0 {
		return nil
	}
	got := b.read(n + 1)
	require.Equal(b.t, letter, got[0])
	return got[1:]
}

func (b *board) read(n int) []byte {
	got := make([]byte, n)
	_, err := io.ReadFull(b.out, got)
	require.NoError(b.t, err)
	return got
}

func (b *board) cut(lines, ops, seed uint32) { b.record(0, 0, byte('c'), lines, ops, seed) }
func (b *board) loads(on bool)               { b.record(0, 0, byte('l'), on) }
func (b *board) fits(ok bool)                { b.record(0, 0, byte('f'), ok) }
func (b *board) worn(writes uint32)          { b.record(0, 0, byte('z'), writes) }
func (b *board) loses(at uint32, bit uint8)  { b.record(0, 0, byte('m'), at, bit) }

// power switches it on, and gives the number of the record in force.
func (b *board) power() uint32 {
	return binary.LittleEndian.Uint32(b.record(13, 'R', byte('r')))
}

// shows is the table in force.
func (b *board) shows() []byte {
	return b.read(int(binary.LittleEndian.Uint32(b.record(4, 'D', byte('d')))))
}

// erasures of every unit of the memory.
func (b *board) erasures() []uint32 {
	erased, _ := b.counts()
	return erased
}

// counts are the erasures of every unit of the memory, and the writes.
func (b *board) counts() (erasures []uint32, writes uint32) {
	n := (2*unit + 2*slotSize) / unit
	got := b.record(4*n+4, 'Q', byte('q'))
	for i := range n {
		erasures = append(erasures, binary.LittleEndian.Uint32(got[4*i:]))
	}
	return erasures, binary.LittleEndian.Uint32(got[4*n:])
}

// line is one connection to the board; when its power goes the line ends.
type line struct {
	b      *board
	answer chan []byte
	rest   []byte
	once   sync.Once
	gone   chan struct{}
}

func (b *board) line() *line {
	return &line{b: b, answer: make(chan []byte, 64), gone: make(chan struct{})}
}

func (l *line) Close() { l.once.Do(func() { close(l.gone) }) }

func (l *line) Write(p []byte) (int, error) {
	l.b.mu.Lock()
	defer l.b.mu.Unlock()
	q := p
	if l.b.spoil != nil {
		q = l.b.spoil(p)
	}
	l.b.lined += len(q)
	var rec bytes.Buffer
	rec.WriteByte('x')
	binary.Write(&rec, binary.LittleEndian, uint16(len(q)))
	rec.Write(q)
	if _, err := l.b.in.Write(rec.Bytes()); err != nil {
		return 0, err
	}
	letter := l.b.read(1)[0]
	if letter == 'C' {
		l.Close()
		return 0, errors.New("unplugged")
	}
	require.Equal(l.b.t, byte('W'), letter)
	n := l.b.read(2)
	if got := l.b.read(int(binary.LittleEndian.Uint16(n))); len(got) > 0 {
		if l.b.spoil != nil {
			got = l.b.spoil(got)
		}
		l.answer <- got
	}
	return len(p), nil
}

func (l *line) Read(p []byte) (int, error) {
	if len(l.rest) == 0 {
		select {
		case l.rest = <-l.answer:
		case <-l.gone:
			return 0, io.EOF
		}
	}
	n := copy(p, l.rest)
	l.rest = l.rest[n:]
	return n, nil
}

// panel is a small panel with a show of some clips; seed and colour change what
// they show.
func panel(t testing.TB, pixels, frames int, tints ...uint8) *table.Table {
	s := &table.Show{Title: "shelf", FPS: 30, Then: table.None, Lines: []string{"a"}, Steady: 4_000_000, Surge: 4_000_000, Least: 4_000_000, Raise: 4000,
		Parts: []table.Part{{Name: "p", Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000,
			Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}}}},
		Strips: []table.Strip{{Name: "s", Pixels: pixels}}}
	var clips []table.Clip
	for i, tint := range tints {
		r := rand.New(rand.NewPCG(uint64(i), 5))
		b := make([]uint8, frames*pixels*3)
		for k := range b {
			b[k] = uint8(r.IntN(80))
			if k%3 == 2 {
				b[k] = tint
			}
		}
		clips = append(clips, table.Clip{Name: fmt.Sprint("clip ", i), Frames: frames, Channels: pixels * 3, Bytes: b, Loop: true})
	}
	s.States = []table.State{{Name: "rest", Clip: 0, Then: table.None, Budget: 4_000_000}}
	var out bytes.Buffer
	_, err := table.Write(&out, s, clips, table.Options{Workers: 1})
	require.NoError(t, err)
	tab, err := table.Read(out.Bytes(), table.Limits{})
	require.NoError(t, err)
	require.Less(t, out.Len(), slotSize)
	return tab
}

// try uploads over a line of its own.
func (b *board) try(tab *table.Table, o Options, lo link.Options) (Result, error) {
	l := b.line()
	defer l.Close()
	return Upload(b.t.Context(), link.NewConn(l, lo), tab, o)
}
