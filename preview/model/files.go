package model

import (
	"fmt"
	"path/filepath"
)

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
