package link

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"time"
)

// Version of the messages. Hello tells it; a controller that speaks another one
// answers hello and nothing else.
const Version = 1

// Kind says what a message is about. An answer has the kind of its question.
// Kinds are control characters, so that no frame is text throughout; the
// tabulator, line feed and carriage return are therefore no kinds.
type Kind uint8

// Questions of a computer, and what the controller answers beside its Status.
const (
	Hello       Kind = 0x01 // who is there; answer: Identity
	State       Kind = 0x02 // the machine is in this state: 1 byte
	Value       Kind = 0x03 // 1 byte, 0..255
	Level       Kind = 0x04 // lightness in per mille: 2 bytes
	Clock       Kind = 0x05 // day 1 byte (0 Monday), second of the day 3 bytes
	Load        Kind = 0x06 // load 1 byte, what 1 byte (LoadAsk, LoadRunning, LoadStopped); answer: loads granted, 2 bytes
	Loads       Kind = 0x07 // exactly these run: 2 bytes
	Alive       Kind = 0x08 // a sign of life, every message is one too
	Counters    Kind = 0x0b // answer: 4 bytes each, in the order of the constants below
	Pass        Kind = 0x0c // bytes for the machine's own program, both ways
	Granted     Kind = 0x0e // from the controller, unasked: loads that may start now, 2 bytes
	Service     Kind = 0x0f // 1 byte: 0 off, 1 a work light, 2 a test of the strips
	Begin       Kind = 0x10 // upload: what comes
	Block       Kind = 0x11 // upload: one block
	Copy        Kind = 0x12 // upload: blocks that the old slot already holds
	Verify      Kind = 0x13 // upload: read the slot back
	Switch      Kind = 0x14 // upload: from now on this one plays
	Read        Kind = 0x15 // read back
	Probe       Kind = 0x16 // commissioning: two runs of pixels with a pause between them
	Log         Kind = 0x17 // records of the black box from a number on: 4 bytes
	Stream      Kind = 0x18 // a block of frames shown as they come
	Want        Kind = 0x19 // from the controller, unasked: the stream's next block and the room after it
	OpenStream  Kind = 0x1a // a stream begins: 1 byte, the coding; answer: frames a second 2, ring 2, bytes of a block 1
	CloseStream Kind = 0x1b // a stream ends
	Dead        Kind = 0x1c // a pixel's address is gone or back: pixel 2 bytes, gone 1 byte
)

// What a Load message says.
const (
	LoadAsk uint8 = iota
	LoadRunning
	LoadStopped
)

// Status is the first byte of every answer.
type Status uint8

// The answers. Everything but OK means that nothing was changed.
const (
	OK         Status = iota
	Unknown           // a kind that this controller does not know
	Malformed         // a body of the wrong length
	OutOfRange        // no such state, load, day, slot or block
	Busy              // not now: the loads are not all off, or another upload runs
	Refused           // a table for another layout, or over a limit
	Damaged           // a checksum is wrong
	Storage           // the memory did not take it
)

var statusWords = [...]string{"ok", "unknown kind of message", "malformed", "out of range", "busy", "refused", "damaged", "the memory did not take it"}

func (s Status) String() string {
	if int(s) < len(statusWords) {
		return statusWords[s]
	}
	return fmt.Sprintf("status %d", uint8(s))
}

// ErrAnswer is the kind of an answer that cannot be understood.
var ErrAnswer = errors.New("link: not the answer to the question")

// Identity is a controller's answer to Hello.
type Identity struct {
	Version   uint8    // of these messages
	Firmware  uint16   // the machine's own number for its program
	Board     [8]uint8 // chosen once when the firmware was installed
	Layout    uint32   // fingerprint of parts, strips and missing pixels: table.Show.PanelSum
	Channels  uint16   // bytes of a frame
	Slots     uint8    // places for a table that can be loaded; 0: none
	SlotSize  uint32   // bytes
	Window    uint16   // bytes of blocks that may be under way
	BrownOut  uint8    // the supply voltage below which the chip stops, in tenths of a volt; 0: none, 255: unknown
	Reset     uint8    // why it started: ResetPower and so on
	Uptime    uint32   // milliseconds
	Table     uint32   // CRC-32/ISCSI of the whole table that plays
	Installed uint32   // how many tables have been switched to, it included; 0: the one in the firmware plays
	Minute    uint32   // when it was switched to: minutes since Epoch, 24 bits; 0: nobody told
}

// Epoch is where the minutes of installations begin.
var Epoch = time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)

// Since is when the table in force was switched to, by the clock of the computer
// that did it; zero when that is not known.
func (id Identity) Since() time.Time {
	if id.Minute == 0 {
		return time.Time{}
	}
	return Epoch.Add(time.Duration(id.Minute) * time.Minute)
}

// SwitchBody is the body of a Switch message: the minute it happens in. Moments
// that 24 bits of minutes do not reach, before 2024 and from 2055 on, are left out.
func SwitchBody(now time.Time) []byte {
	m := now.Sub(Epoch) / time.Minute
	if m <= 0 || m >= 1<<24 {
		return nil
	}
	return []byte{uint8(m), uint8(m >> 8), uint8(m >> 16)}
}

// Why a controller started, as bits.
const (
	ResetPower    uint8 = 1 << iota // power came
	ResetPin                        // the reset line
	ResetBrownOut                   // the supply fell too low
	ResetWatchdog                   // the program stood still
	ResetDebug                      // a programmer
)

var resetWords = [...]string{"power came", "the reset line", "the supply fell too low", "the program stood still", "a programmer"}

// ResetReasons are why a controller started, in words; none where nobody knows.
func ResetReasons(reset uint8) (words []string) {
	for i, w := range resetWords {
		if reset>>i&1 != 0 {
			words = append(words, w)
		}
	}
	return words
}

// ResetWords are the reasons in one line.
func ResetWords(reset uint8) string {
	if words := ResetReasons(reset); words != nil {
		return strings.Join(words, ", ")
	}
	return "nobody knows why"
}

const identityBytes = 1 + 2 + 8 + 4 + 2 + 1 + 4 + 2 + 1 + 1 + 4 + 4 + 4 + 3

// Append appends the identity as it stands in the answer's body after the status.
func (id Identity) Append(b []byte) []byte {
	le := binary.LittleEndian
	b = le.AppendUint16(append(b, id.Version), id.Firmware)
	b = le.AppendUint32(append(b, id.Board[:]...), id.Layout)
	b = append(le.AppendUint16(b, id.Channels), id.Slots)
	b = le.AppendUint16(le.AppendUint32(b, id.SlotSize), id.Window)
	b = le.AppendUint32(append(b, id.BrownOut, id.Reset), id.Uptime)
	b = le.AppendUint32(le.AppendUint32(b, id.Table), id.Installed)
	return append(b, uint8(id.Minute), uint8(id.Minute>>8), uint8(id.Minute>>16))
}

// ParseIdentity takes an identity out of a body without its status. Bytes that
// a later version may add are left alone.
func ParseIdentity(b []byte) (Identity, error) {
	if len(b) < identityBytes {
		return Identity{}, fmt.Errorf("%w: an identity of %d bytes, want %d", ErrAnswer, len(b), identityBytes)
	}
	le := binary.LittleEndian
	id := Identity{Version: b[0], Firmware: le.Uint16(b[1:]), Layout: le.Uint32(b[11:]), Channels: le.Uint16(b[15:]),
		Slots: b[17], SlotSize: le.Uint32(b[18:]), Window: le.Uint16(b[22:]), BrownOut: b[24], Reset: b[25],
		Uptime: le.Uint32(b[26:]), Table: le.Uint32(b[30:]), Installed: le.Uint32(b[34:]),
		Minute: uint32(le.Uint16(b[38:])) | uint32(b[40])<<16}
	copy(id.Board[:], b[3:])
	return id, nil
}

// Count is a controller's counter, in the order of a Counters answer. They
// count up to 2^32-1 and stay there; a reset clears all but the first two.
type Count int

const (
	Resets       Count = iota // since the firmware was installed
	BrownOuts                 // of them for a low supply
	Refreshes                 // latched
	LateFrames                // that came after their time
	SentAgain                 // refreshes sent again because a pause inside was too long
	HeldFrames                // refreshes given up after that
	BadBlocks                 // of the table, found damaged
	BadFrames                 // of the link
	TextReturned              // bytes given back to the text
	HostSilences              // times that the host was silent for too long
	Counts                    // how many there are
)

var countWords = [Counts]string{"resets", "brown-outs", "refreshes", "late frames", "refreshes sent again", "refreshes held", "damaged table blocks", "damaged link frames", "bytes given back to the text", "silent hosts"}

func (c Count) String() string {
	if c >= 0 && c < Counts {
		return countWords[c]
	}
	return fmt.Sprintf("counter %d", int(c))
}

// ParseCounters takes counters out of a body without its status. A controller
// of another version may send fewer or more of them.
func ParseCounters(b []byte) ([]uint32, error) {
	if len(b)%4 != 0 {
		return nil, fmt.Errorf("%w: counters of %d bytes", ErrAnswer, len(b))
	}
	out := make([]uint32, len(b)/4)
	for i := range out {
		out[i] = binary.LittleEndian.Uint32(b[4*i:])
	}
	return out, nil
}

// Words a computer sends to tell the panel about the machine. Each gives the
// body of a message of that kind.

func StateBody(state uint8) []byte  { return []byte{state} }
func ValueBody(value uint8) []byte  { return []byte{value} }
func LevelBody(mille uint16) []byte { return binary.LittleEndian.AppendUint16(nil, mille) }
func LoadsBody(mask uint16) []byte  { return binary.LittleEndian.AppendUint16(nil, mask) }
func LoadBody(load, what uint8) []byte {
	return []byte{load, what}
}

// ClockBody is the body of a Clock message: a day, 0 Monday to 6 Sunday, and a
// second of it.
func ClockBody(day uint8, second uint32) []byte {
	return []byte{day, uint8(second), uint8(second >> 8), uint8(second >> 16)}
}
