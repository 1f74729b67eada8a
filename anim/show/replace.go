package show

import (
	"fmt"
	"strings"

	"paneglow/anim/finding"
)

// Replace exchanges one value of a TOML file for another and leaves every
// other byte as it was: comments, spaces, order. at is the place of the old
// value, from Keys or Control.Pos of the same bytes; value is the new one as
// TOML, see Quote. The result is read again: it must be the same tree but for
// that value, or nothing is changed and the error says why. src is not
// modified.
func Replace(src []byte, at Pos, value string) ([]byte, error) {
	refuse := func(message, fix string) ([]byte, error) {
		return nil, finding.At(at, finding.Error, "show.replace", message, fix)
	}
	if at.Start < 0 || at.End <= at.Start || at.End > len(src) {
		return refuse("there is no value at this place", "read the file again: it has changed")
	}
	before, tr := grow(at.File, src)
	if err := tr.list.Err(); err != nil {
		return nil, fmt.Errorf("before the change: %w", err)
	}
	out := make([]byte, 0, len(src)-(at.End-at.Start)+len(value))
	out = append(out, src[:at.Start]...)
	out = append(out, value...)
	out = append(out, src[at.End:]...)
	after, tr := grow(at.File, out)
	if err := tr.list.Err(); err != nil {
		return nil, fmt.Errorf("%q is not a value here: %w", value, err)
	}
	hit := 0
	if !same(before, after, at, at.Start+len(value), &hit) {
		return refuse(fmt.Sprintf("%q changes more than one value", value), "write one value, texts in quotes")
	}
	if hit != 1 {
		return refuse("there is no value at this place", "read the file again: it has changed")
	}
	return out, nil
}

// same compares two trees but for the value at one place, and counts how
// often it met that.
func same(a, b *table, at Pos, end int, hit *int) bool {
	if len(a.entries) != len(b.entries) {
		return false
	}
	for i, e := range a.entries {
		if f := b.entries[i]; e.key != f.key || !sameNode(e.val, f.val, at, end, hit) {
			return false
		}
	}
	return true
}

func sameNode(a, b *node, at Pos, end int, hit *int) bool {
	if a.pos.Start == at.Start && a.pos.End == at.End && !(a.table != nil && !a.table.inline) && !a.tables {
		*hit++
		return b.pos.Start == at.Start && b.pos.End == end
	}
	if a.kind != b.kind || a.text != b.text || len(a.items) != len(b.items) {
		return false
	}
	for i := range a.items {
		if !sameNode(a.items[i], b.items[i], at, end, hit) {
			return false
		}
	}
	return a.table == nil || same(a.table, b.table, at, end, hit)
}

// Quote writes a text as a TOML string.
func Quote(text string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range text {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// Literal writes a control's value as it stands in the file.
func (c Control) Literal() string {
	if c.Kind == 's' {
		return Quote(c.Text)
	}
	return c.Text
}
