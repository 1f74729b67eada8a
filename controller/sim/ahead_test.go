package sim

import (
	"context"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/controller/upload"
)

// loses takes a byte out of every few answers to blocks.
type loses struct {
	io.ReadWriter
	every, blocks, lost int
	frame               []byte
}

func (l *loses) Read(p []byte) (int, error) {
	n, err := l.ReadWriter.Read(p)
	kept := p[:0]
	for _, c := range p[:n] {
		l.frame = append(l.frame, c)
		if c == 0 {
			l.frame = l.frame[:0]
		}
		if len(l.frame) == 2 && link.Kind(c) == link.Block {
			if l.blocks++; l.blocks%l.every == 0 {
				l.lost++
				continue
			}
		}
		kept = append(kept, c)
	}
	return len(kept), err
}

// While a page is written the boot section takes blocks and answers them: a computer that
// answers at once loses nothing by it, whatever happens to the answers, and the
// memory is hardly ever idle.
func TestBlocksComeWhilePagesAreWritten(t *testing.T) {
	ready(t)
	for _, spoilt := range []bool{false, true} {
		t.Run(map[bool]string{false: "every answer comes", true: "answers are lost"}[spoilt], func(t *testing.T) {
			t.Parallel()
			tab := noise(t, 20, 100, 5)
			k := keep(t, false, 500000, 4, &tab.Show)
			spoils := &loses{every: 7}
			if !spoilt {
				k.late = 100 * time.Microsecond
			} else {
				k.between = func(l io.ReadWriter) io.ReadWriter {
					spoils.ReadWriter = l
					return spoils
				}
			}
			var took time.Duration
			k.on(func(t *testing.T, ctx context.Context, c *link.Conn, l *Live) {
				var last time.Time
				_, err := upload.Upload(ctx, c, tab, upload.Options{Progress: func(int, int) { last = time.Now() }})
				require.NoError(t, err)
				took = last.Sub(k.line.first)
			})
			require.Greater(t, k.shows(tab, 700*time.Millisecond), 5)
			if spoilt {
				require.Greater(t, spoils.lost, 2)
				return
			}
			// One page was not yet there when the first block came.
			pages := len(tab.Bytes()) / 256
			require.Greater(t, float64(pages)*(2*ownPage).Seconds(), 0.92*took.Seconds(), "%d pages in %v", pages, took)
		})
	}
}
