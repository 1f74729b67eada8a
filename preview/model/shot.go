package model

import (
	"context"
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
