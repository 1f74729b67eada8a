package stream

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// Coding is the version of the frames' coding, docs/link.md section 6.
const Coding = 1

// None is the mark of a frame that is not the first of a state.
const None = -1

// ErrFrame is the kind of every error of Decode: bytes that make no frame.
var ErrFrame = errors.New("stream: not a frame")

// Bits of a frame's flags.
const (
	flagDark   = 1 // it begins dark, and builds on nothing
	flagMarked = 2 // it is the first of a state, whose number follows
)

// Operations, the two highest bits of their byte.
const (
	opKeep    = iota // channels stay as they are
	opLiteral        // their codes follow
	opBack           // they are copies from so many channels back
	opSmall          // they change by -8 to 7, two channels a byte, the first one low
)

// most is the largest frame after its length: all channels as they are.
func most(channels int) int { return channels + 5 }

// Encoder turns frames into a stream's bytes. What it codes builds on the frame
// before, so every frame that it was given must be sent, in order.
type Encoder struct {
	last, dark []uint8
	began      bool
	plan       planner
	a, b       []byte
}

// NewEncoder makes one for frames of so many channels, 1 to 65530. It panics on any
// other number: a table's header has been read before.
func NewEncoder(channels int) *Encoder {
	if channels < 1 || channels > 65530 {
		panic(fmt.Sprintf("stream: %d channels", channels))
	}
	return &Encoder{last: make([]uint8, channels), dark: make([]uint8, channels)}
}

// Append appends a frame of codes in data order, as many as the encoder has
// channels, or it panics. mark is the state whose first frame it is, or None; a
// stream's first one must be marked. Of the two ways, from the frame before and from
// darkness, the shorter is taken; a marked frame builds on nothing. A frame takes
// at most 7 bytes more than its channels.
func (e *Encoder) Append(dst []byte, codes []uint8, mark int) []byte {
	body := e.code(codes, mark)
	e.keep(codes)
	return append(binary.LittleEndian.AppendUint16(dst, uint16(len(body))), body...)
}

// code is a frame without its length, valid until the next call; keep says that it
// is sent.
func (e *Encoder) code(codes []uint8, mark int) []byte {
	if len(codes) != len(e.last) {
		panic(fmt.Sprintf("stream: %d codes for %d channels", len(codes), len(e.last)))
	}
	if mark == None && !e.began {
		panic("stream: a stream begins with a marked frame")
	}
	e.a = e.plan.appendFrame(e.a[:0], codes, e.dark, mark, flagDark)
	if mark != None {
		return e.a
	}
	e.b = e.plan.appendFrame(e.b[:0], codes, e.last, mark, 0)
	if len(e.b) <= len(e.a) {
		return e.b
	}
	return e.a
}

func (e *Encoder) keep(codes []uint8) {
	e.began = true
	copy(e.last, codes)
}

// Same appends a frame that shows what the one before did, 3 bytes.
func (e *Encoder) Same(dst []byte) []byte { return append(dst, 1, 0, 0) }

// Decode applies a frame, its length left out, to the frame before it in dst, and
// gives its mark. It is the slow twin of controller/player/stream_frames.c. After an error,
// an ErrFrame, dst holds a part of the frame.
func Decode(dst []uint8, body []byte) (mark int, err error) {
	bad := func(at int, format string, a ...any) (int, error) {
		return None, fmt.Errorf("%w: byte %d of %d: %s", ErrFrame, at, len(body), fmt.Sprintf(format, a...))
	}
	mark = None
	if len(body) == 0 || len(body) > most(len(dst)) {
		return bad(0, "1 to %d bytes for %d channels", most(len(dst)), len(dst))
	}
	flags, at := body[0], 1
	switch flags {
	case 0:
	case flagDark:
		clear(dst)
	case flagDark | flagMarked:
		if len(body) < 2 {
			return bad(1, "the state is missing")
		}
		clear(dst)
		mark, at = int(body[1]), 2
	default:
		return bad(0, "flags %02x; they are 00, 01 or 03", flags)
	}
	x := 0
	for at < len(body) {
		op, n, begin := body[at]>>6, int(body[at]&63)+1, at
		at++
		switch extra := n - 62; {
		case extra > 0 && at+extra > len(body):
			return bad(at, "a length is cut off")
		case extra == 1:
			n = 63 + int(body[at])
			at++
		case extra == 2:
			n = int(binary.LittleEndian.Uint16(body[at:]))
			at += 2
		}
		if n == 0 || n > len(dst)-x {
			return bad(begin, "%d channels, %d are left", n, len(dst)-x)
		}
		to := dst[x : x+n]
		takes := [4]int{0, n, 1, (n + 1) / 2}[op]
		if takes > len(body)-at {
			return bad(begin, "it takes %d bytes, %d are left", takes, len(body)-at)
		}
		from := body[at : at+takes]
		at += takes
		switch op {
		case opLiteral:
			copy(to, from)
		case opBack:
			back := int(from[0])
			if back == 0 || back > x {
				return bad(begin, "%d channels back from channel %d", back, x)
			}
			for i := range to {
				to[i] = dst[x+i-back]
			}
		case opSmall:
			for i := range to {
				to[i] += (from[i/2]>>(4*(i&1))&15 ^ 8) - 8
			}
		}
		x += n
	}
	return mark, nil
}
