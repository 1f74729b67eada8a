package port

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"slices"
	"strings"
	"time"

	"go.bug.st/serial"
)

// Errors of Open; the text beside them says what to do.
var (
	ErrTarget  = errors.New("not a target")
	ErrBusy    = errors.New("another program holds the port")
	ErrMissing = errors.New("no such port")
	ErrDenied  = errors.New("not allowed to open the port")
)

// errNotSerial is told of a device or a file of another kind.
var errNotSerial = errors.New("it is no serial device")

// Bauds a target may be opened with. The controller's UART makes 250000, 500000
// and 1000000 exactly at 16 MHz, and 115200 2.1 % too fast.
var Bauds = []int{9600, 19200, 38400, 57600, 115200, 230400, 250000, 500000, 1000000}

// Open opens a target:
//
//	/dev/ttyACM0, COM3     a serial device or pseudo-terminal, at a baud rate, 8N1
//	tcp:HOST:PORT          a TCP address
//	exec:COMMAND           the standard streams of a command, run by the shell
func Open(ctx context.Context, target string, baud int) (io.ReadWriteCloser, error) {
	if err := Check(ctx, target, baud); err != nil {
		return nil, err
	}
	if rest, ok := strings.CutPrefix(target, "tcp:"); ok {
		return openTCP(ctx, rest)
	}
	if rest, ok := strings.CutPrefix(target, "exec:"); ok {
		return openCommand(rest)
	}
	return openSerial(target, baud)
}

// Check looks at a target's words without opening anything: what it refuses, with an
// ErrTarget, can never be opened.
func Check(ctx context.Context, target string, baud int) error {
	if address, ok := strings.CutPrefix(target, "tcp:"); ok {
		host, service, err := net.SplitHostPort(address)
		if err == nil && strings.Contains(host, "/") {
			err = errors.New("a host's name has no slashes")
		}
		if err == nil {
			_, err = net.DefaultResolver.LookupPort(ctx, "tcp", service)
		}
		if err != nil {
			return fmt.Errorf("%w: tcp:%s: %w; it is tcp:HOST:PORT", ErrTarget, address, err)
		}
		return nil
	}
	if text, ok := strings.CutPrefix(target, "exec:"); ok {
		if strings.TrimSpace(text) == "" {
			return fmt.Errorf("%w: exec: without a command", ErrTarget)
		}
		return nil
	}
	if target == "" {
		return fmt.Errorf("%w: %q; give a device, tcp:HOST:PORT or exec:COMMAND", ErrTarget, target)
	}
	if !slices.Contains(Bauds, baud) {
		return fmt.Errorf("%w: %d baud; the rates are %v", ErrTarget, baud, Bauds)
	}
	return nil
}

func openTCP(ctx context.Context, address string) (io.ReadWriteCloser, error) {
	d := net.Dialer{Timeout: 10 * time.Second}
	c, err := d.DialContext(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("opening tcp:%s: %w; is the name right, the machine on, and does a program there pass the controller's line on", address, err)
	}
	return c, nil
}

func openSerial(name string, baud int) (io.ReadWriteCloser, error) {
	if _, err := os.Stat(name); errors.Is(err, os.ErrNotExist) && strings.HasPrefix(name, "/") {
		return nil, fmt.Errorf("opening %s: %w; %s", name, ErrMissing, present())
	}
	release, err := hold(name)
	if err != nil {
		return nil, explain(name, err)
	}
	p, err := serial.Open(name, &serial.Mode{BaudRate: baud})
	if err != nil {
		release()
		return nil, explain(name, err)
	}
	return &device{p, name, release}, nil
}

// present names the ports that are there.
func present() string {
	list, err := serial.GetPortsList()
	if err != nil || len(list) == 0 {
		return "no serial port is there: plug the controller in"
	}
	return "ports that are there: " + strings.Join(list, ", ")
}

// explain tells a reason with its cure.
func explain(name string, err error) error {
	var pe *serial.PortError
	code := serial.PortErrorCode(-1)
	if errors.As(err, &pe) {
		code = pe.Code()
	}
	switch {
	case code == serial.PortBusy || errors.Is(err, errBusy):
		who := holders(name)
		if who == "" {
			who = "which one only its owner or an administrator can see"
		}
		return fmt.Errorf("opening %s: %w: %s; end it, or let it pass the bytes on", name, ErrBusy, who)
	case code == serial.PermissionDenied || errors.Is(err, os.ErrPermission):
		return fmt.Errorf("opening %s: %w; the group of the device may (often dialout): add the user to it and log in anew", name, ErrDenied)
	case errors.Is(err, errNotSerial):
		return fmt.Errorf("opening %s: %w; %s", name, err, present())
	case code == serial.PortNotFound || errors.Is(err, os.ErrNotExist):
		return fmt.Errorf("opening %s: %w; %s", name, ErrMissing, present())
	}
	return fmt.Errorf("opening %s: %w", name, err)
}

// device is a serial port whose errors name it.
type device struct {
	serial.Port
	name    string
	release func()
}

func (d *device) Close() error {
	defer d.release()
	return d.Port.Close()
}

func (d *device) Read(b []byte) (int, error) {
	n, err := d.Port.Read(b)
	if n == 0 && err == nil && len(b) > 0 {
		// Without a time limit a read that gives nothing is the port's end: a
		// device that was unplugged reads so on some systems.
		err = io.EOF
	}
	if err != nil {
		err = fmt.Errorf("%s: %w", d.name, err)
	}
	return n, err
}

func (d *device) Write(b []byte) (int, error) {
	// A serial port may take part of what it is given.
	done := 0
	for done < len(b) {
		n, err := d.Port.Write(b[done:])
		done += n
		if err != nil {
			return done, fmt.Errorf("%s: %w", d.name, err)
		}
		if n == 0 {
			return done, fmt.Errorf("%s: %w", d.name, io.ErrShortWrite)
		}
	}
	return done, nil
}
