package link

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// MostBody is the most bytes that a message holds: with kind, sequence number
// and CRC they are one COBS block of 254 bytes.
const MostBody = 250

// MostWire is the most bytes of a frame on the line, both zeros included.
const MostWire = 1 + 255 + 1

// ErrFrame is the kind of every error of Open.
var ErrFrame = errors.New("link: not a frame")

// Frame is one message on the line.
type Frame struct {
	Kind Kind
	Seq  uint8  // chosen by who asks; the answer repeats it
	Body []byte // at most MostBody bytes
}

// Append appends a frame as it goes on the line. It panics when the body is too
// long: who asks knows the limit.
func Append(dst []byte, f Frame) []byte {
	if len(f.Body) > MostBody {
		panic(fmt.Sprintf("link: a body of %d bytes, the limit is %d", len(f.Body), MostBody))
	}
	var plain [MostBody + 4]byte
	p := append(plain[:0], byte(f.Kind), f.Seq)
	p = append(p, f.Body...)
	p = binary.LittleEndian.AppendUint16(p, CRC(p))
	return append(AppendStuffed(append(dst, 0), p), 0)
}

// Open takes a frame out of what stood between two zeros. The body is its own
// memory.
func Open(b []byte) (Frame, error) {
	if len(b) > MostWire-2 {
		return Frame{}, fmt.Errorf("%w: %d bytes, the limit is %d", ErrFrame, len(b), MostWire-2)
	}
	p, err := AppendUnstuffed(make([]byte, 0, MostBody+4), b)
	if err != nil {
		return Frame{}, fmt.Errorf("%w: %w", ErrFrame, err)
	}
	if len(p) < 4 {
		return Frame{}, fmt.Errorf("%w: %d bytes, want at least 4", ErrFrame, len(p))
	}
	n := len(p) - 2
	if got, want := CRC(p[:n]), binary.LittleEndian.Uint16(p[n:]); got != want {
		return Frame{}, fmt.Errorf("%w: CRC %04x, it says %04x", ErrFrame, got, want)
	}
	return Frame{Kind: Kind(p[0]), Seq: p[1], Body: p[2:n:n]}, nil
}
