package model

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"time"

	"paneglow/anim/finding"
	"paneglow/anim/script"
	"paneglow/anim/show"
	"paneglow/anim/unit"
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

// prove asks for a proof of what stands in the window.
func (m *Model) prove() {
	if m.board.doc != nil {
		m.parseBoard()
	}
	if m.busy {
		m.again = true
		return
	}
	m.busy, m.again, m.since = true, false, m.o.Now()
	src := Sources{Show: m.o.Show, Machine: m.o.Machine, Instead: map[string][]byte{m.o.Show: m.doc.now}}
	if m.board.doc != nil {
		src.Instead[m.board.doc.path] = m.board.doc.now
	}
	before := m.stage
	go func() { m.proofs <- m.prover.Prove(src, before) }()
}

// take looks for a finished proof.
func (m *Model) take() {
	select {
	case s := <-m.proofs:
		m.busy = false
		m.took = m.o.Now().Sub(m.since).Seconds()
		if s.Whole() {
			m.told = nil
			m.arrive(s)
		} else {
			m.told = s.Found // the last whole stage goes on
		}
		if m.again {
			m.prove()
		}
	default:
	}
}

// arrive shows a new stage, as far as possible where the old one was.
func (m *Model) arrive(s *Stage) {
	state, frame := 0, 0
	if m.stage != nil && m.run.table != nil {
		name := m.run.table.States[m.run.last.State].Name
		for i := range s.Table.States {
			if s.Table.States[i].Name == name {
				state = i
			}
		}
		frame = m.scrubbed
	}
	value, level, loads := m.run.value, m.run.level, m.run.loads
	same := m.stage != nil && sameLoads(m.stage, s)
	m.stage = s
	m.images = nil
	m.run.start(s.Table, state)
	if same {
		m.setLevel(level)
		m.setValue(value)
		m.run.loads = loads
		m.run.tell(loadsEvent(loads))
	}
	lap := m.lap()
	if lap != nil {
		m.scrubbed = min(frame, len(lap.Frames)-1)
	}
	m.zoomFrom, m.zoomTo = 0, 0
	m.entered = m.lastTime
	m.refuseFlashes()
}

func sameLoads(a, b *Stage) bool {
	if a.Table == nil || len(a.Table.Loads) != len(b.Table.Loads) {
		return false
	}
	for i := range a.Table.Loads {
		if a.Table.Loads[i].Name != b.Table.Loads[i].Name {
			return false
		}
	}
	return true
}

// refuseFlashes keeps a clip over the flash limits from playing by itself.
func (m *Model) refuseFlashes() {
	if m.flashing() {
		m.playing, m.scrubbed = false, 0
		m.notice = "this clip flashes more than 3 times a second, which can cause seizures: it stands still; press p to play it all the same"
	}
}

// flashing tells that the clip on show is over the limit and not released.
func (m *Model) flashing() bool {
	i := m.clipIndex()
	return m.stage != nil && i >= 0 && i < len(m.stage.Flashes) && m.stage.Flashes[i] > 3 && !m.released[m.stage.Table.Clips[i].Name]
}

// clipIndex is the clip of the state on show, or -1.
func (m *Model) clipIndex() int {
	if m.stage == nil || m.run.table == nil {
		return -1
	}
	return m.run.table.States[m.run.last.State].Clip
}

func (m *Model) lap() *Lap {
	if m.stage == nil || m.run.table == nil || m.run.last.State >= len(m.stage.Laps) {
		return nil
	}
	return m.stage.Laps[m.run.last.State]
}

// follows tells that the clip on show follows a value.
func (m *Model) follows() bool {
	i := m.clipIndex()
	return i >= 0 && m.run.table.Clips[i].Value
}

// frame is the frame on show in the timeline.
func (m *Model) frame() int {
	if m.still() {
		return m.scrubbed
	}
	if m.clipIndex() == m.run.last.Clip {
		return m.run.last.Frame
	}
	return 0
}

// codes is what the panel shows.
func (m *Model) codes() []uint8 {
	if lap := m.lap(); m.still() && lap != nil && m.scrubbed < len(lap.Frames) {
		return lap.Frames[m.scrubbed]
	}
	return m.run.codes
}

// current is what it draws, microamperes.
func (m *Model) current() int64 {
	if lap := m.lap(); m.still() && lap != nil && m.scrubbed < len(lap.Current) {
		return lap.Current[m.scrubbed]
	}
	return m.run.last.Current
}

func (m *Model) inState() float64 { return m.lastTime - m.entered }

func (m *Model) enter(state int) {
	m.run.enter(state)
	m.run.last.State = state
	m.entered, m.playing, m.scrubbed = m.lastTime, true, 0
	m.zoomFrom, m.zoomTo, m.loopFrom, m.loopTo, m.picking = 0, 0, 0, 0, ""
	m.notice = ""
	m.field.exposed = false // exposure is a clip's
	m.refuseFlashes()
}

func (m *Model) scrub(frame int) {
	m.playing, m.scrubbed = false, frame
	if m.follows() {
		m.setValue(frame)
	}
}

// mainStrip is the strip beside the panel: the chosen one, else the first that
// runs upright, else none.
func (m *Model) mainStrip() int {
	l := m.stage.On.Layout
	if i := l.Strip(m.main); i >= 0 {
		return i
	}
	for i := range l.Strips {
		if upright(l, i) {
			return i
		}
	}
	return -1
}

// setControl writes a control into the show and asks for a proof.
func (m *Model) setControl(l *Layer, c *script.Control, text string, dragging bool) {
	// Places are those of the text in the window now, not of the last proof.
	s, found := show.ParseShow(m.o.Show, m.doc.now)
	if found.Err() != nil || l.Clip >= len(s.Clips) || l.Layer >= len(s.Clips[l.Clip].Layers) {
		m.notice = "mend the file's error first: then controls can be changed"
		return
	}
	out, err := setControl(m.doc.now, &s.Clips[l.Clip].Layers[l.Layer], c, text)
	if err != nil {
		m.notice = err.Error()
		return
	}
	if dragging {
		m.doc.amend(out)
	} else {
		m.doc.change(out)
	}
	// What is drawn until the proof comes is what was asked for.
	layer := &m.stage.Show.Clips[l.Clip].Layers[l.Layer]
	if layer.With == nil {
		layer.With = map[string]show.Control{}
	}
	v := layer.With[c.Name]
	v.Text, v.Kind = text, kindOf(c, text)
	layer.With[c.Name] = v
	m.prove()
}

// save writes the show, and the machine where the layout changed it.
func (m *Model) save() {
	if m.board.doc != nil && m.board.doc.dirty() {
		if !m.saveBoard() || !m.doc.dirty() {
			return
		}
	}
	if !m.doc.dirty() {
		m.notice = "nothing to save"
		return
	}
	switch err := m.doc.save(); {
	case err == errOutside:
		m.outer = true
	case err != nil:
		m.notice = fmt.Sprintf("%s was not saved: %v", filepath.Base(m.o.Show), err)
	default:
		m.notice = "saved " + filepath.Base(m.o.Show)
	}
}

// FilesChanged looks at the files again: something in the show's folder was
// written.
func (m *Model) FilesChanged() {
	m.boardChanged()
	changed, outside, err := m.doc.reread()
	switch {
	case err != nil:
		m.notice = fmt.Sprintf("%s cannot be read: %v", filepath.Base(m.o.Show), err)
		return
	case outside:
		m.outer = true
		return
	case changed:
		m.notice = filepath.Base(m.o.Show) + " was changed outside and read again"
	}
	m.prove()
}

// roomLux is the light on the pane.
func (m *Model) roomLux() float64 {
	if m.room >= 0 {
		return m.room
	}
	if m.stage == nil {
		return 0
	}
	return float64(m.stage.Machine.Panel.Room.Night)
}

func (m *Model) panelDepth() float64 {
	if m.depth > 0 {
		return m.depth
	}
	return float64(m.stage.Machine.Panel.Depth)
}

func (m *Model) panelScatter() float64 {
	if m.scatter > 0 {
		return m.scatter
	}
	return float64(m.stage.Machine.Panel.Glass.Scatter)
}

// dragGlass rebuilds the glass for other settings than the machine's.
func (m *Model) dragGlass() {
	if m.live == nil {
		return
	}
	other := *m.stage.Machine
	other.Panel.Depth = unit.Length(m.panelDepth())
	other.Panel.Glass.Scatter = unit.Angle(m.panelScatter())
	if err := m.live.Change(&other, m.stage.On.Layout); err != nil {
		m.notice = err.Error()
	}
	m.field.exposed = false
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

// looping tells that a loop range is played: frames of the lap, which is what the
// player would latch; the player itself cannot seek, and goes on beneath.
func (m *Model) looping() bool { return m.playing && m.loopFrom != m.loopTo && m.lap() != nil }

// loop finds the frame of a loop range that is due.
func (m *Model) loop() {
	if !m.looping() {
		return
	}
	last := len(m.lap().Frames) - 1
	lo, hi := min(m.loopFrom, m.loopTo, last), min(max(m.loopFrom, m.loopTo), last)
	m.scrubbed = lo + int(math.Mod(m.lastTime*float64(m.run.table.FPS), float64(hi-lo+1)))
}

// still tells that a frame of the lap shows, not what the player latches.
func (m *Model) still() bool { return !m.playing || m.looping() }

// Draw is the list of the last Update.
func (m *Model) Draw() *List {
	if m.ui.list == nil {
		return &List{}
	}
	return m.ui.list
}

// State is the name of the state on show.
func (m *Model) State() string {
	if m.run.table == nil {
		return ""
	}
	return m.run.table.States[m.run.last.State].Name
}

func (m *Model) clipName() string {
	if i := m.clipIndex(); i >= 0 {
		return m.run.table.Clips[i].Name
	}
	return ""
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return strings.TrimSpace(fmt.Sprintf("%d %ss", n, word))
}
