package show

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"paneglow/anim/finding"

	"github.com/agnivade/levenshtein"
)

// decoder turns tables into the types of this package, going on after every
// error.
type decoder struct{ list finding.List }

func (d *decoder) fail(p Pos, code, message, fix string) {
	d.list = append(d.list, finding.At(p, finding.Error, code, message, fix))
}

// scope is one table being read: it knows what has been asked for, so that it
// can tell what was not.
type scope struct {
	d     *decoder
	t     *table
	title string // as in a message: `part "bright12"`
	path  string // of a table within a struct: "glass."
	keys  Keys
	known []string
}

func (d *decoder) scope(t *table, title string) *scope {
	return &scope{d: d, t: t, title: title, keys: Keys{}}
}

// mistaken tells of the other kind of file, which has keys of its own and none of
// this one's: one finding, in place of one for each key.
func (d *decoder) mistaken(t *table, mine, theirs []string, message, fix string) bool {
	has := func(keys []string) bool {
		return slices.ContainsFunc(keys, func(key string) bool { return t.get(key) != nil })
	}
	if has(mine) || !has(theirs) {
		return false
	}
	d.fail(t.pos, "show.other_file", message, fix)
	return true
}

// Keys that only one of the two files has.
var (
	ofShow    = []string{"title", "machine", "fps", "clip", "state", "level", "host"}
	ofMachine = []string{"panel", "part", "line", "strip", "supply", "feed", "controller"}
)

// get finds a key. example is a whole line to copy; required keys that are
// missing are told with it.
func (s *scope) get(key, example string, required bool) *node {
	s.known = append(s.known, key)
	e := s.t.get(key)
	if e == nil {
		if required && !s.t.broken {
			s.d.fail(s.t.pos, "show.missing_key", fmt.Sprintf("%s has no %s", s.title, s.path+key), "add "+example)
		}
		return nil
	}
	s.keys[s.path+key] = e.val.pos
	return e.val
}

// want is get for one type of value.
func (s *scope) want(k kind, key, example string, required bool) *node {
	n := s.get(key, example, required)
	if n != nil && n.kind != k {
		s.mistyped(n, key, k, example)
		return nil
	}
	return n
}

func (s *scope) mistyped(n *node, key string, k kind, example string) {
	s.d.fail(n.pos, "show.wrong_type", fmt.Sprintf("%s is %s, not %s", s.path+key, n.kind, k), "write "+example)
}

// done tells every key that nobody asked for.
func (s *scope) done() {
	for _, e := range s.t.entries {
		if !slices.Contains(s.known, e.key) {
			fix := "remove it; known here: " + strings.Join(s.known, ", ")
			if near := nearest(e.key, s.known); near != "" {
				fix = fmt.Sprintf("write %s", near)
			}
			s.d.fail(e.pos, "show.unknown_key", fmt.Sprintf("unknown key %q in %s", e.key, s.title), fix)
		}
	}
}

// nearest is the candidate within about a third of the word's letters of it,
// or "".
func nearest(word string, among []string) string {
	best, least := "", max(2, len([]rune(word))/3)+1
	for _, c := range among {
		// Two edits turn every two-letter word into every other: not near.
		if n := levenshtein.ComputeDistance(word, c); n < least && n < len([]rune(c)) {
			best, least = c, n
		}
	}
	return best
}

// sub reads a table within the table; nil when there is none.
func (s *scope) sub(key, example string, required bool) *scope {
	n := s.want(kindTable, key, example, required)
	if n == nil {
		return nil
	}
	return &scope{d: s.d, t: n.table, title: s.path + key + " of " + s.title, path: s.path + key + ".", keys: s.keys}
}

// tables reads [[key]]s, or a list of inline tables.
func (s *scope) tables(key, example string, required bool) []*scope {
	n := s.want(kindList, key, example, required)
	if n == nil {
		return nil
	}
	var out []*scope
	for i, item := range n.items {
		s.keys[fmt.Sprintf("%s%s[%d]", s.path, key, i)] = item.pos
		if item.kind != kindTable {
			s.mistyped(item, fmt.Sprintf("%s[%d]", key, i), kindTable, example)
			continue
		}
		out = append(out, s.d.scope(item.table, fmt.Sprintf("%s %d", strings.TrimSuffix(key, "es"), i+1)))
	}
	return out
}

func (s *scope) text(key, example string, required bool) string {
	if n := s.want(kindText, key, example, required); n != nil {
		if n.text == "" {
			s.d.fail(n.pos, "show.empty", key+" is empty", "write "+example)
		}
		return n.text
	}
	return ""
}

// name reads a name that other tables and the command line refer to.
func (s *scope) name(word, example string) string {
	n := s.want(kindText, "name", example, true)
	if n == nil {
		return ""
	}
	for _, r := range n.text {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_') {
			s.d.fail(n.pos, "show.bad_name", fmt.Sprintf("name %q holds %q", n.text, r), "use letters a to z, digits, - and _")
			return ""
		}
	}
	if n.text == "" || len(n.text) > 32 {
		s.d.fail(n.pos, "show.bad_name", fmt.Sprintf("a name of %d letters", len(n.text)), "use 1 to 32 letters")
		return ""
	}
	s.title = fmt.Sprintf("%s %q", word, n.text)
	return n.text
}

// one reads a word out of several and gives its index; missing is 0.
func (s *scope) one(key, example string, required bool, words ...string) int {
	n := s.want(kindText, key, example, required)
	if n == nil {
		return 0
	}
	if i := slices.Index(words, n.text); i >= 0 {
		return i
	}
	s.d.fail(n.pos, "show.unknown_word", fmt.Sprintf("%s: %q is none of %s", s.path+key, n.text, strings.Join(words, ", ")), suggest(n.text, words))
	return 0
}

func suggest(word string, among []string) string {
	if near := nearest(word, among); near != "" {
		return fmt.Sprintf("write %q", near)
	}
	if len(among) == 0 {
		return "there is none to choose from"
	}
	return "write one of " + strings.Join(among, ", ")
}

func (s *scope) flag(key, example string) bool {
	n := s.want(kindBool, key, example, false)
	return n != nil && n.text == "true"
}

func (s *scope) integer(key, example string, required bool, def, lo, hi int) int {
	n := s.want(kindInt, key, example, required)
	if n == nil {
		return def
	}
	return s.whole(n, key, example, lo, hi)
}

func (s *scope) whole(n *node, key, example string, lo, hi int) int {
	v, err := strconv.ParseInt(strings.ReplaceAll(n.text, "_", ""), 0, 64)
	if err != nil || v < int64(lo) || v > int64(hi) {
		s.d.fail(n.pos, "show.out_of_range", fmt.Sprintf("%s: %s is outside %d to %d", s.path+key, n.text, lo, hi), "write "+example)
		return 0
	}
	return int(v)
}

func (s *scope) number(key, example string, required bool, def, lo, hi float64) float64 {
	n := s.get(key, example, required)
	if n == nil {
		return def
	}
	return s.real(n, key, example, lo, hi)
}

func (s *scope) real(n *node, key, example string, lo, hi float64) float64 {
	if n.kind != kindInt && n.kind != kindFloat {
		s.mistyped(n, key, kindFloat, example)
		return 0
	}
	v, err := strconv.ParseFloat(strings.ReplaceAll(n.text, "_", ""), 64)
	if err != nil || math.IsNaN(v) || v < lo || v > hi {
		s.d.fail(n.pos, "show.out_of_range", fmt.Sprintf("%s: %s is outside %g to %g", s.path+key, n.text, lo, hi), "write "+example)
		return 0
	}
	return v
}

// items reads a list and checks its length; most 0 means any.
func (s *scope) items(key, example string, required bool, least, most int) []*node {
	n := s.want(kindList, key, example, required)
	if n == nil {
		return nil
	}
	for i, item := range n.items {
		s.keys[fmt.Sprintf("%s%s[%d]", s.path, key, i)] = item.pos
	}
	if len(n.items) < least || most > 0 && len(n.items) > most {
		s.d.fail(n.pos, "show.wrong_count", fmt.Sprintf("%s has %d values, not %s", s.path+key, len(n.items), span(least, most)), "write "+example)
		return nil
	}
	return n.items
}

func span(least, most int) string {
	switch {
	case most == 0:
		return fmt.Sprintf("%d or more", least)
	case least == most:
		return strconv.Itoa(least)
	}
	return fmt.Sprintf("%d to %d", least, most)
}

func (s *scope) texts(key, example string, required bool, least int) []string {
	var out []string
	for i, n := range s.items(key, example, required, least, 0) {
		if n.kind != kindText {
			s.mistyped(n, fmt.Sprintf("%s[%d]", key, i), kindText, example)
			continue
		}
		if slices.Contains(out, n.text) {
			s.d.fail(n.pos, "show.listed_twice", fmt.Sprintf("%s lists %q twice", s.path+key, n.text), "remove one")
		}
		out = append(out, n.text)
	}
	return out
}

func (s *scope) integers(key, example string, lo, hi int) []int {
	var out []int
	for i, n := range s.items(key, example, false, 0, 0) {
		name := fmt.Sprintf("%s[%d]", key, i)
		if n.kind != kindInt {
			s.mistyped(n, name, kindInt, example)
			continue
		}
		out = append(out, s.whole(n, name, example, lo, hi))
	}
	return out
}

// triple reads three factors: red, green, blue.
func (s *scope) triple(key, example string, required bool, def, lo, hi float64) [3]float64 {
	out := [3]float64{def, def, def}
	for i, n := range s.items(key, example, required, 3, 3) {
		out[i] = s.real(n, fmt.Sprintf("%s[%d]", key, i), example, lo, hi)
	}
	return out
}

// unique tells names that are given twice.
func unique[T any](d *decoder, word string, items []T, of func(*T) (string, Pos)) {
	first := map[string]Pos{}
	for i := range items {
		name, p := of(&items[i])
		if name == "" {
			continue
		}
		if q, ok := first[name]; ok {
			d.fail(p, "show.duplicate_name", fmt.Sprintf("a second %s is named %q, the first is in line %d", word, name, q.Line), "give it a name of its own")
			continue
		}
		first[name] = p
	}
}
