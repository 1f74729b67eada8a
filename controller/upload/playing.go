package upload

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"

	"paneglow/controller/link"
	"paneglow/render/table"
)

// mostHeader is the most bytes that are read in search of a header, or of the
// names in the notes.
const mostHeader = 1 << 16

// readBytes is how much of a table one message reads back.
const readBytes = 64

// errOutside is returned for a place behind the table's end.
var errOutside = errors.New("upload: behind the end of the table in force")

// Source is where the table that plays stands.
type Source int

// Sources.
const (
	Unknown  Source = iota // nothing plays, or the firmware is of before this was asked
	Uploaded               // in the slot in force
	BuiltIn                // in the firmware
)

// PlaysFrom tells where the table that plays stands: that one was switched to does not
// say that the player could begin with it.
func PlaysFrom(ctx context.Context, c *link.Conn) (Source, error) {
	const length = 8 // in the header: its own
	at := 0
	for range 2 { // its beginning, and the checksum at its end
		plays, err := readSoon(ctx, c, playing, at, readBytes)
		if errors.Is(err, errOutside) {
			return Unknown, nil
		}
		if err != nil {
			return Unknown, err
		}
		slot, err := readSoon(ctx, c, inForce, at, readBytes)
		if errors.Is(err, errOutside) || err == nil && !bytes.Equal(plays, slot) {
			return BuiltIn, nil
		}
		if err != nil {
			return Unknown, err
		}
		if at == 0 {
			at = int(binary.LittleEndian.Uint32(plays[length:])) - readBytes
		}
	}
	return Uploaded, nil
}

// Playing reads back the header of the table in force, which is the one that plays
// where PlaysFrom says so. It is nil when that is of another version or damaged, or
// when no slot holds a table.
func Playing(ctx context.Context, c *link.Conn) (*table.Header, error) {
	var b []byte
	for len(b) < mostHeader {
		got, err := readBack(ctx, c, len(b), readBytes)
		if errors.Is(err, errOutside) {
			return nil, nil // it ends before its header does
		}
		if err != nil {
			return nil, err
		}
		b = append(b, got...)
		h, err := table.ReadHeader(b)
		switch {
		case err == nil:
			return &h, nil
		case !errors.Is(err, table.ErrCut):
			return nil, nil
		}
	}
	return nil, nil
}

// PlayingNames is Playing with title and names, which stand in the notes behind
// the frames; they are not verified. When the notes are not there the header has
// the numbers that ReadHeader gives in place of names.
func PlayingNames(ctx context.Context, c *link.Conn) (*table.Header, error) {
	h, err := Playing(ctx, c)
	if h == nil || err != nil {
		return h, err
	}
	var notes []byte
	for len(notes) < mostHeader {
		n := min(readBytes, h.TableLength-h.NotesOffset-len(notes))
		if n <= 0 {
			return h, nil
		}
		got, err := readBack(ctx, c, h.NotesOffset+len(notes), n)
		if errors.Is(err, errOutside) {
			return h, nil // it was loaded without its notes
		}
		if err != nil {
			return nil, err
		}
		notes = append(notes, got...)
		named := *h
		if err := named.NameFrom(notes); err == nil {
			return &named, nil
		} else if !errors.Is(err, table.ErrCut) {
			return h, nil
		}
	}
	return h, nil
}

// readBack reads n bytes of the table in force.
func readBack(ctx context.Context, c *link.Conn, at, n int) ([]byte, error) {
	return readFrom(ctx, c, inForce, at, n)
}
