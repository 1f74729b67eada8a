package upload

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"paneglow/controller/link"
	"paneglow/render/table"
)

// ErrUnread is returned when the table that plays cannot be read back.
var ErrUnread = errors.New("no table can be read back from this firmware")

// Where a read message looks.
const (
	inForce = 0 // the slot in force
	playing = 2 // what plays, in a slot or in the firmware
)

// Compared says what Compare has found.
type Compared struct {
	Board link.Identity
	Bytes int // that were read back and are the same, from the first on
	All   int // that a controller reads of the table: all but its notes
	// Slot: the slot in force was read, because what plays was not given: nothing
	// does, or the firmware is of before this was asked.
	Slot bool
	// Differs is the offset of the first byte that is another one, -1 when none is;
	// Is and Should are that byte on the board and in the table.
	Differs    int
	Is, Should byte
}

// Compare reads back the table that plays, wherever it was put by whatever means, and
// compares it byte for byte with a table, in the form that Upload sends or as
// export writes it. Nothing on the controller is changed. Errors: ErrUnread where
// nothing plays or the firmware is of before this was asked; those of the line.
func Compare(ctx context.Context, c *link.Conn, t *table.Table, progress func(done, all int)) (r Compared, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("compare: %w", err)
		}
	}()
	if r.Board, err = c.Hello(ctx); err != nil {
		return r, err
	}
	slim, err := t.Slim()
	if err != nil {
		return r, err
	}
	// The two differ in the header, which names the length of the notes.
	forms := [][]byte{t.ForController(), slim.ForController()}
	r.All, r.Differs = len(forms[0]), -1
	which := uint8(playing)
	for r.Bytes < r.All {
		n := min(readBytes, r.All-r.Bytes)
		got, err := readSoon(ctx, c, which, r.Bytes, n)
		switch {
		case !errors.Is(err, errOutside):
		case r.Bytes == 0 && which == playing && r.Board.Installed > 0:
			which, r.Slot = inForce, true
			continue
		case r.Bytes == 0:
			return r, fmt.Errorf("%w: nothing plays, or it was built before this could be asked; build it with this version of the player", ErrUnread)
		default: // it is shorter
			r.Differs = r.Bytes
			return r, nil
		}
		if err != nil {
			return r, err
		}
		if k := agree(&forms, r.Bytes, got); k < n {
			r.Bytes += k
			r.Differs, r.Is, r.Should = r.Bytes, got[k], forms[0][r.Bytes]
			return r, nil
		}
		r.Bytes += n
		if progress != nil {
			progress(r.Bytes, r.All)
		}
	}
	return r, nil
}

// agree keeps the forms that hold got at an offset; where none does, the one that
// agrees longest, and gives how many bytes that are.
func agree(forms *[][]byte, at int, got []byte) int {
	var same [][]byte
	most, best := -1, (*forms)[0]
	for _, f := range *forms {
		k := 0
		for k < len(got) && f[at+k] == got[k] {
			k++
		}
		if k == len(got) {
			same = append(same, f)
		}
		if k > most {
			most, best = k, f
		}
	}
	if len(same) == 0 {
		same = [][]byte{best}
	}
	*forms = same
	return most
}

// readSoon is readFrom of a controller that may begin with a table, or whose memory
// may write.
func readSoon(ctx context.Context, c *link.Conn, which uint8, at, n int) ([]byte, error) {
	got, err := readFrom(ctx, c, which, at, n)
	for k := 0; k < 100 && link.IsStatus(err, link.Busy); k++ {
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(20 * time.Millisecond):
		}
		got, err = readFrom(ctx, c, which, at, n)
	}
	return got, err
}

// readFrom reads n bytes of one of the places; errOutside where there are none.
func readFrom(ctx context.Context, c *link.Conn, which uint8, at, n int) ([]byte, error) {
	q := binary.LittleEndian.AppendUint32([]byte{which}, uint32(at))
	got, err := c.Ask(ctx, link.Read, append(q, uint8(n)))
	if link.IsStatus(err, link.OutOfRange) {
		return nil, errOutside
	}
	if err != nil {
		return nil, err
	}
	if len(got) != n {
		return nil, fmt.Errorf("%w: %d bytes read, %d were asked for", link.ErrAnswer, len(got), n)
	}
	return got, nil
}
