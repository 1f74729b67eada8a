package sim

import (
	"bufio"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"testing/synctest"
	"time"
)

// ErrPower is returned when the simulated board has lost its power.
var ErrPower = errors.New("sim: power has gone")

// Live is a run in which a program answers what the chip says: a serial line to a
// simulated board. Time passes only while the program waits, in steps: how late it
// answers, as over a USB line that is asked once a millisecond.
//
// It belongs into a bubble of testing/synctest, whose clock goes with the
// board's; so two runs are equal to the cycle.
type Live struct {
	cmd  *exec.Cmd
	in   io.WriteCloser
	out  *bufio.Reader
	errs *os.File // not a pipe: its copying would be a goroutine that synctest waits for
	step time.Duration

	say, said chan []byte
	stop      chan chan struct{}
	gone      chan struct{}
	rest      []byte
	Now       Cycles // of the board
	Result    Result // after Close
}

// Start runs a firmware by a script until the script's end or Close.
func Start(harness, elf string, s *Script, step time.Duration) (*Live, error) {
	l := &Live{cmd: exec.CommandContext(context.Background(), harness, elf), step: step,
		say: make(chan []byte, 256), said: make(chan []byte, 4096), stop: make(chan chan struct{}), gone: make(chan struct{})}
	var err error
	if l.errs, err = os.CreateTemp("", "paneglow-live-"); err != nil {
		return nil, err
	}
	l.cmd.Stderr = l.errs
	if l.in, err = l.cmd.StdinPipe(); err != nil {
		return nil, err
	}
	out, err := l.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	l.out = bufio.NewReaderSize(out, 1<<16)
	if err := l.cmd.Start(); err != nil {
		return nil, fmt.Errorf("sim: %w", err)
	}
	if _, err := io.WriteString(l.in, s.b.String()+"live\n"); err != nil {
		return nil, fmt.Errorf("sim: %w", err)
	}
	go l.run()
	return l, nil
}

// run lets time pass whenever every goroutine of the bubble waits.
func (l *Live) run() {
	for {
		synctest.Wait()
		var b []byte
		for more := true; more; {
			select {
			case p := <-l.say:
				b = append(b, p...)
			case done := <-l.stop:
				close(done)
				return
			default:
				more = false
			}
		}
		said, err := l.pass(b)
		if err != nil {
			close(l.gone)
			close(<-l.stop)
			return
		}
		time.Sleep(l.step)
		if len(said) > 0 {
			l.said <- said
		}
	}
}

func (l *Live) pass(b []byte) ([]byte, error) {
	text := "-"
	if len(b) > 0 {
		text = hex.EncodeToString(b)
	}
	answer, err := l.ask(fmt.Sprintf("run %d %s", int64(l.step)*(Hz/1_000_000)/1000, text))
	if err != nil {
		return nil, err
	}
	var digits string
	if n, _ := fmt.Sscanf(answer, "at %d %s", &l.Now, &digits); n >= 1 {
		return hex.DecodeString(digits)
	}
	fmt.Sscanf(answer, "gone %d", &l.Now)
	return nil, ErrPower
}

func (l *Live) ask(command string) (string, error) {
	if _, err := io.WriteString(l.in, command+"\n"); err != nil {
		return "", fmt.Errorf("sim: %w", err)
	}
	answer, err := l.out.ReadString('\n')
	if err != nil {
		return "", fmt.Errorf("sim: %w", err)
	}
	return strings.TrimSpace(answer), nil
}

// Read gives what the chip has sent.
func (l *Live) Read(p []byte) (int, error) {
	if len(l.rest) == 0 {
		select {
		case l.rest = <-l.said:
		case <-l.gone:
			return 0, ErrPower
		}
	}
	n := copy(p, l.rest)
	l.rest = l.rest[n:]
	return n, nil
}

// Write says something to the chip, after what was said before.
func (l *Live) Write(p []byte) (int, error) {
	select {
	case <-l.gone:
		return 0, ErrPower
	case l.say <- append([]byte(nil), p...):
		return len(p), nil
	}
}

// Close ends the run and reads its result. The memories' files are written then.
func (l *Live) Close() error {
	done := make(chan struct{})
	l.stop <- done
	<-done
	select {
	case <-l.gone:
	default:
		close(l.gone)
	}
	_, err := io.WriteString(l.in, "end\n")
	l.in.Close()
	report, readErr := io.ReadAll(l.out)
	waitErr := l.cmd.Wait()
	errs, _ := os.ReadFile(l.errs.Name())
	l.errs.Close()
	os.Remove(l.errs.Name())
	if waitErr != nil {
		return fmt.Errorf("sim: %w\n%s", waitErr, errs)
	}
	if err = errors.Join(err, readErr); err != nil {
		return fmt.Errorf("sim: %w", err)
	}
	if err := json.Unmarshal(report, &l.Result); err != nil {
		return fmt.Errorf("sim: the harness's report: %w", err)
	}
	return nil
}

// NOR is what a serial flash was told to do.
type NOR struct {
	Pages, Sectors int
	Early          int // commands while it was busy
	Ignored        int // writes and erasures without a write enable
}

// SelfProg is what the firmware did to the chip's own flash.
type SelfProg struct {
	Pages, Erasures int
	Cycles, Longest Cycles
}

// NOR puts a serial NOR flash onto the SPI pins, chip select on B0; its contents
// stand in a file. page and sector are its times.
func (s *Script) NOR(file string, page, sector time.Duration) {
	s.add("nor %s %g %g", file, us(page), us(sector))
}

// SelfProgram has the flash written by the firmware, in its times, under the rules
// of the data sheet: a run that breaks one is an error.
func (s *Script) SelfProgram(erase, write time.Duration) {
	s.add("selfprog %g %g", us(erase), us(write))
}

// Load puts a file's bytes into the flash before the start.
func (s *Script) Load(address int, file string) { s.add("load %d %s", address, file) }

// Keep has a file hold the flash from an address to the boot section, from run to
// run.
func (s *Script) Keep(address int, file string) { s.add("keep %d %s", address, file) }

// Cut has power go in the midst of the n-th change of a memory; which of its bits
// have changed is drawn.
func (s *Script) Cut(n int, seed uint32) { s.add("cut %d %d", n, seed) }
