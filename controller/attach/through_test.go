package attach

import (
	"bufio"
	"fmt"
	"net"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
)

// keeps serves a socket as a keeper does; answer gives what it says to a line, "" for
// nothing.
func keeps(t *testing.T, answer func(line string) string) *Target {
	path := filepath.Join(t.TempDir(), "socket")
	l, err := net.Listen("unix", path)
	require.NoError(t, err)
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer c.Close()
				for lines := bufio.NewScanner(c); lines.Scan(); {
					if s := answer(lines.Text()); s == "end" {
						return
					} else if s != "" {
						fmt.Fprintln(c, s)
					}
				}
			}()
		}
	}()
	return &Target{To: throughPrefix + path, Baud: 115200, Reads: true}
}

// hello is an answer to it, of a board called shelf.
func hello(t *testing.T) string {
	b := make([]byte, 41)
	b[0] = link.Version
	copy(b[3:], "shelf")
	_, err := link.ParseIdentity(b)
	require.NoError(t, err)
	return fmt.Sprintf("answer 00%x", b)
}

// Questions go through a keeper, several at once, between what it says unasked.
func TestThroughAKeeper(t *testing.T) {
	said := hello(t)
	f := keeps(t, func(line string) string {
		switch {
		case strings.HasPrefix(line, "ask 01"):
			return "said 00ff\n" + said
		case strings.HasPrefix(line, "ask 15"):
			return "line back\nanswer 00" + line[6:]
		case line == "ask 0b":
			return "granted ring\nanswer 04"
		}
		return "no: " + line
	})
	w, err := f.Connect(t.Context(), link.Options{})
	require.NoError(t, err)
	defer w.Close()
	require.Equal(t, "shelf", BoardName(w.Is))
	var asked []*link.Question
	for i := range 20 {
		q, err := w.Start(link.Read, []byte{0, byte(i), 0, 0, 0, 7})
		require.NoError(t, err)
		asked = append(asked, q)
	}
	for i, q := range asked {
		got, err := w.Finish(t.Context(), q)
		require.NoError(t, err)
		require.Equal(t, []byte{0, byte(i), 0, 0, 0, 7}, got)
	}
	_, err = w.Ask(t.Context(), link.Counters, nil)
	require.True(t, link.IsStatus(err, link.Busy), err)
	_, err = w.Ask(t.Context(), link.State, []byte{1})
	require.ErrorContains(t, err, "the keeper of the line says ask 0201")
}

// What is no keeper, or has no line, says so in one sentence.
func TestThroughNobody(t *testing.T) {
	for says, answer := range map[string]string{
		"the keeper of the line says the line is down: pulled": "no: the line is down: pulled",
		"has ended the connection":                             "end",
		`"answer 0x", which is no answer`:                      "answer 0x",
		"is this the socket of a stream that runs":             "",
	} {
		t.Run(says, func(t *testing.T) {
			t.Parallel()
			f := keeps(t, func(string) string { return answer })
			_, err := f.Connect(t.Context(), link.Options{})
			require.ErrorContains(t, err, says)
			require.ErrorContains(t, err, f.To, "where")
			require.NotContains(t, err.Error(), "link:")
		})
	}
	_, err := (&Target{To: "keeper:/nowhere/socket", Reads: true}).Connect(t.Context(), link.Options{})
	require.ErrorContains(t, err, "no keeper serves /nowhere/socket: start stream with --socket /nowhere/socket")
	for _, f := range []*Target{{To: "keeper:", Reads: true}, {To: "keeper:/run/socket"}} {
		_, err = f.Connect(t.Context(), link.Options{})
		require.ErrorIs(t, err, ErrUsage)
	}
	require.ErrorContains(t, err, "this wants the line for itself: stop the stream")
}
