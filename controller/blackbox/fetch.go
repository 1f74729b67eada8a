package blackbox

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"paneglow/controller/link"
)

// patience is for what waits in the controller's memory: reading sends it on its
// way into the store.
const patience = 100 * time.Millisecond

// Fetch reads a controller's black box while its show goes on. now gives the time
// that is written down with it.
func Fetch(ctx context.Context, c *link.Conn, id link.Identity, now func() time.Time) (*Log, error) {
	l := &Log{Board: boardName(id), Firmware: id.Firmware, Panel: id.Layout}
	if err := l.take(ctx, c); err != nil {
		return nil, err
	}
	// What came into force up to now waits no longer than the next question.
	counts, err := c.Ask(ctx, link.Counters, nil)
	if err != nil {
		return nil, fmt.Errorf("asking for the counters: %w", err)
	}
	n, err := link.ParseCounters(counts)
	if err != nil {
		return nil, err
	}
	l.Read = now().Truncate(time.Second)
	for quiet := 0; quiet < 2; {
		before := len(l.Entries)
		if err := l.take(ctx, c); err != nil {
			return nil, err
		}
		if quiet++; len(l.Entries) > before {
			quiet = 0
		}
		select {
		case <-time.After(patience):
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	if int(link.Refreshes) < len(n) {
		l.Refreshes = n[link.Refreshes]
	}
	return l, nil
}

func boardName(id link.Identity) string {
	n := len(id.Board)
	for n > 0 && (id.Board[n-1] == 0 || id.Board[n-1] == ' ') {
		n--
	}
	return string(id.Board[:n])
}

// take reads what comes after the entries that are here.
func (l *Log) take(ctx context.Context, c *link.Conn) error {
	for tries := 0; ; {
		want := uint32(0)
		if k := len(l.Entries); k > 0 {
			want = l.Entries[k-1].Number + 1
		}
		got, err := c.Ask(ctx, link.Log, binary.LittleEndian.AppendUint32(nil, want))
		var answer *link.StatusError
		if errors.As(err, &answer) && answer.Status == link.Busy && tries < 50 {
			tries++ // a unit is being erased
			select {
			case <-time.After(patience):
				continue
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		if errors.As(err, &answer) && answer.Status == link.Unknown {
			return fmt.Errorf("this controller keeps no black box: its firmware was built without one: %w", err)
		}
		if err != nil {
			return fmt.Errorf("reading the black box from record %d on: %w", want, err)
		}
		n, err := l.add(want, got)
		if err != nil || n == 0 {
			return err
		}
		tries = 0
	}
}

// add takes an answer's records, and gives how many they were.
func (l *Log) add(want uint32, b []byte) (int, error) {
	if len(b) < 4 || (len(b)-4)%Size != 0 {
		return 0, fmt.Errorf("%w: records of %d bytes", link.ErrAnswer, len(b))
	}
	first := binary.LittleEndian.Uint32(b)
	n := (len(b) - 4) / Size
	if n > 0 && first < want {
		return 0, fmt.Errorf("%w: record %d, want %d", link.ErrAnswer, first, want)
	}
	if len(l.Entries)+n > mostEntries {
		return 0, fmt.Errorf("%w: more than %d records", link.ErrAnswer, mostEntries)
	}
	for i := range n {
		e := Entry{Number: first + uint32(i)}
		copy(e.Bytes[:], b[4+i*Size:])
		l.Entries = append(l.Entries, e)
	}
	return n, nil
}
