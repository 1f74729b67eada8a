package port

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"sync"
	"time"
)

// command is a program whose standard streams are the line. What it says on
// standard error goes to this program's.
type command struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	out io.ReadCloser

	once  sync.Once
	ended error // of the first Close
}

func openCommand(text string) (io.ReadWriteCloser, error) {
	cmd := shell(text)
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, fmt.Errorf("starting %q: %w", text, err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, fmt.Errorf("starting %q: %w", text, err)
	}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("starting %q: %w", text, err)
	}
	return &command{cmd: cmd, in: in, out: out}, nil
}

func (c *command) Read(b []byte) (int, error)  { return c.out.Read(b) }
func (c *command) Write(b []byte) (int, error) { return c.in.Write(b) }

// Close ends the command: its input ends, and when it has not ended two seconds
// later it is killed. Closing again waits for that and gives the same.
func (c *command) Close() error {
	c.once.Do(func() { c.ended = c.end() })
	return c.ended
}

func (c *command) end() error {
	c.in.Close()
	done := make(chan error, 1)
	go func() { done <- c.cmd.Wait() }()
	select {
	case err := <-done:
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			return fmt.Errorf("the command ended with %v", exit)
		}
		return err
	case <-time.After(2 * time.Second):
		c.cmd.Process.Kill()
		<-done
		return errors.New("the command went on after its input had ended, and was killed")
	}
}
