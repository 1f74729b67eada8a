package model

import (
	"fmt"
	"slices"

	"paneglow/anim/show"
)

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
