package model

import (
	"fmt"
	"path/filepath"
)

// edited is the document that undo and redo are about: the one that is seen.
func (m *Model) edited() *document {
	if m.board.on {
		return m.board.doc
	}
	return m.doc
}

// unsaved tells that quitting would lose something.
func (m *Model) unsaved() bool {
	return m.doc.dirty() || m.board.doc != nil && m.board.doc.dirty()
}

// saveBoard writes the machine file, and tells whether it did.
func (m *Model) saveBoard() bool {
	b := &m.board
	name := filepath.Base(b.doc.path)
	switch err := b.doc.save(); {
	case err == errOutside:
		b.outer = true
		if !b.on {
			m.toLayout() // where it is asked
			b.outer = true
		}
	case err != nil:
		m.notice = fmt.Sprintf("%s was not saved: %v", name, err)
	default:
		m.notice = "saved " + name
		return true
	}
	return false
}

// boardChanged looks at the machine file and the photo again.
func (m *Model) boardChanged() {
	b := &m.board
	if b.doc == nil {
		return
	}
	m.photoChanged()
	changed, outside, err := b.doc.reread()
	name := filepath.Base(b.doc.path)
	switch {
	case err != nil:
		m.notice = fmt.Sprintf("%s cannot be read: %v", name, err)
	case outside:
		b.outer = true
		if !b.on {
			m.notice = name + " was changed outside and in the layout: y goes there and asks which one stays"
		}
	case changed:
		m.notice = name + " was changed outside and read again"
		m.parseBoard()
	}
}

// BoardReport is where the layout stands.
type BoardReport struct {
	Machine string   `json:"machine"`
	Tool    string   `json:"tool"`
	Strip   string   `json:"strip"`
	Point   int      `json:"point"`
	Pixel   int      `json:"pixel"`
	Photo   string   `json:"photo"`
	Marks   int      `json:"marks"`
	Marking int      `json:"marking"` // the mark that the next press sets; 0: none
	Trouble string   `json:"trouble"`
	Reading string   `json:"reading"`
	Scale   float64  `json:"screen_per_mm"`
	Fits    bool     `json:"fits"` // the chosen strip's length and its pixels
	Found   []string `json:"found"`
}

func (m *Model) boardReport() *BoardReport {
	b := &m.board
	if !b.on || b.m == nil {
		return nil
	}
	s, part := b.chosen()
	r := &BoardReport{
		Machine: b.doc.path, Tool: toolNames[b.tool], Strip: b.strip, Point: b.point, Pixel: b.pixel,
		Photo: b.back.Photo, Marks: len(b.back.Marks), Marking: b.marking, Trouble: b.trouble, Reading: b.reading, Scale: b.scale(),
		Fits: s != nil && fitOf(s, part).holds(),
	}
	for _, f := range b.found {
		r.Found = append(r.Found, f.Code)
	}
	return r
}
