package table

import "errors"

// The kinds of failure. Errors of this package wrap one of them, so that
// errors.Is tells what to do.
var (
	// ErrCut: the table ends before its own length. Fetch it again.
	ErrCut = errors.New("table is cut short")
	// ErrExtra: bytes follow the table's end.
	ErrExtra = errors.New("bytes after the table's end")
	// ErrChecksum: a block's CRC-32 does not match: some byte was changed.
	ErrChecksum = errors.New("checksum does not match")
	// ErrNotTable: the first bytes are not those of a frame table.
	ErrNotTable = errors.New("not a frame table")
	// ErrVersion: written by another version of Paneglow. Export the show again.
	ErrVersion = errors.New("unknown version of the format")
	// ErrKind: a clip is stored in a way that this reader does not know.
	ErrKind = errors.New("unknown kind of clip")
	// ErrData: the checksums match and the content contradicts itself: the
	// writer was wrong, or someone made the table by hand.
	ErrData = errors.New("table contradicts itself")
	// ErrLimit: the table is whole and larger than the reader allows.
	ErrLimit = errors.New("table is over the reader's limits")
)
