package model

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
)

// readResult is what reading a photo came to.
type readResult struct {
	name string
	shot *photo
	err  error
}

// layJob is what a photo has to be laid out for.
type layJob struct {
	shot *photo
	m    mapping
	box  Rect
	w, h int
}

type layResult struct {
	job  layJob
	laid *laid
}

// readBack reads the file beside the machine, and the photo it names.
func (m *Model) readBack() {
	b := &m.board
	back, err := readBackdrop(b.doc.path)
	if err != nil {
		b.trouble = err.Error()
		return
	}
	b.back, b.trouble = back, ""
	if back.Photo != "" {
		m.readPhoto(back.Photo)
	}
}

// writeBack writes the file beside the machine. The photo is not what is being
// made, so it is kept at once and has no undo.
func (m *Model) writeBack() {
	b := &m.board
	path := backdropPath(b.doc.path)
	if _, err := readBackdrop(b.doc.path); err != nil {
		m.notice = err.Error() // never write over what a person wrote and we could not read
		return
	}
	d := document{path: path, now: b.back.text()}
	if err := d.write(); err != nil {
		m.notice = fmt.Sprintf("%s was not written: %v", filepath.Base(path), err)
	}
}

// readPhoto begins to read a photo. Update goes on meanwhile.
func (m *Model) readPhoto(name string) {
	b := &m.board
	if b.reading != "" {
		m.notice = fmt.Sprintf("%s is still being read", b.reading)
		return
	}
	b.reading = name
	path := name
	if !filepath.IsAbs(path) {
		path = filepath.Join(filepath.Dir(b.doc.path), filepath.FromSlash(name))
	}
	read := b.read
	go func() {
		p, err := readPhoto(path)
		read <- readResult{name, p, err}
	}()
}

// choosePhoto takes another photo. Marks belong to a photo, so they go with the
// old one, but only when the new one could be read.
func (m *Model) choosePhoto(name string) {
	name = strings.TrimSpace(name)
	if name == "" {
		m.notice = "type the name of a PNG or JPEG file, or take the one that is offered"
		return
	}
	m.readPhoto(filepath.ToSlash(name))
}

// takePhotos looks for what the goroutines have done.
func (m *Model) takePhotos() {
	b := &m.board
	select {
	case r := <-b.read:
		b.reading = ""
		if r.err != nil {
			b.trouble = r.err.Error()
			break
		}
		b.trouble, b.shot, b.laid, b.wanted, b.marking = "", r.shot, nil, layJob{}, 0
		if b.back.Photo != r.name {
			b.back = backdrop{Photo: r.name}
			m.writeBack()
		}
	default:
	}
	select {
	case r := <-b.lays:
		b.laying = false
		if r.job.shot == b.shot {
			b.laid = r.laid
		}
	default:
	}
}

// photoChanged looks whether the photo was written again.
func (m *Model) photoChanged() {
	b := &m.board
	b.offers = photosIn(filepath.Dir(b.doc.path))
	if b.shot == nil || b.reading != "" {
		return
	}
	if st, err := os.Stat(b.shot.path); err == nil && !st.ModTime().Equal(b.shot.changed) {
		m.readPhoto(b.back.Photo)
	}
}

// mapping is where the photo lies, and whether it was marked.
func (b *board) mapping() (mapping, bool) {
	if len(b.back.Marks) == 2 {
		if m, err := mapBy(b.back.Marks[0], b.back.Marks[1]); err == nil {
			return m, true
		}
	}
	return mapWhole(b.shot.w, b.shot.h, float64(b.m.Panel.Size[0]), float64(b.m.Panel.Size[1])), false
}

// layPhoto asks for the photo as the canvas shows it, unless it is there or on
// its way. What is there stays until the new one comes, at its place.
func (m *Model) layPhoto(c Rect) {
	b := &m.board
	if b.shot == nil || b.laying || c.W < 1 || c.H < 1 {
		return
	}
	by, _ := b.mapping()
	// Twice the logical size, for screens of two pixels each, within what one
	// texture and a second's work allow.
	k := math.Min(2, 2000/math.Max(c.W, c.H))
	job := layJob{shot: b.shot, m: by, box: Rect{b.mmX(c.X), b.mmY(c.Y + c.H), c.W / b.scale(), c.H / b.scale()}, w: int(c.W * k), h: int(c.H * k)}
	if job == b.wanted {
		return
	}
	b.wanted, b.laying = job, true
	b.version++
	version, out := b.version, b.lays
	go func() { out <- layResult{job, job.shot.lay(job.m, job.box, job.w, job.h, version)} }()
}

// beginMarks starts to mark two points anew.
func (m *Model) beginMarks() {
	b := &m.board
	if b.shot == nil {
		m.notice = "there is no photo to mark yet"
		return
	}
	b.tool, b.marking = photoTool, 1
}

// cornerMarks is where the two marks are expected: the panel's lower corners.
func (b *board) cornerMarks() [2]Point {
	if len(b.back.Marks) == 2 {
		return [2]Point{b.back.Marks[0].At, b.back.Marks[1].At}
	}
	return [2]Point{{0, 0}, {float64(b.m.Panel.Size[0]), 0}}
}

// setMark takes a point of the photo as the mark that is awaited.
func (m *Model) setMark(px Point) {
	b := &m.board
	at := b.cornerMarks()
	if px.X < 0 || px.Y < 0 || px.X > float64(b.shot.w) || px.Y > float64(b.shot.h) {
		m.notice = "that is beside the photo: mark a point on it"
		return
	}
	if b.marking == 1 {
		b.first, b.marking = mark{px, at[0]}, 2
		return
	}
	second := mark{px, at[1]}
	if m.takeMarks(b.first, second) {
		b.marking, b.mark = 0, 0
	}
}

// takeMarks takes both marks, or tells why not.
func (m *Model) takeMarks(p, q mark) bool {
	b := &m.board
	by, err := mapBy(p, q)
	if err != nil {
		m.notice = err.Error()
		return false
	}
	b.back.Marks = []mark{p, q}
	m.writeBack()
	m.notice = fmt.Sprintf("one pixel of the photo is %.2f mm, and it is turned by %.1f deg", by.scale(), by.turn())
	return true
}

// moveMark shifts a mark on the photo.
func (m *Model) moveMark(i int, px Point) {
	b := &m.board
	if len(b.back.Marks) != 2 {
		return
	}
	marks := [2]mark{b.back.Marks[0], b.back.Marks[1]}
	marks[i].Pixel = Point{math.Min(math.Max(px.X, 0), float64(b.shot.w)), math.Min(math.Max(px.Y, 0), float64(b.shot.h))}
	m.takeMarks(marks[0], marks[1])
}

// typeMark takes the place of a mark on the panel as it was typed: "0, 0" or
// "560 mm, 0 mm".
func (m *Model) typeMark(i int, text string) {
	b := &m.board
	p, err := parsePlace(text)
	if err != nil {
		m.notice = err.Error()
		return
	}
	marks := [2]mark{b.back.Marks[0], b.back.Marks[1]}
	marks[i].At = p
	m.takeMarks(marks[0], marks[1])
}

// typeDistance keeps the first mark and the direction, and takes another distance.
func (m *Model) typeDistance(text string) {
	b := &m.board
	d, err := parseMM(text)
	if err == nil && d < 1 {
		err = errors.New("the marks are at least 1 mm apart")
	}
	if err != nil {
		m.notice = err.Error()
		return
	}
	p, q := b.back.Marks[0], b.back.Marks[1]
	l := math.Hypot(q.At.X-p.At.X, q.At.Y-p.At.Y)
	q.At = Point{p.At.X + (q.At.X-p.At.X)*d/l, p.At.Y + (q.At.Y-p.At.Y)*d/l}
	m.takeMarks(p, q)
}
