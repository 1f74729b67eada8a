// Package finding is how Paneglow tells a person that something is wrong or
// worth knowing: where, what, the limit, and the fix.
//
// Every stage of the pipeline returns findings of this one type, the command
// line prints them on stderr and `check --json` lists them. A finding of
// severity Error stops an export; a Warning stops it only with --strict.
package finding

import (
	"fmt"
	"sort"
	"strings"
)

// Severity orders findings by what they stop.
type Severity uint8

const (
	// Note is worth knowing and stops nothing.
	Note Severity = iota
	// Warning should be looked at; --strict counts it as an error.
	Warning
	// Error stops an export.
	Error
)

// String gives the word used on screens and in JSON.
func (s Severity) String() string {
	switch s {
	case Note:
		return "note"
	case Warning:
		return "warning"
	default:
		return "error"
	}
}

// MarshalText makes the word the JSON form.
func (s Severity) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// Pos is a place in a text file. Line and Col count from 1 (Col in bytes);
// Start and End are the byte range of the offending text, End exclusive.
// The zero Pos means "no place in a file".
type Pos struct {
	File       string
	Line, Col  int
	Start, End int
}

// String prints file:line:col, the form editors jump to, or "" for no place.
func (p Pos) String() string {
	switch {
	case p.File == "" && p.Line == 0:
		return ""
	case p.Line == 0:
		return p.File
	default:
		return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Col)
	}
}

// Finding is one thing to tell.
type Finding struct {
	Code     string   `json:"code"` // words, such as "power.over_budget"
	Severity Severity `json:"severity"`
	Where    string   `json:"where"`         // file:line:col, or "clip rest, frame 12"
	Message  string   `json:"message"`       // what, and the limit it breaks; lower case, no full stop
	Fix      string   `json:"fix,omitempty"` // what to do about it
	Pos      Pos      `json:"-"`
}

// At makes a finding at a place in a file.
func At(p Pos, sev Severity, code, message, fix string) Finding {
	return Finding{Code: code, Severity: sev, Where: p.String(), Message: message, Fix: fix, Pos: p}
}

// Error makes a single finding usable as an error.
func (f Finding) Error() string {
	s := f.Message
	if f.Where != "" {
		s = f.Where + ": " + s
	}
	if f.Fix != "" {
		s += "\n  fix: " + f.Fix
	}
	return s
}

// List is several findings; it is an error when one of them is.
type List []Finding

// Err returns the list as an error when it holds a finding of severity Error,
// else nil.
func (l List) Err() error {
	if l.Count(Error) > 0 {
		return l
	}
	return nil
}

// Count is the number of findings of exactly this severity.
func (l List) Count(s Severity) int {
	n := 0
	for _, f := range l {
		if f.Severity == s {
			n++
		}
	}
	return n
}

// Error prints every finding, one below the other.
func (l List) Error() string {
	var b strings.Builder
	for i, f := range l {
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(f.Error())
	}
	return b.String()
}

// Unwrap keeps every cause reachable for errors.As.
func (l List) Unwrap() []error {
	errs := make([]error, len(l))
	for i, f := range l {
		errs[i] = f
	}
	return errs
}

// Sort orders findings by file and place, errors first where neither has one.
func (l List) Sort() {
	sort.SliceStable(l, func(i, j int) bool {
		a, b := l[i], l[j]
		if (a.Pos.Line == 0) != (b.Pos.Line == 0) {
			return a.Pos.Line != 0
		}
		if a.Pos.Line == 0 {
			return a.Severity > b.Severity
		}
		if a.Pos.File != b.Pos.File {
			return a.Pos.File < b.Pos.File
		}
		return a.Pos.Start < b.Pos.Start
	})
}
