package main

import (
	"os"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// bar is a progress bar that appears only on a terminal, and only when the
// work takes longer than a second.
type bar struct {
	mu    sync.Mutex
	begun time.Time
	total int
	count int
	what  string
	shown *progressbar.ProgressBar
	app   *app
	on    bool
}

func (a *app) progress(what string, total int) *bar {
	b := &bar{begun: time.Now(), total: total, what: what, app: a}
	if f, ok := a.err.(*os.File); ok {
		b.on = term.IsTerminal(int(f.Fd()))
	}
	return b
}

func (b *bar) add(n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.count += n
	if !b.on || time.Since(b.begun) < time.Second {
		return
	}
	if b.shown == nil {
		b.shown = progressbar.NewOptions(b.total, progressbar.OptionSetWriter(b.app.err), progressbar.OptionSetDescription(b.what), progressbar.OptionClearOnFinish())
	}
	_ = b.shown.Set(b.count) // a bar that cannot be drawn stops no work
}

// say changes the words before the bar.
func (b *bar) say(what string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.what = what
	if b.shown != nil {
		b.shown.Describe(what)
	}
}

func (b *bar) done() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.shown != nil {
		_ = b.shown.Finish()
	}
}
