package sim

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/controller/upload"
)

// spoilt is a line on which frames of blocks come to harm on their way to the controller, a
// bit, a byte or their end; and answers to blocks lose a byte.
type spoilt struct {
	io.ReadWriter
	r           *rand.Rand
	sent, heard int     // faults so far
	harmed      [2]bool // the last frame each way; none does twice on end, so that four tries are enough
	answer      []byte
}

func (l *spoilt) harm(way int, n *int) bool {
	l.harmed[way] = !l.harmed[way] && l.r.IntN(4) == 0
	if l.harmed[way] {
		*n++
	}
	return l.harmed[way]
}

func (l *spoilt) Write(p []byte) (int, error) {
	n := len(p)
	if n > 200 && l.harm(0, &l.sent) {
		p = bytes.Clone(p)
		at := l.r.IntN(n)
		switch l.r.IntN(3) {
		case 0:
			p[at] ^= 1 << l.r.IntN(8)
		case 1:
			p = slices.Delete(p, at, at+1)
		case 2:
			p = p[:at]
		}
	}
	_, err := l.ReadWriter.Write(p)
	return n, err
}

func (l *spoilt) Read(p []byte) (int, error) {
	n, err := l.ReadWriter.Read(p)
	kept := p[:0]
	for _, c := range p[:n] {
		l.answer = append(l.answer, c)
		if c == 0 {
			l.answer = l.answer[:0]
		}
		if len(l.answer) == 2 && link.Kind(c) == link.Block && l.harm(1, &l.heard) {
			continue
		}
		kept = append(kept, c)
	}
	return len(kept), err
}

// While a page is written the boot section takes blocks and answers them: a computer that
// answers at once loses nothing by it, and the memory is hardly ever idle.
func TestBlocksComeWhilePagesAreWritten(t *testing.T) {
	ready(t)
	t.Parallel()
	tab := noise(t, 20, 100, 5)
	k := keep(t, false, 500000, 4, &tab.Show)
	k.late = 100 * time.Microsecond
	var took time.Duration
	k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
		var last time.Time
		_, err := upload.Upload(ctx, c, tab, upload.Options{Progress: func(int, int) { last = time.Now() }})
		require.NoError(t, err)
		took = last.Sub(k.line.first)
	})
	require.Greater(t, k.shows(tab, 500*time.Millisecond), 5)
	// One page was not yet there when the first block came.
	pages := len(tab.Bytes()) / 256
	require.Greater(t, float64(pages)*(2*ownPage).Seconds(), 0.92*took.Seconds(), "%d pages in %v", pages, took)
}

// And nothing is lost when blocks and answers come to harm meanwhile, at every rate.
func TestBlocksAreSpoiltWhilePagesAreWritten(t *testing.T) {
	ready(t)
	for i, rate := range []int{115200, 250000, 500000} {
		t.Run(fmt.Sprint(rate), func(t *testing.T) {
			t.Parallel()
			tab := noise(t, 20, 70, uint64(5+i))
			k := keep(t, false, rate, 4, &tab.Show)
			line := &spoilt{r: rand.New(rand.NewPCG(uint64(i), 1))}
			k.between = func(l io.ReadWriter) io.ReadWriter {
				line.ReadWriter = l
				return line
			}
			k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
				_, err := upload.Upload(ctx, c, tab, upload.Options{})
				require.NoError(t, err)
			})
			require.Positive(t, line.sent)
			require.Positive(t, line.heard)
			require.Greater(t, k.shows(tab, 500*time.Millisecond), 5)
		})
	}
}
