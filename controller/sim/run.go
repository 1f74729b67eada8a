package sim

import (
	"bufio"
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"time"
)

// Hex are bytes that JSON holds as hexadecimal digits.
type Hex []byte

// UnmarshalText takes pairs of hexadecimal digits.
func (h *Hex) UnmarshalText(b []byte) (err error) {
	*h, err = hex.DecodeString(string(b))
	return err
}

// Span is least and most, 0 and 0 of nothing.
type Span [2]Cycles

// Refresh is what a strip has seen between two latches.
type Refresh struct {
	At, End Cycles // first rise and last fall
	Bits    int
	Latched bool   // the line has stayed low for the latch time after it
	Bad     int    // bits out of the limits
	Broken  int    // pauses longer than the part's gap
	Gap     Cycles // the longest low between bytes
	Codes   Hex    // whole bytes, as sent
}

// Wave is everything that one strip has seen.
type Wave struct {
	Pin                        string
	T0H, T1H, T0L, T1L, Period Span // within bytes
	Gap                        Span // low between bytes, latches aside
	Bad                        int
	Refreshes                  []Refresh
}

// UART is what went over the serial line.
type UART struct {
	Sent     int    // by the computer
	Taken    int    // by the firmware
	Lost     int    // overwritten in the receiver, or not received at all
	Garbled  int    // too far off in rate
	Held     int    // received and not taken at the end
	ChipByte Cycles `json:"chip_byte"`
	HostByte Cycles `json:"host_byte"`
	FromChip Hex    `json:"from_chip"`
	// FromChipAt is when each of these bytes began.
	FromChipAt []Cycles `json:"from_chip_at"`
}

// Vector is how often and how long an interrupt routine ran, entry and RETI
// included; Number counts from the reset vector, 0.
type Vector struct {
	Number  int `json:"vector"`
	Count   int
	Longest Cycles
	Cycles  Cycles
}

// Pin is what an output did: it rises at even places of Changes.
type Pin struct {
	Pin     string
	Changes []Cycles
}

// Section is how long the firmware was in a section that it marks in GPIOR1,
// interrupts not counted but in MostInterrupted.
type Section struct {
	Number, Count       int
	Least, Most, Cycles Cycles
	MostInterrupted     Cycles `json:"most_interrupted"`
}

// Mark is what the firmware wrote to GPIOR0, when, and the cycles of all sections
// until then.
type Mark struct {
	Value    byte
	At, Busy Cycles
}

// UnmarshalJSON takes [value, cycles, cycles].
func (m *Mark) UnmarshalJSON(b []byte) error {
	var v [3]uint64
	if err := json.Unmarshal(b, &v); err != nil {
		return err
	}
	*m = Mark{byte(v[0]), Cycles(v[1]), Cycles(v[2])}
	return nil
}

// Result is a run.
type Result struct {
	// Torn is the change of a memory in whose midst power went, "erasure" or "page".
	Torn             string
	Why              string // it ended: cycles, mark, halt, power or crash
	Cycles           Cycles
	PC               int // where it ended, bytes
	Stack            int // bytes of stack ever used
	Interrupts       int
	InterruptLongest Cycles `json:"interrupt_longest"`
	Vectors          []Vector
	UART             UART
	Waves            []Wave
	Pins             []Pin
	Marks            []Mark
	Sections         []Section
	NOR              NOR
	SelfProg         SelfProg
	Peeks            map[string]Hex
}

// Section gives a section by its number; one that never ran is the zero Section.
func (r *Result) Section(number int) Section {
	for _, s := range r.Sections {
		if s.Number == number {
			return s
		}
	}
	return Section{}
}

// Uint is a peeked variable of up to eight bytes.
func (r *Result) Uint(symbol string) uint64 {
	var v uint64
	for i, b := range r.Peeks[symbol] {
		v |= uint64(b) << (8 * i)
	}
	return v
}

// Run runs a firmware by a script. A run that takes longer than limit of real
// time is stopped and is an error; so is one that crashes.
func Run(harness, elf string, s *Script, limit time.Duration) (*Result, error) {
	return RunWith(harness, elf, s, limit, nil)
}

// RunWith has a program be the computer on the serial line, in periods of the script's
// Talk: it is given what the chip has sent since the last one, and gives what is sent
// from now on, at most 65535 bytes. The simulated time stands still meanwhile.
func RunWith(harness, elf string, s *Script, limit time.Duration, computer func(heard []byte) []byte) (*Result, error) {
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	cmd := exec.CommandContext(ctx, harness, elf)
	cmd.Stdin = strings.NewReader(s.b.String())
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	if computer != nil {
		end, err := attend(cmd, computer)
		if err != nil {
			return nil, fmt.Errorf("sim: %w", err)
		}
		defer end()
	}
	out, err := cmd.Output()
	if err != nil {
		if ctx.Err() != nil {
			err = ctx.Err()
		}
		return nil, fmt.Errorf("sim: running %s: %w\n%s", elf, err, bytes.TrimSpace(stderr.Bytes()))
	}
	r := &Result{}
	if err := json.Unmarshal(out, r); err != nil {
		return nil, fmt.Errorf("sim: the harness's report: %w", err)
	}
	if r.Why == "crash" {
		return r, fmt.Errorf("sim: %s crashed at 0x%x after %d cycles\n%s", elf, r.PC, r.Cycles, bytes.TrimSpace(stderr.Bytes()))
	}
	return r, nil
}

// attend answers a harness over two pipes until it ends.
func attend(cmd *exec.Cmd, computer func([]byte) []byte) (end func(), err error) {
	in, told, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	heard, out, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	cmd.ExtraFiles = []*os.File{in, out} // descriptors 3 and 4
	done := make(chan struct{})
	go func() {
		defer close(done)
		from := bufio.NewReader(heard)
		var n [2]byte
		for {
			if _, err := io.ReadFull(from, n[:]); err != nil {
				return
			}
			b := make([]byte, int(n[0])|int(n[1])<<8)
			if _, err := io.ReadFull(from, b); err != nil {
				return
			}
			b = computer(b)
			if _, err := told.Write(append([]byte{uint8(len(b)), uint8(len(b) >> 8)}, b...)); err != nil {
				return
			}
		}
	}()
	return func() {
		in.Close()
		out.Close()
		<-done
		told.Close()
		heard.Close()
	}, nil
}
