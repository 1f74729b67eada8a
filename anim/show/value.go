package show

import (
	"bytes"

	"github.com/pelletier/go-toml/v2/unstable"
)

// keyValue adds one key with its value to a table.
func (tr *tree) keyValue(n *unstable.Node, base int, t *table) {
	keys := tr.keys(n.Key(), base)
	for _, k := range keys[:len(keys)-1] {
		if t = tr.enter(t, k, true); t == nil {
			return
		}
	}
	last := keys[len(keys)-1]
	from := tr.skip(last.pos.End, " \t=")
	val, _ := tr.value(n.Value(), base, from)
	if e := t.get(last.key); e != nil {
		tr.twice(last, e)
		return
	}
	t.add(&entry{last.key, last.pos, val})
}

// skip steps over the given bytes, and over comments where newlines may be.
func (tr *tree) skip(at int, over string) int {
	for at < len(tr.src) {
		c := tr.src[at]
		if c == '#' && over == between {
			for at < len(tr.src) && tr.src[at] != '\n' {
				at++
			}
			continue
		}
		if !bytes.Contains([]byte(over), []byte{c}) {
			break
		}
		at++
	}
	return at
}

// between is what may stand between two values of a list.
const between = " \t\r\n,"

// value builds one value and returns the offset behind it. The parser gives
// no range for lists and only the brace of inline tables, so those are found
// by walking: a list starts at from and ends behind its last value.
func (tr *tree) value(n *unstable.Node, base, from int) (*node, int) {
	switch n.Kind {
	case unstable.Array:
		out, at := &node{kind: kindList}, from+1
		for it := n.Children(); it.Next(); {
			item, end := tr.value(it.Node(), base, tr.skip(at, between))
			out.items, at = append(out.items, item), end
		}
		end := tr.skip(at, between) + 1
		out.pos = tr.pos(from, end)
		return out, end
	case unstable.InlineTable:
		t, at := &table{inline: true}, from+1
		for it := n.Children(); it.Next(); {
			kv := it.Node()
			tr.keyValue(kv, base, t)
			at = base + int(kv.Raw.Offset+kv.Raw.Length)
		}
		end := tr.skip(at, between) + 1
		t.pos = tr.pos(from, end)
		return &node{kind: kindTable, pos: t.pos, table: t}, end
	}
	start, end := base+int(n.Raw.Offset), base+int(n.Raw.Offset+n.Raw.Length)
	out := &node{pos: tr.pos(start, end), text: string(n.Data)}
	switch n.Kind {
	case unstable.String:
		out.kind = kindText
	case unstable.Integer:
		out.kind = kindInt
	case unstable.Float:
		out.kind = kindFloat
	case unstable.Bool:
		out.kind = kindBool
	default:
		out.kind = kindTime
	}
	return out, end
}
