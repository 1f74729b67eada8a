package model

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"sync/atomic"

	"paneglow/render/picture"
)

// Film says how a whole clip is saved.
type Film int

// The kinds of moving pictures.
const (
	AnimatedPNG Film = iota
	AnimatedGIF
)

var filmNames = [...]string{"APNG", "GIF"}

// ending is that of a file's name.
func (f Film) ending() string {
	if f == AnimatedGIF {
		return ".gif"
	}
	return ".apng"
}

// picturesIn is the folder in the show's folder that saved pictures go to: beside
// the show's files they would be taken for changes of the show.
const picturesIn = "pictures"

// Heights in pixels and lengths of what is saved.
const (
	stillHeight = 900
	filmHeight  = 480
	mostFrames  = 1200
	smoothFPS   = 20 // more is not seen, and doubles the file
)

// saver makes pictures in the background, one at a time.
type saver struct {
	film Film
	open bool // the sheet is shown
	job  *saving
}

// saving is a picture in the making.
type saving struct {
	what   string
	of     int // frames to draw
	drawn  atomic.Int64
	cancel context.CancelFunc
	ended  chan saved // one value
}

type saved struct {
	file string
	err  error
}

// savePicture saves what the panel shows; saveClip the whole lap of the state.
func (m *Model) savePicture() { m.photograph(false) }
func (m *Model) saveClip()    { m.photograph(true) }

func (m *Model) photograph(moving bool) {
	switch {
	case m.saver.job != nil:
		m.notice = "a picture is being saved already: escape stops it"
		return
	case m.stage == nil || m.codes() == nil:
		m.notice = "there is nothing to save yet: the show cannot be played"
		return
	case moving && (m.lap() == nil || len(m.lap().Frames) == 0):
		m.notice = fmt.Sprintf("state %s never comes to show its clip, so there is no clip to save", m.State())
		return
	}
	s := m.shoot(moving)
	ctx, cancel := context.WithCancel(context.Background())
	job := &saving{what: "the picture", of: len(s.frames), cancel: cancel, ended: make(chan saved, 1)}
	if moving {
		job.what = "the clip"
		if s.film == AnimatedGIF {
			job.of += picture.Samples(len(s.frames))
		}
	}
	m.saver.job, m.saver.open = job, false
	go func() {
		file, err := s.save(ctx, &job.drawn)
		job.ended <- saved{file, err}
	}()
}

// pictureArrived looks for a picture that was finished.
func (m *Model) pictureArrived() {
	if m.saver.job == nil {
		return
	}
	select {
	case s := <-m.saver.job.ended:
		m.saver.job.cancel()
		m.saver.job = nil
		switch {
		case errors.Is(s.err, context.Canceled):
			m.notice = "stopped: no picture was saved"
		case s.err != nil:
			m.notice = fmt.Sprintf("the picture was not saved: %v", s.err)
		default:
			m.notice = fmt.Sprintf("saved %s/%s", picturesIn, filepath.Base(s.file))
		}
	default:
	}
}

// stopPicture ends the picture that is being saved, and tells whether there was
// one.
func (m *Model) stopPicture() bool {
	if m.saver.job == nil {
		return false
	}
	m.saver.job.cancel()
	return true
}
