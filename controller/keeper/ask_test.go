package keeper

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/attach"
	"paneglow/controller/blackbox"
	"paneglow/controller/link"
	"paneglow/controller/upload"
)

// While the keeper holds the line others read the board through it: who it is, what plays,
// its counters and its black box; nothing that is told waits for that, and what would
// change the board is refused.
func TestOthersReadThroughIt(t *testing.T) {
	b := start(t)
	b.connected()
	p := b.program()
	p.say("state turning")
	p.hears("ok")
	f := &attach.Target{To: "keeper:" + b.path, Baud: 115200, Reads: true}
	w, err := f.Connect(t.Context(), link.Options{})
	require.NoError(t, err)
	defer w.Close()
	done := make(chan struct{})
	go func() { // the machine goes on meanwhile
		defer close(done)
		for range 20 {
			p.say("value 3")
			p.hears("ok")
		}
	}()
	r, err := upload.Compare(t.Context(), w.Conn, shelf(t), nil)
	require.NoError(t, err)
	require.Equal(t, -1, r.Differs)
	require.Equal(t, r.All, r.Bytes)
	l, err := blackbox.Fetch(t.Context(), w.Conn, w.Is, time.Now)
	require.NoError(t, err)
	require.NotEmpty(t, l.Entries)
	<-done
	_, err = w.Ask(t.Context(), link.State, []byte{0})
	require.ErrorContains(t, err, "stop this keeper first")

	for _, c := range []struct{ line, says string }{
		{"ask", "no: ask wants a message's kind"},
		{"ask 0", "no: ask wants a message's kind"},
		{"ask 10000000", "no: message 16 is not passed on"},
		{"ask 13000000000000000000", "no: message 19 is not passed on"}, // a sum takes too long
		{"ask 1500", "answer 02"},
	} {
		p.say(c.line)
		require.Contains(t, p.hears(c.says[:6]), c.says)
	}
	b.pull(errors.New("the cable is out"))
	require.Eventually(t, func() bool {
		return b.Do(t.Context(), "ask 01") == "no: the line is down: the cable is out"
	}, 15*time.Second, 5*time.Millisecond)
}
