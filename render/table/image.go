package table

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"io"
	"sort"
	"strings"
)

// Image is the bytes of a controller's flash that are defined, in runs that do
// not touch, ascending.
type Image []Run

// Run is neighbouring bytes from an address on.
type Run struct {
	At    uint32
	Bytes []byte
}

// End is the address after the run's last byte.
func (r Run) End() uint32 { return r.At + uint32(len(r.Bytes)) }

// ReadHex reads Intel HEX as a firmware build writes it: records of type 00, 01,
// 02 and 04, and those of start addresses, 03 and 05, which a controller that
// starts at a vector does not need. A wrong sum, a record after the end, a file
// without one, and bytes that are defined twice are refused with their line.
func ReadHex(r io.Reader) (Image, error) {
	in := bufio.NewScanner(r)
	var runs []Run
	base, n, ended := uint32(0), 0, false
	bad := func(format string, args ...any) error {
		return fmt.Errorf("table: line %d of the HEX file: %s: %w", n, fmt.Sprintf(format, args...), ErrData)
	}
	for in.Scan() {
		line := strings.TrimSpace(in.Text())
		if n++; line == "" {
			continue
		}
		if ended {
			return nil, bad("a record after the end record")
		}
		digits, ok := strings.CutPrefix(line, ":")
		b, err := hex.DecodeString(digits)
		if !ok || err != nil || len(b) < 5 || len(b) != int(b[0])+5 {
			return nil, bad("no whole record")
		}
		sum := byte(0)
		for _, v := range b {
			sum += v
		}
		if sum != 0 {
			return nil, bad("its sum is wrong by %d", sum)
		}
		data, low := b[4:len(b)-1], uint32(b[1])<<8|uint32(b[2])
		switch {
		case b[3] == 0:
			if low+uint32(len(data)) > 1<<16 {
				return nil, bad("a record that passes 64 KiB")
			}
			if k := len(runs) - 1; k >= 0 && runs[k].End() == base+low {
				runs[k].Bytes = append(runs[k].Bytes, data...)
			} else if len(data) > 0 {
				runs = append(runs, Run{base + low, append([]byte(nil), data...)})
			}
		case b[3] == 1:
			ended = true
		case b[3] == 2 && len(data) == 2:
			base = (uint32(data[0])<<8 | uint32(data[1])) << 4
		case b[3] == 4 && len(data) == 2:
			base = (uint32(data[0])<<8 | uint32(data[1])) << 16
		case b[3] == 3 || b[3] == 5:
		default:
			return nil, bad("a record of type %02x with %d bytes", b[3], len(data))
		}
	}
	if err := in.Err(); err != nil {
		return nil, fmt.Errorf("table: reading the HEX file: %w", err)
	}
	if !ended {
		return nil, fmt.Errorf("table: the HEX file has no end record: it was cut, or is none: %w", ErrCut)
	}
	return merge(runs)
}

// merge orders runs and joins those that touch.
func merge(runs []Run) (Image, error) {
	sort.SliceStable(runs, func(a, b int) bool { return runs[a].At < runs[b].At })
	var out Image
	for _, r := range runs {
		k := len(out) - 1
		switch {
		case k >= 0 && r.At < out[k].End():
			return nil, fmt.Errorf("table: byte %05x is defined twice, in %05x to %05x and from %05x on: %w", r.At, out[k].At, out[k].End()-1, r.At, ErrData)
		case k >= 0 && r.At == out[k].End():
			out[k].Bytes = append(out[k].Bytes, r.Bytes...)
		default:
			out = append(out, r)
		}
	}
	return out, nil
}

// Place puts a table into the image: at an address, or with at below 0 as high
// as the flash allows, on a border of a page of 256 bytes, so that the firmware
// may grow. It refuses what would not fit or lie over the firmware, and gives the
// address.
func (m Image) Place(table []byte, at int64, flash int64) (Image, uint32, error) {
	const page = 256
	if at < 0 {
		if at = (flash - int64(len(table))) / page * page; at < 0 {
			return nil, 0, fmt.Errorf("table: %d bytes, the flash has %d: %w", len(table), flash, ErrLimit)
		}
	}
	end := at + int64(len(table))
	if end > flash {
		return nil, 0, fmt.Errorf("table: %d bytes from %05x on end at %05x, the flash at %05x: choose a lower address: %w", len(table), at, end, flash, ErrLimit)
	}
	for _, r := range m {
		if int64(r.End()) > flash {
			return nil, 0, fmt.Errorf("table: the firmware reaches up to %05x, the flash ends at %05x: it was built for another controller: %w", r.End(), flash, ErrLimit)
		}
		if int64(r.At) < end && at < int64(r.End()) {
			return nil, 0, fmt.Errorf("table: from %05x to %05x it would lie over the firmware from %05x to %05x: shorten the show, or move what is there: %w",
				at, end-1, r.At, r.End()-1, ErrLimit)
		}
	}
	out, err := merge(append(append(Image{}, m...), Run{uint32(at), table}))
	return out, uint32(at), err
}

// WriteHex writes the image as Intel HEX, as the function of that name does.
func (m Image) WriteHex(w io.Writer) error {
	out := bufio.NewWriter(w)
	upper := -1
	for _, r := range m {
		upper = hexRun(out, r.Bytes, r.At, upper)
	}
	hexRecord(out, 1, 0, nil)
	return out.Flush()
}
