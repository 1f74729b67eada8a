package model

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"paneglow/anim/script"
	"paneglow/anim/show"
)

// document is one file as it is being edited: what stood on disk when it was read
// last, what stands in the window, and what can be taken back.
type document struct {
	path string
	disk []byte
	now  []byte
	past [][]byte // newest last
	next [][]byte
}

// mostPast bounds what can be taken back.
const mostPast = 200

func open(path string) (*document, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return &document{path: path, disk: b, now: b}, nil
}

func (d *document) dirty() bool { return !bytes.Equal(d.disk, d.now) }

// change takes a new text; the old one can be had back.
func (d *document) change(text []byte) {
	if bytes.Equal(text, d.now) {
		return
	}
	d.past = append(d.past, d.now)
	if len(d.past) > mostPast {
		d.past = d.past[1:]
	}
	d.next, d.now = nil, text
}

// amend is change without a step of its own: a slider being dragged.
func (d *document) amend(text []byte) { d.now = text }

func (d *document) undo() bool {
	if len(d.past) == 0 {
		return false
	}
	d.next = append(d.next, d.now)
	d.now, d.past = d.past[len(d.past)-1], d.past[:len(d.past)-1]
	return true
}

func (d *document) redo() bool {
	if len(d.next) == 0 {
		return false
	}
	d.past = append(d.past, d.now)
	d.now, d.next = d.next[len(d.next)-1], d.next[:len(d.next)-1]
	return true
}

// errOutside says that somebody else wrote the file meanwhile.
var errOutside = errors.New("the file was changed outside")

// save writes the file beside and renames it. If the file on disk is not what was
// read, nothing is written and errOutside comes back.
func (d *document) save() error {
	disk, err := os.ReadFile(d.path)
	if err != nil {
		return err
	}
	if !bytes.Equal(disk, d.disk) {
		return errOutside
	}
	return d.write()
}

func (d *document) write() error {
	mode := os.FileMode(0o644)
	if st, err := os.Stat(d.path); err == nil {
		mode = st.Mode().Perm()
	}
	f, err := os.CreateTemp(filepath.Dir(d.path), "."+filepath.Base(d.path)+"-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(d.now)
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Chmod(f.Name(), mode)
	}
	if err == nil {
		err = os.Rename(f.Name(), d.path)
	}
	if err != nil {
		return err
	}
	d.disk = d.now
	return nil
}

// reread takes what stands on disk. If nothing was edited here, it is the new
// text; else outside is true and the edits stay until the person decides.
func (d *document) reread() (changed, outside bool, err error) {
	b, err := os.ReadFile(d.path)
	if err != nil {
		return false, false, err
	}
	switch {
	case bytes.Equal(b, d.disk):
		return false, false, nil
	case bytes.Equal(b, d.now):
		d.disk = b
		return false, false, nil
	case d.dirty():
		return false, true, nil
	}
	d.disk, d.now, d.past, d.next = b, b, nil, nil
	return true, false, nil
}

// theirs drops what was edited here for what stands on disk. It can be undone.
func (d *document) theirs() error {
	b, err := os.ReadFile(d.path)
	if err != nil {
		return err
	}
	d.change(b)
	d.disk = b
	return nil
}

// mine keeps what was edited here, knowing what stands on disk.
func (d *document) mine() error {
	b, err := os.ReadFile(d.path)
	if err != nil {
		return err
	}
	d.disk = b
	return nil
}

// setControl writes a control of a layer into a show's text: in place where the
// show sets it already, else added to its table `with`.
func setControl(src []byte, l *show.Layer, c *script.Control, text string) ([]byte, error) {
	v := show.Control{Text: text, Kind: kindOf(c, text)}
	if old, ok := l.With[c.Name]; ok {
		return show.Replace(src, old.Pos, v.Literal())
	}
	if at, ok := l.Keys["with"]; ok && at.End > at.Start {
		inner := bytes.TrimSpace(src[at.Start+1 : at.End-1])
		more := fmt.Sprintf("%s = %s", c.Name, v.Literal())
		if len(inner) > 0 {
			more = string(inner) + ", " + more
		}
		return show.Replace(src, at, "{ "+more+" }")
	}
	at, ok := l.Keys["pattern"]
	if !ok {
		return nil, fmt.Errorf("the layer names no pattern")
	}
	out := append([]byte(nil), src[:at.End]...)
	out = append(out, fmt.Sprintf("\nwith = { %s = %s }", c.Name, v.Literal())...)
	return append(out, src[at.End:]...), nil
}

func kindOf(c *script.Control, text string) byte {
	switch {
	case c.Kind == "toggle":
		return 'b'
	case c.Kind == "number" && c.Unit == "":
		return 'n'
	}
	return 's'
}

// valueOf is what a control is set to, as it would stand in a show.
func valueOf(l *show.Layer, c *script.Control) string {
	if v, ok := l.With[c.Name]; ok {
		return v.Text
	}
	return c.Default
}
