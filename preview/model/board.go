package model

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"paneglow/anim/finding"
	"paneglow/anim/show"
)

// tool is what a press on the panel does in the layout.
type tool int

const (
	pointTool tool = iota
	drawTool
	hiddenTool
	missingTool
	feedTool
	photoTool
)

var toolNames = [...]string{"points", "new strip", "hidden", "missing", "feeds", "photo"}

var toolHelp = [...]string{
	"press a strip to choose it; drag its corners, or a + to add one. Corners catch their neighbours' lines; shift lets them go. Arrows: 1 mm, with shift 10.",
	"press where the data enters, each corner, and the last LED; then enter, or the button below.",
	"press pixels that have an address but no place in the picture; press again to bring them back.",
	"press pixels that are dead and bridged; press again when they were replaced.",
	"press a pixel to solder a feed to it; drag a feed along; delete takes it off.",
	"mark two points of the photo whose places on the panel you know; drag a mark to move it.",
}

// board is the layout: the machine's strips over a photo of the panel, written
// into the machine file in place.
type board struct {
	on    bool
	doc   *document
	outer bool // the file was changed outside while edited here

	seen  []byte // the text that was parsed last
	m     *show.Machine
	found finding.List     // of that text alone
	dots  map[string][]dot // its pixels, by strip

	tool  tool
	strip string
	point int
	pixel int
	feed  int
	hold  hold

	draft            outline // of a strip that is being drawn
	name, part, line string
	sure             string // the strip whose removal waits for the second press

	k      float64 // screen pixels a millimetre; 0: the whole panel
	cx, cy float64 // mm in the middle
	canvas Rect

	back    backdrop
	shot    *photo
	trouble string // with the photo or its file
	marking int    // 1, 2: the mark that the next press sets
	first   mark   // set while the second is awaited
	mark    int    // chosen
	reading string // photo that is being read
	read    chan readResult
	laid    *laid
	laying  bool
	lays    chan layResult
	wanted  layJob // what laid shows, or will
	version int
	offers  []string
}

// hold is what the pointer has taken.
type hold struct {
	what   string // "", "point", "feed", "mark", "pan"
	base   outline
	x, y   float64 // screen, where it was taken
	dx, dy float64 // mm from the pointer to what it took; for pan: the middle then
	moved  bool
	at     Point // of a mark, photo pixels
}

// machinePath is the machine file by the path the proof knows it by.
func (m *Model) machinePath() (string, error) {
	if m.o.Machine != "" {
		return m.o.Machine, nil
	}
	s, _ := show.ParseShow(m.o.Show, m.doc.now)
	if s.MachineFile == "" {
		return "", errors.New(`the show names no machine: write machine = "machine.toml" first`)
	}
	return filepath.Join(filepath.Dir(m.o.Show), filepath.FromSlash(s.MachineFile)), nil
}

// toLayout goes into the layout, or out of it.
func (m *Model) toLayout() {
	b := &m.board
	if b.on {
		m.leaveLayout()
		return
	}
	path, err := m.machinePath()
	if err != nil {
		m.notice = err.Error()
		return
	}
	if b.doc != nil && b.doc.path != path {
		if b.doc.dirty() {
			m.notice = fmt.Sprintf("%s has changes that were not saved: ctrl s saves them, then the other machine can be opened", filepath.Base(b.doc.path))
			return
		}
		*b = board{}
	}
	if b.doc == nil {
		d, err := open(path)
		if err != nil {
			m.notice = fmt.Sprintf("%s cannot be read: %v", filepath.Base(path), err)
			return
		}
		b.doc, b.read, b.lays = d, make(chan readResult, 1), make(chan layResult, 1)
		m.readBack()
	}
	b.on, m.help, m.picking, m.notice = true, false, "", ""
	b.offers = photosIn(filepath.Dir(path))
	m.parseBoard()
	if b.m.Strip(b.strip) == nil && len(b.m.Strips) > 0 {
		b.strip = b.m.Strips[0].Name
	}
}

func (m *Model) leaveLayout() {
	b := &m.board
	b.on, b.hold, b.draft, b.marking, b.sure, m.notice = false, hold{}, nil, 0, "", ""
	if b.doc.dirty() {
		m.notice = filepath.Base(b.doc.path) + " has changes that were not saved: ctrl s saves them"
	}
}

// parseBoard reads the text again where it is another.
func (m *Model) parseBoard() {
	b := &m.board
	if b.m != nil && bytes.Equal(b.seen, b.doc.now) {
		return
	}
	b.seen = b.doc.now
	b.m, b.found = show.ParseMachine(b.doc.path, b.doc.now)
	b.dots = map[string][]dot{}
	for i := range b.m.Strips {
		s := &b.m.Strips[i]
		b.dots[s.Name] = dotsOf(s, b.m.Part(s.Part))
	}
	s := b.m.Strip(b.strip)
	if s == nil {
		b.point, b.pixel = 0, 0
		return
	}
	b.point, b.pixel = min(b.point, max(len(s.Path)-1, 0)), min(b.pixel, max(s.Pixels-1, 0))
	b.feed = min(b.feed, max(len(b.m.Feeds)-1, 0))
}

// rewrite takes a new text of the machine file, or tells why there is none. A
// drag is one step back, however long, and is proved when it ends: every place it
// passes would be another machine to prove.
func (m *Model) rewrite(text []byte, err error, dragging bool) bool {
	b := &m.board
	if err != nil {
		m.notice = oneLine(err)
		return false
	}
	if bytes.Equal(text, b.doc.now) {
		return true
	}
	if dragging && b.hold.moved {
		b.doc.amend(text)
	} else {
		b.doc.change(text)
	}
	b.hold.moved = dragging
	m.parseBoard()
	if !dragging {
		m.prove()
	}
	return true
}

// oneLine is an error with its fix.
func oneLine(err error) string {
	var f finding.Finding
	if errors.As(err, &f) {
		return f.Message + ": " + f.Fix
	}
	return err.Error()
}

// chosen is the strip that is worked on, and its part; both may be nil.
func (b *board) chosen() (*show.Strip, *show.Part) {
	s := b.m.Strip(b.strip)
	if s == nil {
		return nil, nil
	}
	return s, b.m.Part(s.Part)
}

// setPath writes the chosen strip's path.
func (m *Model) setPath(o outline, dragging bool) bool {
	b := &m.board
	s, _ := b.chosen()
	if s == nil {
		return false
	}
	text, err := show.SetPath(b.doc.path, b.doc.now, s.Name, o.path(s.Path))
	return m.rewrite(text, err, dragging)
}

// addPoint puts one in the middle of the leg behind the chosen point.
func (m *Model) addPoint() {
	b := &m.board
	s, _ := b.chosen()
	if s == nil || len(s.Path) < 2 {
		m.notice = "choose a strip of two points or more first"
		return
	}
	i := min(b.point, len(s.Path)-2)
	o := outlineOf(s)
	mid := Point{math.Round((o[i].X + o[i+1].X) / 2), math.Round((o[i].Y + o[i+1].Y) / 2)}
	if m.setPath(slices.Insert(o, i+1, mid), false) {
		b.point = i + 1
	}
}

// deletePoint takes the chosen point away.
func (m *Model) deletePoint() {
	b := &m.board
	s, part := b.chosen()
	switch {
	case s == nil || b.point >= len(s.Path):
		m.notice = "choose a point first"
	case len(s.Path) == 1 || len(s.Path) == 2 && part != nil && s.VisibleLEDs(part) > 1:
		m.notice = fmt.Sprintf("strip %s needs its two ends: remove the strip instead", s.Name)
	default:
		at := b.point
		if m.setPath(slices.Delete(outlineOf(s), at, at+1), false) {
			b.point = max(at-1, 0)
		}
	}
}

// movePoint shifts the chosen point, held to the panel.
func (m *Model) movePoint(dx, dy float64) {
	b := &m.board
	s, _ := b.chosen()
	if s == nil || b.point >= len(s.Path) {
		return
	}
	o := outlineOf(s)
	o[b.point] = b.onPanel(Point{o[b.point].X + dx, o[b.point].Y + dy})
	m.setPath(o, false)
}

func (b *board) onPanel(p Point) Point {
	w, h := float64(b.m.Panel.Size[0]), float64(b.m.Panel.Size[1])
	return Point{math.Min(math.Max(p.X, 0), w), math.Min(math.Max(p.Y, 0), h)}
}
