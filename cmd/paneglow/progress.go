package main

import (
	"io"
	"os"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// bar is a progress bar that appears only on a terminal, and only when the
// work takes longer than a second. It foretells no time that is left: what an upload
// finds done goes by at another rate than the rest.
type bar struct {
	mu    sync.Mutex
	begun time.Time
	count int
	what  string
	drawn *progressbar.ProgressBar // nil: not on a terminal
	shown bool
}

func (a *app) progress(what string, total int) *bar {
	if f, ok := a.err.(*os.File); !ok || !term.IsTerminal(int(f.Fd())) {
		return &bar{}
	}
	return newBar(a.err, what, total)
}

func newBar(w io.Writer, what string, total int) *bar {
	return &bar{begun: time.Now(), what: what, drawn: progressbar.NewOptions(total, progressbar.OptionSetWriter(w), progressbar.OptionSetDescription(what),
		progressbar.OptionSetPredictTime(false), progressbar.OptionClearOnFinish())}
}

func (b *bar) add(n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.count += n
	if b.drawn == nil || time.Since(b.begun) < time.Second {
		return
	}
	_ = b.drawn.Set(b.count) // a bar that cannot be drawn stops no work
	if !b.shown {
		b.shown = true
		b.drawn.Describe(b.what)
	}
}

// say changes the words before the bar.
func (b *bar) say(what string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.what = what
	if b.shown {
		b.drawn.Describe(what)
	}
}

func (b *bar) done() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.shown {
		_ = b.drawn.Finish()
	}
}
