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
	found finding.List // of that text alone

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

// setPixels gives a strip another number of pixels. What would then be behind its
// end comes along: feeds and joints to the last pixel, marks go; both are told.
func (m *Model) setPixels(n int) {
	b := &m.board
	s, _ := b.chosen()
	if s == nil {
		return
	}
	file := b.doc.path
	text, err := show.SetPixels(file, b.doc.now, s.Name, n)
	told := ""
	in := func(p show.Place) show.Place {
		if p.Strip == s.Name && p.Pixel >= n {
			told = fmt.Sprintf("; what was soldered behind pixel %d is on it now", n-1)
			p.Pixel = n - 1
		}
		return p
	}
	for i := range b.m.Feeds {
		if err == nil {
			text, err = show.SetFeed(file, text, i, in(show.Place{Strip: b.m.Feeds[i].Strip, Pixel: b.m.Feeds[i].Pixel}))
		}
	}
	for i := range b.m.Joints {
		if err == nil {
			text, err = show.SetJoint(file, text, i, in(b.m.Joints[i].From), in(b.m.Joints[i].To))
		}
	}
	for _, list := range marksOf(s) {
		keep := slices.DeleteFunc(slices.Clone(list.pixels), func(k int) bool { return k >= n })
		if err == nil && len(keep) < len(list.pixels) {
			told += fmt.Sprintf("; %s pixels behind it are no longer listed", list.key)
			text, err = show.SetMarks(file, text, s.Name, list.key, keep)
		}
	}
	if m.rewrite(text, err, false) {
		m.notice = fmt.Sprintf("strip %s has %s%s", s.Name, plural(n, "pixel"), told)
	}
}

// turnRound lets the data run the other way: the order of the points. What is
// marked or soldered stays where it is on the panel, so it is counted anew.
func (m *Model) turnRound() {
	b := &m.board
	s, _ := b.chosen()
	if s == nil || len(s.Path) == 0 {
		return
	}
	file, n := b.doc.path, s.Pixels
	o := outlineOf(s)
	slices.Reverse(o)
	text, err := show.SetPath(file, b.doc.now, s.Name, o.path(s.Path))
	other := func(p show.Place) show.Place {
		if p.Strip == s.Name && p.Pixel < n {
			p.Pixel = n - 1 - p.Pixel
		}
		return p
	}
	for i := range b.m.Feeds {
		if err == nil {
			text, err = show.SetFeed(file, text, i, other(show.Place{Strip: b.m.Feeds[i].Strip, Pixel: b.m.Feeds[i].Pixel}))
		}
	}
	for i := range b.m.Joints {
		if err == nil {
			text, err = show.SetJoint(file, text, i, other(b.m.Joints[i].From), other(b.m.Joints[i].To))
		}
	}
	for _, list := range marksOf(s) {
		if err != nil || len(list.pixels) == 0 {
			continue
		}
		var out []int
		for _, k := range list.pixels {
			out = append(out, n-1-k)
		}
		text, err = show.SetMarks(file, text, s.Name, list.key, out)
	}
	told := fmt.Sprintf("the data of strip %s runs the other way; marks, feeds and joints stay where they are on the panel", s.Name)
	if len(s.Stretches) > 0 {
		told += "; its stretches still count from the old end: correct them in the file"
	}
	if m.rewrite(text, err, false) {
		b.point = max(len(s.Path)-1-b.point, 0)
		m.notice = told
	}
}

// marked is one of a strip's two lists, by its key.
type marked struct {
	key    string
	pixels []int
}

func marksOf(s *show.Strip) [2]marked { return [2]marked{{"hidden", s.Hidden}, {"missing", s.Missing}} }

// toggleMark makes a pixel of a strip hidden or missing, or neither again. A
// pixel is one of them, never both.
func (m *Model) toggleMark(strip string, pixel int, key string) {
	b := &m.board
	s := b.m.Strip(strip)
	if s == nil {
		return
	}
	text, err := b.doc.now, error(nil)
	for _, list := range marksOf(s) {
		marks, had := slices.Clone(list.pixels), slices.Contains(list.pixels, pixel)
		switch {
		case had:
			marks = slices.DeleteFunc(marks, func(k int) bool { return k == pixel })
		case list.key == key:
			marks = append(marks, pixel)
		default:
			continue
		}
		if err == nil {
			text, err = show.SetMarks(b.doc.path, text, strip, list.key, marks)
		}
	}
	if m.rewrite(text, err, false) {
		b.strip, b.pixel = strip, pixel
		s = b.m.Strip(strip)
		word := "is lit again"
		switch {
		case slices.Contains(s.Hidden, pixel):
			word = "is hidden: it takes no length on the path"
		case slices.Contains(s.Missing, pixel):
			word = "is missing: it keeps its place and has no address"
		}
		m.notice = fmt.Sprintf("pixel %d of strip %s %s", pixel, strip, word)
	}
}

// placeFeed solders a feed to a pixel that has none.
func (m *Model) placeFeed(strip string, pixel int) {
	b := &m.board
	for i := range b.m.Feeds {
		if b.m.Feeds[i].Strip == strip && b.m.Feeds[i].Pixel == pixel {
			b.feed = i
			return
		}
	}
	like := max(min(b.feed, len(b.m.Feeds)-1), 0)
	text, err := show.AddFeed(b.doc.path, b.doc.now, like, show.Place{Strip: strip, Pixel: pixel})
	if m.rewrite(text, err, false) {
		old := &b.m.Feeds[like]
		b.feed = len(b.m.Feeds) - 1
		b.strip, b.pixel = strip, pixel
		m.notice = fmt.Sprintf("a feed at pixel %d of %s, with the wire, length and fuse of the one at %s %d: correct them in the file", pixel, strip, old.Strip, old.Pixel)
	}
}

// removeFeed takes the chosen feed off.
func (m *Model) removeFeed() {
	b := &m.board
	if b.feed >= len(b.m.Feeds) {
		m.notice = "there is no feed to take off"
		return
	}
	f := b.m.Feeds[b.feed]
	text, err := show.RemoveFeed(b.doc.path, b.doc.now, b.feed)
	if m.rewrite(text, err, false) {
		m.notice = fmt.Sprintf("the feed at pixel %d of %s is gone; undo brings it back", f.Pixel, f.Strip)
	}
}

// finishDraft writes the strip that was drawn.
func (m *Model) finishDraft() {
	b := &m.board
	part := b.m.Part(b.part)
	switch {
	case len(b.draft) < 2:
		m.notice = "press two places at least: where the data enters and the last LED"
		return
	case part == nil || part.Pitch <= 0 || part.LEDsPerPixel < 1:
		m.notice = "choose the strip's part first"
		return
	}
	n := min(pixelsIn(b.draft.length(), part), show.MaxPixels)
	s := show.Strip{Name: b.name, Part: b.part, Pixels: n, Path: b.draft.path(nil)}
	// Its end moves by less than half a pixel, to where the last LED then is.
	want := float64(n*part.LEDsPerPixel-1) * float64(part.Pitch.Step())
	if o, ok := b.draft.stretched(want); ok {
		if p := o[len(o)-1]; p == b.onPanel(p) {
			s.Path = o.path(nil)
		}
	}
	text, err := show.AddStrip(b.doc.path, b.doc.now, b.line, s)
	if m.rewrite(text, err, false) {
		b.strip, b.point, b.pixel, b.draft, b.tool = s.Name, 0, 0, nil, pointTool
		m.notice = fmt.Sprintf("strip %s has %s, last on line %s; it needs a feed (tool feeds) or a joint", s.Name, plural(n, "pixel"), b.line)
	}
}

// removeStrip asks, and the second time does it.
func (m *Model) removeStrip() {
	b := &m.board
	s, _ := b.chosen()
	if s == nil {
		return
	}
	if b.sure != s.Name {
		b.sure = s.Name
		return
	}
	b.sure = ""
	name := s.Name
	text, err := show.RemoveStrip(b.doc.path, b.doc.now, name)
	if m.rewrite(text, err, false) {
		m.notice = fmt.Sprintf("strip %s is gone; undo brings it back", name)
		b.strip = ""
		if len(b.m.Strips) > 0 {
			b.strip = b.m.Strips[0].Name
		}
	}
}

// soldered counts what a strip would take with it.
func (b *board) soldered(strip string) (feeds, joints int) {
	for i := range b.m.Feeds {
		if b.m.Feeds[i].Strip == strip {
			feeds++
		}
	}
	for i := range b.m.Joints {
		if j := &b.m.Joints[i]; j.From.Strip == strip || j.To.Strip == strip {
			joints++
		}
	}
	return feeds, joints
}

// stretchEnd moves the last point so that the path is as long as its pixels.
func (m *Model) stretchEnd() {
	b := &m.board
	s, part := b.chosen()
	f := fitOf(s, part)
	if !f.known {
		return
	}
	o, ok := outlineOf(s).stretched(f.want)
	switch {
	case !ok:
		m.notice = fmt.Sprintf("the last leg is too short for %s: set the pixels from the length, or move a corner", plural(s.Pixels, "pixel"))
	case o[len(o)-1] != b.onPanel(o[len(o)-1]):
		m.notice = fmt.Sprintf("the end would be at %.1f, %.1f mm, outside the panel: set the pixels from the length", o[len(o)-1].X, o[len(o)-1].Y)
	default:
		m.setPath(o, false)
	}
}
