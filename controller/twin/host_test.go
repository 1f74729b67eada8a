package twin

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/play"
	"paneglow/render/table"
)

// config is what the firmware under test is built with.
func config() table.Config {
	return table.Config{Work: 8192, Dead: 4, Still: [4]uint8{9, 7, 5, 3}, Service: 100, Keys: 1}
}

// build compiles the player for a panel, with the sanitizers of addresses and of
// undefined behaviour, and gives the program.
func build(t *testing.T, panel *table.Show) string { return buildIn(t, t.TempDir(), panel) }

func buildIn(t *testing.T, dir string, panel *table.Show, flags ...string) string {
	cc, err := exec.LookPath("cc")
	if err != nil {
		t.Skip("no C compiler here: the C player was not tried")
	}
	var h bytes.Buffer
	require.NoError(t, table.WriteConfig(&h, panel, config()))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), h.Bytes(), 0o666))
	args := []string{"-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all", "-DPG_STREAMS=1",
		"-I", dir, "-I", "../player/port/host", "-I", "../player", "-o", filepath.Join(dir, "host"), "testdata/host.c"}
	for _, name := range []string{"player", "table", "budget", "service", "decode", "keys", "blend", "stream", "stream_frames", "clip", "count", "gain", "plan", "told", "verify", "walk"} {
		args = append(args, "../player/"+name+".c")
	}
	args = append(args, flags...)
	out, err := exec.Command(cc, args...).CombinedOutput()
	require.NoError(t, err, string(out))
	return filepath.Join(dir, "host")
}

// host is a running C player.
type host struct {
	t    testing.TB
	cmd  *exec.Cmd
	in   *bufio.Writer
	pipe io.Closer
	out  *bufio.Reader
	err  bytes.Buffer
	dir  string
	sent strings.Builder // lines so far, for a report
}

func start(t testing.TB, program string) *host {
	h := &host{t: t, cmd: exec.Command(program), dir: filepath.Dir(program)}
	in, err := h.cmd.StdinPipe()
	require.NoError(t, err)
	out, err := h.cmd.StdoutPipe()
	require.NoError(t, err)
	h.cmd.Stderr = &h.err
	h.in, h.pipe, h.out = bufio.NewWriter(in), in, bufio.NewReader(out)
	require.NoError(t, h.cmd.Start())
	return h
}

func (h *host) stop() error {
	h.pipe.Close()
	return h.cmd.Wait()
}

func (h *host) say(format string, args ...any) {
	fmt.Fprintf(&h.sent, format+"\n", args...)
	fmt.Fprintf(h.in, format+"\n", args...)
}

// begin loads a table and starts the player.
func (h *host) begin(t require.TestingT, b []byte, o play.Options) {
	path := filepath.Join(h.dir, "table")
	require.NoError(t, os.WriteFile(path, b, 0o666))
	h.sent.Reset()
	h.say("table %s %d %d %d %d", path, o.Start, o.Seed, o.First, max(o.Refreshes, 1))
}

// tell passes an event on as a firmware would.
func (h *host) tell(at play.Tick, e play.Event) {
	switch e.Kind {
	case play.State:
		h.say("state %d %d", e.Index, at)
	case play.Value:
		h.say("value %d 0", e.Value)
	case play.Ask:
		h.say("ask %d 0", e.Index)
	case play.Running:
		h.say("running %d 0", e.Index)
	case play.Stopped:
		h.say("stopped %d 0", e.Index)
	case play.Loads:
		h.say("loads %d 0", e.Mask)
	case play.Level:
		h.say("level %d 0", e.Value)
	case play.Host:
		h.say("host 0 %d", at)
	case play.Clock:
		h.say("clock %d %d", e.Index, e.Value)
	case play.Service:
		h.say("service %d 0", e.Value)
	case play.Dead:
		h.say("dead %d %d", e.Index, e.Value)
	}
}

// latch is one refresh as the C player reports it.
type latch struct {
	sent           bool
	trouble        int
	wires          [][]byte // by line
	at             uint32
	late, second   int
	state, clip    int
	source         int
	gain           uint32
	current        int64
	climbing, over int
	granted        uint32
	holds          int
	found          []play.Event // of clips, in its order
	rails          []play.Drawn
	took           []int // frames of the stream, by their number since it opened
	endedOld       int   // 1: the stream ended while what a hand-over comes from was made
	stream         int
	why, starved   int
	fill           int // bytes that wait
}

// next lets it make one refresh, after so many calls in which it may work ahead.
func (h *host) next(t require.TestingT, idle int) latch {
	h.say("next %d", idle)
	require.NoError(t, h.in.Flush())
	line, err := h.out.ReadString('\n')
	if err != nil {
		err = h.stop()
		require.NoError(t, err, "the player ended: %s\nafter\n%s", h.err.String(), h.sent.String())
		require.Fail(t, "the player ended", h.err.String())
	}
	var l latch
	words := strings.Fields(line)
	if words[0] == "trouble" {
		fmt.Sscan(words[1], &l.trouble)
		return l
	}
	l.sent = words[0] == "sent"
	for words = words[1:]; strings.HasPrefix(words[0], ":"); words = words[1:] {
		var b []byte
		if len(words[0]) > 1 {
			_, err := fmt.Sscanf(words[0][1:], "%x", &b)
			require.NoError(t, err)
		}
		l.wires = append(l.wires, b)
	}
	for len(words) > 1 {
		v := words[1]
		n := 2
		switch words[0] {
		case "at":
			fmt.Sscan(v, &l.at)
		case "late":
			fmt.Sscan(v, &l.late)
		case "second":
			fmt.Sscan(v, &l.second)
		case "state":
			fmt.Sscan(v, &l.state)
		case "clip":
			fmt.Sscan(v, &l.clip)
		case "source":
			fmt.Sscan(v, &l.source)
		case "gain":
			fmt.Sscan(v, &l.gain)
		case "current":
			fmt.Sscan(v, &l.current)
		case "climbing":
			fmt.Sscan(v, &l.climbing)
		case "over":
			fmt.Sscan(v, &l.over)
		case "granted":
			fmt.Sscan(v, &l.granted)
		case "holds":
			fmt.Sscan(v, &l.holds)
		case "verified", "lost", "damaged":
			e := play.Event{Kind: map[string]play.Kind{"verified": play.Verified, "lost": play.Lost, "damaged": play.Damaged}[words[0]]}
			fmt.Sscan(v, &e.Index)
			l.found = append(l.found, e)
		case "took":
			var n int
			fmt.Sscan(v, &n)
			l.took = append(l.took, n)
		case "ended_old":
			fmt.Sscan(v, &l.endedOld)
		case "stream":
			fmt.Sscan(v, &l.stream)
		case "why":
			fmt.Sscan(v, &l.why)
		case "starved":
			fmt.Sscan(v, &l.starved)
		case "fill":
			fmt.Sscan(v, &l.fill)
		case "rail":
			var d play.Drawn
			fmt.Sscan(v, &d.Current)
			fmt.Sscan(words[2], &d.Budget)
			l.rails = append(l.rails, d)
			n = 3
		default:
			require.Fail(t, "unknown word", "%q in %q", words[0], line)
		}
		words = words[n:]
	}
	return l
}

// wire is what the twin's codes look like on the data lines, the slow way: every
// strip of the line, every pixel that has an address, every die in wire order.
func wire(s *table.Show, codes []byte, dead map[int]bool) [][]byte {
	lines := make([][]byte, len(s.Lines))
	at, first := 0, 0
	for _, st := range s.Strips {
		p := s.Parts[st.Part]
		gone := map[int]bool{}
		for _, m := range st.Missing {
			gone[m] = true
		}
		for px := range st.Pixels {
			if !gone[px] && !dead[first+px] {
				for _, die := range p.Order {
					lines[st.Line] = append(lines[st.Line], codes[at+strings.IndexRune("RGBW", die)])
				}
			}
			at += p.Dies
		}
		first += st.Pixels
	}
	return lines
}
