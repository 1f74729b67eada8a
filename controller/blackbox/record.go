package blackbox

import (
	"encoding/binary"
	"fmt"

	"paneglow/controller/link"
)

// Kind says what a record is about.
type Kind uint8

// Kinds of records, docs/blackbox.md.
const (
	Unit     Kind = 1 + iota // a unit of the store begins: counters so far
	Start                    // the controller has started
	Begin                    // the player begins with a table
	Table                    // which one; with a check point, the level too
	State                    // another state
	Facts                    // what is known of the loads
	Value                    // values of a clip that follows one
	Level                    // lightness
	Service                  // somebody is inside, or gone again
	Clock                    // the time of day was told, or put right
	Dead                     // pixels that are gone
	Verified                 // clips that were found whole
	Damaged                  // clips that were found broken
	News                     // a still state went out once more
	Counts                   // counters
	Volts                    // a new lowest voltage of a supply
	Left                     // records were left out
	Trouble                  // the table does not play
	Stream                   // frames come from a computer, or no longer
	Place                    // check point: frame, lot and value
	Budget                   // check point: a supply's budget
	Check                    // check point: state, clip and loads; it is whole
	Lost                     // a clip could not be unpacked
	kinds
)

// Size is a record's, in bytes.
const Size = 16

// Record is one of the log's.
type Record struct {
	Number  uint32 // since the controller was installed
	Kind    Kind
	Refresh uint32 // of the player, from 1; of a Unit its own number
	Body    [9]byte
}

// Parse takes a record out of its bytes; not ok when its CRC is wrong, as that of
// one that was torn is, or its kind is not known.
func Parse(number uint32, b [Size]byte) (r Record, ok bool) {
	le := binary.LittleEndian
	r = Record{Number: number, Kind: Kind(b[0]), Refresh: le.Uint32(b[1:])}
	copy(r.Body[:], b[5:])
	return r, link.CRC(b[:14]) == le.Uint16(b[14:]) && r.Kind > 0 && r.Kind < kinds
}

// Bytes is the record as it stands in the store.
func (r Record) Bytes() (b [Size]byte) {
	le := binary.LittleEndian
	b[0] = uint8(r.Kind)
	le.PutUint32(b[1:], r.Refresh)
	copy(b[5:], r.Body[:])
	le.PutUint16(b[14:], link.CRC(b[:14]))
	return b
}

func (r *Record) u16(at int) uint32 { return uint32(binary.LittleEndian.Uint16(r.Body[at:])) }
func (r *Record) u24(at int) uint32 { return r.u16(at) | uint32(r.Body[at+2])<<16 }
func (r *Record) u32(at int) uint32 { return binary.LittleEndian.Uint32(r.Body[at:]) }

// Values are those of a Value record, with their refreshes.
func (r *Record) Values() (at []uint32, value []uint8) {
	at, value = []uint32{r.Refresh}, []uint8{r.Body[0]}
	for i := 1; i+1 < len(r.Body) && r.Body[i] != 0; i += 2 {
		at, value = append(at, at[len(at)-1]+uint32(r.Body[i])), append(value, r.Body[i+1])
	}
	return at, value
}

// bits are the numbers of the bits that are set in eight bytes.
func bits(b []byte) (n []int) {
	for i := range 64 {
		if b[i/8]>>(i%8)&1 != 0 {
			n = append(n, i)
		}
	}
	return n
}

func (k Kind) String() string {
	words := [...]string{"", "unit", "start", "begin", "table", "state", "loads", "value", "level", "service", "clock", "dead", "verified",
		"damaged", "news", "counters", "volts", "left out", "trouble", "stream", "check point", "check point", "check point", "lost"}
	if int(k) < len(words) && k > 0 {
		return words[k]
	}
	return fmt.Sprintf("kind %d", uint8(k))
}
