package model

import (
	"fmt"
	"strings"
	"time"

	"paneglow/anim/finding"
	"paneglow/render/panel"
	"paneglow/render/play"
)

// Options are what the window is opened with.
type Options struct {
	Show      string          // path of show.toml
	Machine   string          // path of another machine file, or ""
	StateFile string          // JSON for whoever watches the window, or ""
	Light     bool            // the light theme, whatever is remembered
	Memory    string          // file that the window's size and view are kept in, or ""; see MemoryFile
	Notice    string          // what the foot says first
	Sink      play.Sink       // takes all that the panel shows, or nil; Close closes it
	Changed   <-chan struct{} // something in the show's folder was written; nil: never
	Now       func() time.Time
}

// Model is the window: everything but the drawing.
type Model struct {
	ui
	o      Options
	prover Prover
	theme  *Theme

	doc    *document
	stage  *Stage       // last whole one
	told   finding.List // of the newest proof, when it was not whole
	proofs chan *Stage
	busy   bool
	again  bool
	since  time.Time // of the change that is being proved
	took   float64   // seconds from a change to its proof
	notice string    // one line at the foot
	outer  bool      // the file was changed outside while edited here
	board  board     // the layout, in place of the show while it is on

	run      run
	playing  bool
	scrubbed int // frame that shows while the machine stands still
	lastTime float64
	entered  float64 // when the state was entered, in the window's seconds

	view      View
	outlines  bool
	adapted   bool
	night     bool // room light: the night's, else the day's
	room      float64
	depth     float64 // mm, 0: the machine's
	scatter   float64 // degrees, 0: the machine's
	live      *panel.Live
	liveOf    *Stage
	field     lightField
	main      string // strip beside the panel
	axis      axis
	zoomFrom  float64
	zoomTo    float64
	loopFrom  int
	loopTo    int
	images    []lapImage
	picking   string
	hue       float64
	planeImg  *Image
	planeHue  float64
	planeEdge []Point // of what the LEDs can make, in shares of the plane
	planeOf   *Stage
	onePixel  *onePixel
	oneOf     *Stage
	help      bool
	quit      bool
	frames    int
	loadAt    int
	released  map[string]bool // clips over the flash limit that may play
	saver     saver
	memory    memory
	sink      *feed
}

// New opens a show. The first proof begins at once; the window shows what it
// has.
func New(o Options, p Prover) (*Model, error) {
	d, err := open(o.Show)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", o.Show, err)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	m := &Model{o: o, prover: p, theme: Dark, doc: d, proofs: make(chan *Stage, 1), playing: true, room: -1, released: map[string]bool{}}
	m.sink = newFeed(o.Sink)
	m.run.feed = m.sink
	m.notice = o.Notice
	m.recall()
	if o.Light {
		m.theme = LightTheme
	}
	m.prove()
	return m, nil
}

// Title is the window's.
func (m *Model) Title() string {
	title := "Paneglow"
	if m.stage != nil && m.stage.Show != nil && m.stage.Show.Title != "" {
		title = m.stage.Show.Title + " - Paneglow"
	}
	if m.unsaved() {
		title = "* " + title
	}
	if t, ok := m.o.Sink.(Teller); ok && m.sink != nil {
		title += " - " + t.Words()
	}
	return title
}

// Teller is a sink that has something to say of itself, in a few words.
type Teller interface{ Words() string }

// Update takes what happened and lets the machine go on. It is called 60 times a
// second.
func (m *Model) Update(in Input) (quit bool) {
	dt := in.Seconds - m.lastTime
	m.lastTime = in.Seconds
	m.take()
	m.takePhotos()
	select {
	case <-m.o.Changed:
		m.FilesChanged()
	default:
	}
	if m.playing {
		before := m.run.last.State
		m.run.pass(dt)
		if m.run.last.State != before {
			m.entered = m.lastTime // the player moved on by itself
			m.field.exposed = false
			m.refuseFlashes()
		}
		m.loop()
	} else {
		m.entered += dt // the machine's time stands still, too
	}
	m.feedSink()
	m.pictureArrived()
	m.ui.begin(in, m.theme)
	m.draw()
	m.keys()
	m.ui.end()
	m.remember()
	m.frames++
	if m.o.StateFile != "" && m.frames%6 == 0 {
		m.writeState()
	}
	if in.Close {
		m.leave()
	}
	return m.quit
}

// Draw is the list of the last Update.
func (m *Model) Draw() *List {
	if m.ui.list == nil {
		return &List{}
	}
	return m.ui.list
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return strings.TrimSpace(fmt.Sprintf("%d %ss", n, word))
}
