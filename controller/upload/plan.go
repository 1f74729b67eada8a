package upload

import (
	"hash/crc32"

	"paneglow/render/table"
)

// stretch is a run of the new table's bytes.
type stretch struct {
	from, to int // of the new table
	old      int // where the table in force has the same bytes, or -1: they are sent
}

// candidates pairs what may be the same in both tables: clips of the same length,
// each pair once. Whether they are the same only their sums tell.
func candidates(old, new *table.Header) (pairs [][2]int) {
	for i := range new.Clips {
		n := &new.Clips[i]
		for k := range old.Clips {
			if o := &old.Clips[k]; o.Length == n.Length && o.Frames == n.Frames && o.Kind == n.Kind {
				pairs = append(pairs, [2]int{k, i})
			}
		}
	}
	return pairs
}

// leastCopy is the fewest bytes worth a message of their own to be copied.
const leastCopy = 64

// plan cuts the new table into stretches in order: copies for the clips that the
// table in force holds, and what lies between them to be sent. same[i] is where
// the table in force has clip i with its checksum, or -1.
func plan(h *table.Header, size int, same []int) (out []stretch) {
	at := 0
	send := func(to int) {
		if to > at {
			out = append(out, stretch{at, to, -1})
		}
		at = to
	}
	for i := range h.Clips {
		c := &h.Clips[i]
		if same[i] < 0 || c.Length+4 < leastCopy {
			continue
		}
		send(c.Offset)
		out = append(out, stretch{at, at + c.Length + 4, same[i]})
		at += c.Length + 4
	}
	send(size)
	return out
}

// within cuts stretches down to the part from..to of the table.
func within(all []stretch, from, to int) (out []stretch) {
	for _, s := range all {
		a, b := max(s.from, from), min(s.to, to)
		if a >= b {
			continue
		}
		if s.old >= 0 {
			s.old += a - s.from
		}
		out = append(out, stretch{a, b, s.old})
	}
	return out
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Sum is the CRC-32/ISCSI by which both sides compare what they hold: polynomial
// 0x1EDC6F41 reflected, 0xE3069283 for "123456789". It must not be the CRC that
// ends a table's blocks: over a block together with its own CRC that one is the
// same for all blocks, and one clip would pass for another of its length.
func Sum(b []byte) uint32 { return crc32.Checksum(b, castagnoli) }
