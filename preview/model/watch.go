package model

import (
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"github.com/fsnotify/fsnotify"
)

// quiet is how long a folder must be still before it is read: editors write a
// file in several steps.
const quiet = 50 * time.Millisecond

// Watch tells when something of a show is written: its files, scripts and
// pictures. It watches the folder, not the files: an editor that saves by
// renaming would take a watched file away.
func Watch(dir string) (<-chan struct{}, error) {
	w, err := fsnotify.NewWatcher()
	if err != nil {
		return nil, fmt.Errorf("cannot watch %s: %w", dir, err)
	}
	if err := w.Add(dir); err != nil {
		return nil, fmt.Errorf("cannot watch %s: %w", dir, err)
	}
	out := make(chan struct{}, 1)
	go func() {
		timer := time.NewTimer(time.Hour)
		timer.Stop()
		for {
			select {
			case e, ok := <-w.Events:
				if !ok {
					return
				}
				if e.Op&(fsnotify.Create|fsnotify.Write|fsnotify.Rename|fsnotify.Remove) != 0 && ours(e.Name) {
					timer.Reset(quiet)
				}
			case <-w.Errors:
				timer.Reset(quiet) // something was missed: look at everything
			case <-timer.C:
				select {
				case out <- struct{}{}:
				default:
				}
			}
		}
	}()
	return out, nil
}

// ours tells that a file can be part of a show.
func ours(name string) bool {
	name = filepath.Base(name)
	if strings.HasPrefix(name, ".") || strings.HasSuffix(name, "~") {
		return false
	}
	switch strings.ToLower(filepath.Ext(name)) {
	case ".toml", ".star", ".png", ".gif", ".jpg", ".jpeg":
		return true
	}
	return false
}
