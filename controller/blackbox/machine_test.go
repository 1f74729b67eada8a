package blackbox

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/render/table"
)

// config is what the controller under test is built with.
func config() table.Config {
	return table.Config{Work: 8192, Dead: 6, Still: [4]uint8{9, 7, 5, 3}, Service: 100, Keys: 1}
}

var (
	programs = map[string]string{}
	building sync.Mutex
)

func TestMain(m *testing.M) {
	code := m.Run()
	for _, p := range programs {
		os.RemoveAll(filepath.Dir(p))
	}
	os.Exit(code)
}

// program builds the controller in virtual time for a panel.
func program(t testing.TB, panel *table.Show, flags ...string) string {
	cc, err := exec.LookPath("cc")
	if err != nil {
		t.Skip("NOT TRIED: there is no C compiler (cc) to build the controller with")
	}
	building.Lock()
	defer building.Unlock()
	var h bytes.Buffer
	require.NoError(t, table.WriteConfig(&h, panel, config()))
	key := h.String() + fmt.Sprint(flags)
	if p := programs[key]; p != "" {
		return p
	}
	dir, err := os.MkdirTemp("", "paneglow-machine-")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o666))
	sources, err := filepath.Glob("../player/*.c")
	require.NoError(t, err)
	out := filepath.Join(dir, "machine")
	args := append([]string{"-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-I", dir, "-I", "../player/port/host", "-I", "../player", "-o", out, "testdata/machine.c"}, sources...)
	said, err := exec.Command(cc, append(args, flags...)...).CombinedOutput()
	require.NoError(t, err, string(said))
	programs[key] = out
	return out
}

var sanitized = []string{"-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all", "-Wno-clobbered"}

// latch is one refresh of the machine.
type latch struct {
	number uint32
	sent   bool
	state  int
	lines  string // of the data lines, in hexadecimal
}

// machine is a controller that runs in virtual time.
type machine struct {
	t        require.TestingT
	cmd      *exec.Cmd
	in       *bufio.Writer
	pipe     io.Closer
	out      *bufio.Reader
	errs     said
	splitter link.Splitter
	frames   []link.Frame
	latched  []latch
	seq      uint8
	at       time.Time     // for the splitter alone
	clock    time.Duration // that has passed
}

// said is what a program complains of, while it runs.
type said struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *said) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(b)
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// newMachine starts one with a table built in; micros is what its clock shows then.
func newMachine(t testing.TB, program string, builtIn []byte, micros uint64) *machine {
	path := filepath.Join(t.TempDir(), "table")
	require.NoError(t, os.WriteFile(path, builtIn, 0o666))
	m := &machine{t: t, cmd: exec.Command(program, path, fmt.Sprint(micros)), at: time.Unix(0, 0)}
	in, err := m.cmd.StdinPipe()
	require.NoError(t, err)
	out, err := m.cmd.StdoutPipe()
	require.NoError(t, err)
	m.cmd.Stderr = &m.errs
	m.in, m.pipe, m.out = bufio.NewWriterSize(in, 1<<16), in, bufio.NewReaderSize(out, 1<<16)
	require.NoError(t, m.cmd.Start())
	m.splitter.Frame = func(f link.Frame) {
		f.Body = bytes.Clone(f.Body)
		m.frames = append(m.frames, f)
	}
	t.Cleanup(func() {
		in.Close()
		require.NoError(t, m.cmd.Wait(), m.errs.String())
	})
	return m
}

func (m *machine) say(format string, args ...any) { fmt.Fprintf(m.in, format+"\n", args...) }

// run lets time pass, and tells whether power lasted.
func (m *machine) run(d time.Duration) bool {
	m.say("run %d", d.Microseconds())
	m.clock += d
	require.NoError(m.t, m.in.Flush())
	for {
		line, err := m.out.ReadString('\n')
		require.NoError(m.t, err, "the machine ended: %s", m.errs.String())
		line = line[:len(line)-1]
		switch word, rest, _ := strings.Cut(line, " "); word {
		case "ok":
			return true
		case "dark":
			return false
		case "out":
			b, err := hex.DecodeString(rest)
			require.NoError(m.t, err)
			m.splitter.Write(b, m.at)
		case "r":
			var l latch
			var sent int
			head := strings.SplitN(rest, " ", 4)
			_, err := fmt.Sscan(rest, &l.number, &sent, &l.state)
			require.NoError(m.t, err)
			l.sent, l.lines = sent != 0, head[3]
			m.latched = append(m.latched, l)
		default:
			require.Fail(m.t, "unknown line", "%q", line)
		}
	}
}

func (m *machine) peek() (starts, refreshes, silences, lost, late, left, tokens, trouble int) {
	m.say("peek")
	require.NoError(m.t, m.in.Flush())
	line, err := m.out.ReadString('\n')
	require.NoError(m.t, err, m.errs.String())
	_, err = fmt.Sscanf(line, "peek %d %d %d %d %d %d %d %d", &starts, &refreshes, &silences, &lost, &late, &left, &tokens, &trouble)
	require.NoError(m.t, err, line)
	return
}

// send sends a message.
func (m *machine) send(kind link.Kind, body ...byte) {
	m.seq++
	m.say("take %x", link.Append(nil, link.Frame{Kind: kind, Seq: m.seq, Body: body}))
}

// ask sends one and waits for its answer, up to ten seconds of virtual time.
func (m *machine) ask(kind link.Kind, body ...byte) (link.Status, []byte) {
	m.frames = m.frames[:0]
	m.send(kind, body...)
	for range 2000 {
		if !m.run(5 * time.Millisecond) {
			return 0xff, nil
		}
		for _, f := range m.frames {
			if f.Kind == kind && f.Seq == m.seq {
				require.NotEmpty(m.t, f.Body)
				return link.Status(f.Body[0]), f.Body[1:]
			}
		}
	}
	require.Fail(m.t, "no answer", "to message %d", kind)
	return 0, nil
}

// log reads the black box, as Fetch does, in virtual time.
func (m *machine) log() *Log {
	l := &Log{Board: "virtual", Firmware: 7, Read: time.Unix(1_800_000_000, 0).UTC()}
	more := func() {
		for {
			want := uint32(0)
			if k := len(l.Entries); k > 0 {
				want = l.Entries[k-1].Number + 1
			}
			status, b := m.ask(link.Log, uint8(want), uint8(want>>8), uint8(want>>16), uint8(want>>24))
			if status == link.Busy {
				m.run(50 * time.Millisecond)
				continue
			}
			require.Equal(m.t, link.OK, status)
			n, err := l.add(want, b)
			require.NoError(m.t, err)
			if n == 0 {
				return
			}
		}
	}
	more()
	_, refreshes, _, _, _, _, _, _ := m.peek()
	for range 3 {
		m.run(100 * time.Millisecond)
		more()
	}
	l.Refreshes = uint32(refreshes)
	return l
}
