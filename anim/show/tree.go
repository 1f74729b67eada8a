package show

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"sort"

	"paneglow/anim/finding"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// kind is the type of a value in the file.
type kind uint8

const (
	kindText kind = iota
	kindInt
	kindFloat
	kindBool
	kindTime
	kindList
	kindTable
)

// String says it as in "pitch is a list, not a text".
func (k kind) String() string {
	return [...]string{"a text", "a whole number", "a number", "true or false", "a date or time", "a list", "a table"}[k]
}

// node is one value with its place.
type node struct {
	kind   kind
	pos    Pos
	text   string  // of a scalar: strings decoded, others as written
	items  []*node // of a list
	table  *table
	tables bool // a list made of [[headers]]
}

// table is a set of keys in file order.
type table struct {
	pos     Pos // its header, or its opening brace
	entries []*entry
	index   map[string]*entry
	named   bool // has had its own [header]
	inline  bool
	dotted  bool // made by a dotted key
	broken  bool // a syntax error swallowed some of its keys
}

type entry struct {
	key string
	pos Pos // of the key
	val *node
}

func (t *table) get(key string) *entry { return t.index[key] }

func (t *table) add(e *entry) {
	if t.index == nil {
		t.index = map[string]*entry{}
	}
	t.index[e.key] = e
	t.entries = append(t.entries, e)
}

// tree turns the bytes of one file into tables, collecting findings.
type tree struct {
	file  string
	src   []byte
	lines []int // offsets of line starts
	list  finding.List
	bad   bool // a syntax error: names that are not there may be a consequence
}

// pos is the place of a byte range.
func (tr *tree) pos(start, end int) Pos {
	line := sort.SearchInts(tr.lines, start+1)
	return Pos{File: tr.file, Line: line, Col: start - tr.lines[line-1] + 1, Start: start, End: end}
}

func (tr *tree) fail(p Pos, code, message, fix string) {
	tr.list = append(tr.list, finding.At(p, finding.Error, code, message, fix))
}

// header recognises a line that certainly begins a new table, where reading
// goes on after a syntax error.
var header = regexp.MustCompile(`(?m)^[ \t]*\[\[?[ \t]*[A-Za-z][A-Za-z_.]*[ \t]*\]\]?[ \t]*(#.*)?\r?$`)

var topHeader = regexp.MustCompile(`(?m)^[ \t]*\[\[?[ \t]*[A-Za-z][A-Za-z_]*[ \t]*\]\]?[ \t]*(#.*)?\r?$`)

// grow reads the whole file. After a syntax error it goes on with the next
// table header, so that one slip does not hide the rest.
func grow(file string, src []byte) (*table, *tree) {
	tr := &tree{file: file, src: src, lines: []int{0}}
	for i, c := range src {
		if c == '\n' {
			tr.lines = append(tr.lines, i+1)
		}
	}
	root := &table{pos: tr.pos(0, 0), named: true}
	current := root
	var p unstable.Parser
	for base := 0; base < len(src); {
		part := src[base:]
		p.Reset(part)
		for p.NextExpression() {
			current = tr.expression(&p, base, root, current)
		}
		err := p.Error()
		if err == nil {
			break
		}
		at, inHeader := tr.syntax(err, base, len(part), cap(part))
		resume := header
		if inHeader {
			// Whose tables the dotted headers below are is lost with it.
			resume = topHeader
		} else {
			current.broken = true
		}
		next := resume.FindIndex(src[at:])
		if next == nil {
			break
		}
		base = at + next[0]
	}
	if len(tr.list) == 0 {
		tr.arbiter()
	}
	return root, tr
}

// syntax files the parser's error. It returns the offset of the line below it,
// and whether the line itself was to be a header.
func (tr *tree) syntax(err error, base, length, room int) (below int, inHeader bool) {
	tr.bad = true
	start, end := base, base
	var pe *unstable.ParserError
	if errors.As(err, &pe) {
		if off := room - cap(pe.Highlight); off >= 0 && off+len(pe.Highlight) <= length {
			start, end = base+off, base+off+len(pe.Highlight)
		}
	}
	tr.fail(tr.pos(start, end), "show.syntax", "not TOML: "+err.Error(), syntaxFix(err.Error()))
	line := tr.src[tr.lines[sort.SearchInts(tr.lines, start+1)-1]:]
	inHeader = bytes.HasPrefix(bytes.TrimLeft(line, " \t"), []byte("["))
	// From the line below, or the same error would be found again for ever.
	if nl := bytes.IndexByte(tr.src[start:], '\n'); nl >= 0 {
		return start + nl + 1, inHeader
	}
	return len(tr.src), inHeader
}

func syntaxFix(message string) string {
	for _, c := range []struct{ part, fix string }{
		{"expected '=' after key", `write key = "value"`},
		{"must be quoted", `put texts in quotes, such as "48 mm"`},
		{"start of value", `put texts in quotes, such as "48 mm"`},
		{"expected newline", `write one key = value per line, texts in quotes`},
		{"basic string", `close the text with a quotation mark on the same line`},
		{"array is incomplete", `close the list with ]`},
		{"after array value", `separate the values of a list by commas and close it with ]`},
		{"inline table", `separate the keys of { } by commas and close it with }`},
		{"close table name", `write the header as [name]`},
		{"close array table", `write the header as [[name]]`},
	} {
		if bytes.Contains([]byte(message), []byte(c.part)) {
			return c.fix
		}
	}
	return "correct this line; the rest of its table was not read"
}

// arbiter asks the library's full decoder, which knows rules that the syntax
// tree does not: number forms, dates, UTF-8, what may be extended.
func (tr *tree) arbiter() {
	var v map[string]any
	err := toml.Unmarshal(tr.src, &v)
	if err == nil {
		return
	}
	p := tr.pos(0, 0)
	var de *toml.DecodeError
	if errors.As(err, &de) {
		row, col := de.Position()
		if row >= 1 && row <= len(tr.lines) {
			start := min(tr.lines[row-1]+max(col-1, 0), len(tr.src))
			p = tr.pos(start, start)
		}
	}
	tr.bad = true
	tr.fail(p, "show.syntax", "not TOML: "+err.Error(), syntaxFix(err.Error()))
}

// expression adds one header or key to the tree and returns the table that
// the following keys belong to.
func (tr *tree) expression(p *unstable.Parser, base int, root, current *table) *table {
	n := p.Expression()
	switch n.Kind {
	case unstable.KeyValue:
		tr.keyValue(n, base, current)
		return current
	case unstable.Table, unstable.ArrayTable:
		keys := tr.keys(n.Key(), base)
		last := keys[len(keys)-1]
		at := tr.pos(keys[0].pos.Start, last.pos.End)
		t := root
		for _, k := range keys[:len(keys)-1] {
			if t = tr.enter(t, k, false); t == nil {
				return &table{pos: at, named: true}
			}
		}
		if n.Kind == unstable.Table {
			return tr.openTable(t, last, at)
		}
		return tr.appendTable(t, last, at)
	}
	return current
}

type keyPart struct {
	key string
	pos Pos
}

func (tr *tree) keys(it unstable.Iterator, base int) []keyPart {
	var out []keyPart
	for it.Next() {
		n := it.Node()
		out = append(out, keyPart{string(n.Data), tr.pos(base+int(n.Raw.Offset), base+int(n.Raw.Offset+n.Raw.Length))})
	}
	return out
}

// enter goes down one key of a header or a dotted key, making the table where
// there is none. It returns nil, told, where a value stands in the way.
func (tr *tree) enter(t *table, k keyPart, dotted bool) *table {
	e := t.get(k.key)
	if e == nil {
		sub := &table{pos: k.pos, dotted: dotted}
		t.add(&entry{k.key, k.pos, &node{kind: kindTable, pos: k.pos, table: sub}})
		return sub
	}
	switch {
	case e.val.kind == kindTable && !e.val.table.inline && (!dotted || e.val.table.dotted):
		return e.val.table
	case e.val.tables && !dotted:
		return e.val.items[len(e.val.items)-1].table
	}
	tr.twice(k, e)
	return nil
}

func (tr *tree) twice(k keyPart, first *entry) {
	tr.fail(k.pos, "show.duplicate_key", fmt.Sprintf("%q is given twice, first in line %d", k.key, first.pos.Line), "keep one of them")
}

func (tr *tree) openTable(t *table, k keyPart, at Pos) *table {
	if e := t.get(k.key); e != nil {
		if e.val.kind == kindTable && !e.val.table.named && !e.val.table.inline && !e.val.table.dotted {
			e.val.table.named, e.val.table.pos = true, at
			return e.val.table
		}
		tr.twice(k, e)
		return &table{pos: at, named: true}
	}
	sub := &table{pos: at, named: true}
	t.add(&entry{k.key, k.pos, &node{kind: kindTable, pos: at, table: sub}})
	return sub
}

func (tr *tree) appendTable(t *table, k keyPart, at Pos) *table {
	sub := &table{pos: at, named: true}
	item := &node{kind: kindTable, pos: at, table: sub}
	e := t.get(k.key)
	switch {
	case e == nil:
		t.add(&entry{k.key, k.pos, &node{kind: kindList, pos: at, items: []*node{item}, tables: true}})
	case e.val.tables:
		e.val.items = append(e.val.items, item)
	default:
		tr.twice(k, e)
	}
	return sub
}
