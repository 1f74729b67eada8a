package model

import (
	"context"
	"errors"
	"fmt"
	"image"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"unicode"

	"paneglow/anim/show"
	"paneglow/anim/unit"
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

// shot is what is photographed: everything that it needs, taken when the key was
// struck. None of it changes afterwards.
type shot struct {
	machine  *show.Machine // with the depth and scatter of the sliders
	stage    *Stage
	view     View
	look     picture.View
	bright   []uint8
	frames   [][]uint8
	notes    []string
	fps      float64
	film     Film
	moving   bool
	dir, key string // the folder, and the name without a number and ending
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

// shoot takes down what stands in the window.
func (m *Model) shoot(moving bool) *shot {
	m.Light() // sets the exposure of the glass if it was not drawn yet
	other := *m.stage.Machine
	other.Panel.Depth = unit.Length(m.panelDepth())
	other.Panel.Glass.Scatter = unit.Angle(m.panelScatter())
	s := &shot{
		machine: &other, stage: m.stage, view: m.view, moving: moving, film: m.saver.film,
		dir: filepath.Join(filepath.Dir(m.o.Show), picturesIn),
		look: picture.View{
			Height: picture.Fit(m.stage.On.Layout, stillHeight), Room: unit.Illuminance(m.roomLux()), Adapted: m.adapted,
			Clip: "clip " + m.clipName(),
		},
	}
	if m.field.exposed {
		s.look.Exposure = m.field.exposure
	}
	fps := float64(m.stage.Show.FPS)
	at := func(frame int) string {
		if m.follows() {
			return fmt.Sprintf("value %d", frame)
		}
		return fmt.Sprintf("%.2f s", float64(frame)/fps)
	}
	name := m.State()
	if clip := m.clipName(); clip != name {
		name += "-" + clip
	}
	lap := m.lap()
	loads := m.runningWords()
	if !moving {
		budget := m.run.last.Budget
		if lap != nil && !m.playing {
			budget = lap.Budget
		}
		codes := append([]uint8(nil), m.codes()...)
		s.frames, s.bright = [][]uint8{codes}, codes
		s.notes = []string{fmt.Sprintf("state %s, %s, %s of %s%s", m.State(), at(m.frame()), amps(m.current()), amps(budget), loads)}
		s.key = clean(name + "-" + strings.ReplaceAll(at(m.frame()), " ", "-"))
	} else {
		step := max(1, (m.stage.Show.FPS+smoothFPS-1)/smoothFPS, (len(lap.Frames)+mostFrames-1)/mostFrames)
		most := int64(-1)
		for f := 0; f < len(lap.Frames); f += step {
			s.frames = append(s.frames, lap.Frames[f])
			s.notes = append(s.notes, fmt.Sprintf("state %s, %s, %s of %s", m.State(), at(f), amps(lap.Current[f]), amps(lap.Budget)))
		}
		for f, c := range lap.Current {
			if c > most {
				most, s.bright = c, lap.Frames[f]
			}
		}
		s.fps = fps / float64(step)
		s.look.Height = picture.Fit(m.stage.On.Layout, filmHeight)
		s.key = clean(name)
	}
	for _, n := range s.notes {
		if len(n) > len(s.look.Longest) {
			s.look.Longest = n
		}
	}
	return s
}

// runningWords names the loads that run.
func (m *Model) runningWords() string {
	var on []string
	for i := range m.run.table.Loads {
		if m.run.loads&(1<<i) != 0 {
			on = append(on, m.run.table.Loads[i].Name)
		}
	}
	if len(on) == 0 {
		return ""
	}
	return ", with " + strings.Join(on, " and ")
}

// clean is a text as a file's name on any system.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || r == '-' || r == '_' || r == '.' {
			return r
		}
		return '-'
	}, s)
}

// camera gives the function that draws frame i of a shot.
func (s *shot) camera() (picture.Frames, error) {
	l := s.stage.On.Layout
	if s.view == GlassView {
		c, err := picture.NewCamera(s.machine, l, s.look, s.bright)
		if err != nil {
			return nil, err
		}
		return func(i int) (*image.RGBA, error) { return c.Draw(s.frames[i], s.notes[i]) }, nil
	}
	words := "simulated: " + s.look.Clip + ", " + viewNames[s.view] + ", "
	if s.view == DriveView {
		return func(i int) (*image.RGBA, error) {
			return picture.Driven(l, s.frames[i], s.look.Height, words+s.notes[i], words+s.look.Longest)
		}, nil
	}
	paint, err := picture.NewPaint(s.machine, l)
	if err != nil {
		return nil, err
	}
	return func(i int) (*image.RGBA, error) {
		return picture.Bare(paint, s.frames[i], s.look.Height, words+s.notes[i], words+s.look.Longest)
	}, nil
}

// save draws a shot into a new file and returns its path. It ends between two
// frames, or two blocks of the file, when ctx does, and then leaves nothing.
func (s *shot) save(ctx context.Context, drawn *atomic.Int64) (string, error) {
	if err := os.MkdirAll(s.dir, 0o755); err != nil {
		return "", fmt.Errorf("there is no folder for pictures: %w", err)
	}
	draw, err := s.camera()
	if err != nil {
		return "", err
	}
	frame := func(i int) (*image.RGBA, error) {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		img, err := draw(i)
		drawn.Add(1)
		return img, err
	}
	ending := ".png"
	if s.moving {
		ending = s.film.ending()
	}
	return writeNew(s.dir, s.key, ending, func(w io.Writer) error {
		w = stoppable{ctx, w}
		switch {
		case !s.moving:
			img, err := frame(0)
			if err != nil {
				return err
			}
			return picture.PNG(w, img)
		case s.film == AnimatedGIF:
			return picture.GIFOf(w, len(s.frames), s.fps, frame)
		}
		return picture.APNGOf(w, len(s.frames), s.fps, frame)
	})
}

// stoppable refuses to write once its context has ended.
type stoppable struct {
	ctx context.Context
	w   io.Writer
}

func (s stoppable) Write(b []byte) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, err
	}
	return s.w.Write(b)
}

// writeNew writes a file under a name that nothing has yet: name, name-2, name-3.
// It is written beside and named when it is whole, and never takes the place of
// another file, even of one that appears meanwhile.
func writeNew(dir, name, ending string, write func(io.Writer) error) (path string, err error) {
	f, err := os.CreateTemp(dir, "."+name+"-*")
	if err != nil {
		return "", err
	}
	defer os.Remove(f.Name())
	err = write(f)
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Chmod(f.Name(), 0o644)
	}
	if err != nil {
		return "", err
	}
	for n := 1; n < 10000; n++ {
		path = filepath.Join(dir, name+ending)
		if n > 1 {
			path = filepath.Join(dir, fmt.Sprintf("%s-%d%s", name, n, ending))
		}
		switch err := nameNew(f.Name(), path); {
		case err == nil:
			return path, nil
		case !errors.Is(err, os.ErrExist):
			return "", err
		}
	}
	return "", fmt.Errorf("%s holds 10000 pictures named %s: move some away", dir, name)
}

// nameNew gives a file a name that must not exist.
func nameNew(from, to string) error {
	err := os.Link(from, to)
	if err == nil || errors.Is(err, os.ErrExist) {
		return err
	}
	// A file system without links, such as that of a memory stick: an empty file
	// keeps the name until the rename.
	f, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	f.Close()
	if err := os.Rename(from, to); err != nil {
		os.Remove(to)
		return err
	}
	return nil
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
