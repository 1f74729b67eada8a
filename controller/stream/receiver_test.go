package stream

import (
	"encoding/binary"
	"fmt"
	"slices"
)

// receiver is the controller's end of a stream as docs/link.md has it, by lists in
// place of a ring: it takes the blocks that it awaits, shows a frame each period,
// and says what it has room for.
type receiver struct {
	line  Line
	state int
	turn  int // states so far

	next   uint16
	bytes  []byte // taken and not shown
	codes  []uint8
	hold   bool      // a state's first frame is awaited
	shown  []latched // one a period, from the first frame on
	passed uint16
	late   uint16
	freed  int
	gap    bool // a block after the next one has come
}

// latched is a frame, and the state in which it was shown.
type latched struct {
	state int
	codes []uint8
}

func newReceiver(line Line, channels, state int) *receiver {
	return &receiver{line: line, state: state, turn: 1, hold: true, codes: make([]uint8, channels)}
}

// enter is a State message.
func (r *receiver) enter(state int) {
	r.state, r.hold = state, true
	r.turn++
}

// afresh is an open of a stream that is open.
func (r *receiver) afresh() {
	r.hold, r.gap, r.next, r.bytes, r.passed, r.late, r.freed = true, false, 0, nil, 0, 0, 0
}

// take is a Stream message's body.
func (r *receiver) take(b []byte) error {
	number := binary.LittleEndian.Uint16(b)
	b = b[2:]
	if len(b) == 0 || len(b) > r.line.Block {
		return fmt.Errorf("a block of %d bytes, at most %d", len(b), r.line.Block)
	}
	if number != r.next {
		r.gap = r.gap || number-r.next < 0x8000
		return nil
	}
	r.bytes = append(r.bytes, b...)
	if len(r.bytes) > r.line.Ring {
		return fmt.Errorf("%d bytes at once, %d were granted", len(r.bytes), r.line.Ring)
	}
	r.next++
	r.gap = false
	return nil
}

// show is a period.
func (r *receiver) show() error {
	for len(r.bytes) >= 2 {
		n := int(binary.LittleEndian.Uint16(r.bytes)) + 2
		if len(r.bytes) < n {
			break
		}
		marked := r.bytes[2]&flagMarked != 0
		mine := marked && int(r.bytes[3]) == r.state
		if marked && !mine && !r.hold {
			break // it waits for its state
		}
		b := r.bytes[2:n]
		r.bytes = r.bytes[n:]
		r.freed += n
		r.passed++
		if r.hold && !mine {
			continue // of a state that was left
		}
		if _, err := Decode(r.codes, b); err != nil {
			return err
		}
		r.hold = false
		r.shown = append(r.shown, latched{r.state, slices.Clone(r.codes)})
		return nil
	}
	if !r.hold {
		r.late++
	}
	return nil
}

// want is what the controller says, as it goes over the line.
func (r *receiver) want(why Why) []byte {
	b := binary.LittleEndian.AppendUint16(nil, r.next)
	b = binary.LittleEndian.AppendUint16(b, uint16(r.line.Ring-len(r.bytes)))
	b = binary.LittleEndian.AppendUint16(b, r.late)
	b = binary.LittleEndian.AppendUint16(b, r.passed)
	r.freed = 0
	return append(b, uint8(r.state), uint8(why))
}
