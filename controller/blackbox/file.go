package blackbox

import (
	"bufio"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// ErrFile is wrapped by errors about a file that is no log.
var ErrFile = errors.New("not a black box's log")

// Entry is a record's place in the store, whatever stands there.
type Entry struct {
	Number uint32
	Bytes  [Size]byte
}

// Blank tells whether nothing was ever written there.
func (e *Entry) Blank() bool {
	for _, b := range e.Bytes {
		if b != 0xff {
			return false
		}
	}
	return true
}

// Log is a controller's black box as it was read.
type Log struct {
	Board     string
	Firmware  uint16
	Panel     uint32    // fingerprint of the panel, table.Show.PanelSum
	Read      time.Time // by the computer's clock, whole seconds
	Refreshes uint32    // of the player when it was read
	Entries   []Entry   // in order; numbers may be missing
}

const (
	title       = "paneglow black box, version 1"
	mostEntries = 1 << 20 // a log of 16 MiB; no memory for it is that large
)

// Write writes the log's file: text, a head of five lines and one line for every
// record, its number and its bytes in hexadecimal.
func (l *Log) Write(w io.Writer) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "%s\nboard %q\nfirmware %d\npanel %08x\nread %s\nrefreshes %d\n", title, l.Board, l.Firmware, l.Panel, l.Read.UTC().Format(time.RFC3339), l.Refreshes)
	for i := range l.Entries {
		fmt.Fprintf(b, "%d %x\n", l.Entries[i].Number, l.Entries[i].Bytes)
	}
	return b.Flush()
}

// Read reads a log's file. An error names the line.
func Read(r io.Reader) (*Log, error) {
	in := bufio.NewScanner(r)
	in.Buffer(make([]byte, 0, 256), 256)
	l, line := &Log{}, 0
	fail := func(format string, args ...any) (*Log, error) {
		return nil, fmt.Errorf("line %d: %s: %w", max(line, 1), fmt.Sprintf(format, args...), ErrFile)
	}
	word := func(name string) (string, bool) {
		line++
		if !in.Scan() {
			return "", false
		}
		got, rest, ok := strings.Cut(in.Text(), " ")
		return rest, ok && got == name
	}
	if !in.Scan() || in.Text() != title {
		return fail("want %q", title)
	}
	line++
	var err error
	for _, head := range []struct {
		name string
		take func(string) error
	}{
		{"board", func(s string) error { l.Board, err = strconv.Unquote(s); return err }},
		{"firmware", func(s string) error {
			n, err := strconv.ParseUint(s, 10, 16)
			l.Firmware = uint16(n)
			return err
		}},
		{"panel", func(s string) error {
			n, err := strconv.ParseUint(s, 16, 32)
			l.Panel = uint32(n)
			return err
		}},
		{"read", func(s string) error { l.Read, err = time.Parse(time.RFC3339, s); return err }},
		{"refreshes", func(s string) error {
			n, err := strconv.ParseUint(s, 10, 32)
			l.Refreshes = uint32(n)
			return err
		}},
	} {
		s, ok := word(head.name)
		if !ok {
			return fail("want %q and its value", head.name)
		}
		if err := head.take(s); err != nil {
			return fail("%s %q: %v", head.name, s, err)
		}
	}
	for in.Scan() {
		line++
		number, digits, ok := strings.Cut(in.Text(), " ")
		n, err := strconv.ParseUint(number, 10, 32)
		if !ok || err != nil {
			return fail("want a record's number and its bytes, got %q", in.Text())
		}
		e := Entry{Number: uint32(n)}
		if len(digits) != 2*Size {
			return fail("%d digits of record %d, want %d", len(digits), n, 2*Size)
		}
		if _, err := hex.Decode(e.Bytes[:], []byte(digits)); err != nil {
			return fail("record %d: %v", n, err)
		}
		if k := len(l.Entries); k > 0 && l.Entries[k-1].Number >= e.Number {
			return fail("record %d after record %d", n, l.Entries[k-1].Number)
		}
		if len(l.Entries) == mostEntries {
			return fail("more than %d records", mostEntries)
		}
		l.Entries = append(l.Entries, e)
	}
	if err := in.Err(); err != nil {
		line++
		return fail("%v", err)
	}
	return l, nil
}
