package upload

import (
	"bytes"
	"context"
	"encoding/binary"
	"hash/crc32"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
)

func TestUpload(t *testing.T) {
	a, b := panel(t, 4, 30, 10, 20, 30), panel(t, 4, 30, 10, 99, 30)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	var done []int
	r, err := board.try(a, Options{Progress: func(n, all int) {
		require.Equal(t, len(a.Bytes()), all)
		done = append(done, n)
	}}, link.Options{})
	require.NoError(t, err)
	require.Equal(t, uint32(1), r.Installed)
	require.Equal(t, len(a.Bytes()), r.Sent)
	require.IsNonDecreasing(t, done)
	require.Equal(t, len(a.Bytes()), done[len(done)-1])
	require.True(t, bytes.Equal(a.Bytes(), board.shows()))

	// The same again: nothing is done.
	before := board.erasures()
	r, err = board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	require.True(t, r.Same)
	require.Equal(t, before, board.erasures())

	// Another colour in one clip of three: the others are copied on the board.
	r, err = board.try(b, Options{}, link.Options{})
	require.NoError(t, err)
	require.Equal(t, uint32(2), r.Installed)
	require.True(t, bytes.Equal(b.Bytes(), board.shows()))
	require.Equal(t, len(b.Bytes()), r.Sent+r.Copied+r.Found)
	require.Equal(t, a.Clips[0].Length+a.Clips[2].Length+8, r.Copied)
	require.Equal(t, uint32(2), board.power(), "and after power was off")
	require.True(t, bytes.Equal(b.Bytes(), board.shows()))

	// Back to the first: its slot still holds it.
	r, err = board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	require.Equal(t, len(a.Bytes()), r.Found)
	require.Zero(t, r.Sent)
	require.True(t, bytes.Equal(a.Bytes(), board.shows()))

	r, err = board.try(b, Options{Whole: true}, link.Options{})
	require.NoError(t, err)
	require.Equal(t, len(b.Bytes()), r.Sent)
	require.True(t, bytes.Equal(b.Bytes(), board.shows()))
}

// A long life: the records go round through their cells, and no unit of them
// is erased more often than its share.
func TestManySwitches(t *testing.T) {
	a, b := panel(t, 4, 3, 10), panel(t, 4, 3, 20)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	for i := range uint32(60) {
		tab := a
		if i%2 == 1 {
			tab = b
		}
		r, err := board.try(tab, Options{}, link.Options{})
		require.NoError(t, err)
		require.Equal(t, i+1, r.Installed)
		require.Equal(t, i+1, board.power())
		require.True(t, bytes.Equal(tab.Bytes(), board.shows()))
	}
	// 60 records in cells of 32 bytes, eight to a unit: seven full units after the
	// first two that were fresh.
	e := board.erasures()
	require.Equal(t, []uint32{3, 3}, e[:2])
}

// Tables whose blocks changed places, or are others of the same length, have the
// same CRC-32/ISO-HDLC: each block ends in its own. They have not the same Sum.
//
// Source of the check value: the public catalogue of CRC parameters.
func TestSumTellsBlocksApart(t *testing.T) {
	require.Equal(t, uint32(0xe3069283), Sum([]byte("123456789")))
	block := func(s string) []byte {
		return binary.LittleEndian.AppendUint32([]byte(s), crc32.ChecksumIEEE([]byte(s)))
	}
	one, two := append(block("rest"), block("turn")...), append(block("turn"), block("rest")...)
	require.Equal(t, crc32.ChecksumIEEE(one), crc32.ChecksumIEEE(two), "which is why")
	require.NotEqual(t, Sum(one), Sum(two))
}

func TestRefusals(t *testing.T) {
	a, b := panel(t, 4, 10, 10, 20), panel(t, 4, 10, 11, 20)
	wide := panel(t, 5, 10, 10)
	program := buildBoard(t)
	board := startBoard(t, program, a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	before := board.erasures()
	refuse := func(what error, err error) {
		t.Helper()
		require.ErrorIs(t, err, what)
		require.Equal(t, before, board.erasures(), "nothing is erased")
		require.True(t, bytes.Equal(a.Bytes(), board.shows()))
	}
	_, err = board.try(wide, Options{}, link.Options{})
	refuse(ErrLayout, err)
	require.ErrorContains(t, err, "this machine's own file")
	board.loads(true)
	_, err = board.try(b, Options{}, link.Options{})
	refuse(ErrBusy, err)
	require.ErrorContains(t, err, "stand still")
	board.loads(false)

	// The player's own look comes after the memory was written, before the switch.
	board.fits(false)
	_, err = board.try(b, Options{}, link.Options{})
	require.ErrorIs(t, err, ErrFirmware)
	require.NotErrorIs(t, err, ErrLayout)
	require.ErrorContains(t, err, "export --c-header")
	require.True(t, bytes.Equal(a.Bytes(), board.shows()))
	board.fits(true)
	_, err = board.try(b, Options{}, link.Options{})
	require.NoError(t, err)
	require.True(t, bytes.Equal(b.Bytes(), board.shows()))

	// A memory that takes no more bits.
	board.worn(1000)
	_, err = board.try(a, Options{Whole: true}, link.Options{})
	require.ErrorIs(t, err, ErrMemory)
	require.True(t, bytes.Equal(b.Bytes(), board.shows()))
	require.Equal(t, uint32(2), board.power())
	board.worn(0)

	big := panel(t, 4, 60, 10, 20, 30)
	u := &uploader{b: big.Bytes(), t: big}
	u.Board = link.Identity{Slots: 2, SlotSize: uint32(len(big.Bytes()) - 1), Layout: big.PanelSum()}
	require.ErrorIs(t, u.fits(), ErrTooLarge)
	u.Board.SlotSize++
	require.NoError(t, u.fits())
	u.Board.Layout ^= 1
	require.ErrorIs(t, u.fits(), ErrLayout, "before anything is asked")
	u.Board.Slots = 0
	require.ErrorIs(t, u.fits(), ErrNoSlots)
}

// Whoever stands before a line that ended is told what plays and what to do.
func TestTheLineEnds(t *testing.T) {
	a, b := panel(t, 4, 30, 10, 20, 30), panel(t, 4, 30, 11, 20, 30)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	l := board.line()
	_, err = Upload(t.Context(), link.NewConn(&short{l, 500}, link.Options{}), b, Options{})
	require.ErrorIs(t, err, link.ErrClosed)
	require.ErrorIs(t, err, errPulled)
	require.ErrorContains(t, err, "the show that played plays on")
	require.True(t, bytes.Equal(a.Bytes(), board.shows()))

	ctx, interrupt := context.WithCancel(t.Context())
	l = board.line()
	_, err = Upload(ctx, link.NewConn(l, link.Options{}), b, Options{Progress: func(int, int) { interrupt() }})
	require.ErrorIs(t, err, context.Canceled)
	require.ErrorContains(t, err, "goes on where this stopped")

	// The answer to the switch is lost, and so is the line.
	l = board.line()
	board.spoil = func(p []byte) []byte {
		if len(p) > 4 && p[2] == byte(link.Switch) {
			l.Close()
		}
		return p
	}
	_, err = Upload(t.Context(), link.NewConn(l, link.Options{}), b, Options{})
	require.ErrorIs(t, err, link.ErrClosed)
	require.ErrorContains(t, err, "either the old show plays or the new one")
}

// Loads start in the midst of an upload: it stops without harm, and goes on
// where it was.
func TestLoadsStartMeanwhile(t *testing.T) {
	a, b := panel(t, 4, 30, 10, 20, 30), panel(t, 4, 30, 11, 21, 31)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	stopped := false
	var erasures []uint32
	var writes uint32
	_, err = board.try(b, Options{Progress: func(n, all int) {
		if n > all/2 && !stopped {
			stopped = true
			board.mu.Lock()
			board.loads(true)
			erasures, writes = board.counts()
			board.mu.Unlock()
		}
	}}, link.Options{})
	require.ErrorIs(t, err, ErrBusy)
	require.True(t, stopped)
	e, w := board.counts()
	require.Equal(t, erasures, e, "nothing is erased while something runs")
	require.Equal(t, writes, w, "nor written")
	require.True(t, bytes.Equal(a.Bytes(), board.shows()))
	board.loads(false)
	r, err := board.try(b, Options{}, link.Options{})
	require.NoError(t, err)
	require.True(t, bytes.Equal(b.Bytes(), board.shows()))
	require.Greater(t, r.Found, len(b.Bytes())/3)
}

// A block that the line lost costs itself and those that were under way behind it,
// not every one to come.
func TestALostBlockCostsNoOther(t *testing.T) {
	a := panel(t, 4, 60, 10, 20, 30)
	program := buildBoard(t)
	took := func(lost int) int {
		board := startBoard(t, program, a.PanelSum())
		n := 0
		board.spoil = func(p []byte) []byte {
			if len(p) > blockBytes {
				if n++; n == lost {
					return nil
				}
			}
			return p
		}
		_, err := board.try(a, Options{}, link.Options{})
		require.NoError(t, err)
		require.Greater(t, n, 8)
		require.True(t, bytes.Equal(a.Bytes(), board.shows()))
		return board.lined
	}
	whole := took(0)
	require.LessOrEqual(t, took(2)-whole, 3*link.MostWire)
}

// A slot that lost a bit is not the table, whatever its record says: the table is
// uploaded again, into the other slot. So it is when all of it is asked for.
func TestATableThatHasLostABitIsNotThere(t *testing.T) {
	a := panel(t, 4, 30, 10, 20, 30)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	slot := uint32(0) // the first upload's
	for i, at := range []int{0, a.HeaderLength - 1, a.Clips[1].Offset + 7, len(a.Bytes()) - 1} {
		board.loses(2*unit+slot*slotSize+uint32(at), uint8(i))
		require.False(t, bytes.Equal(a.Bytes(), board.shows()))
		r, err := board.try(a, Options{}, link.Options{})
		require.NoError(t, err)
		require.False(t, r.Same, "byte %d", at)
		require.EqualValues(t, i+2, r.Installed)
		require.True(t, bytes.Equal(a.Bytes(), board.shows()))
		slot ^= 1
	}
	r, err := board.try(a, Options{Whole: true}, link.Options{})
	require.NoError(t, err)
	require.False(t, r.Same)
	require.Equal(t, len(a.Bytes()), r.Sent)
}

// Everything is written, and then a load starts: the switch waits too, for its record
// is written like the rest.
func TestNoSwitchWhileLoadsRun(t *testing.T) {
	a, b := panel(t, 4, 10, 10, 20), panel(t, 4, 10, 11, 20)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	board.fits(false)
	_, err = board.try(b, Options{}, link.Options{})
	require.ErrorIs(t, err, ErrFirmware, "all but the switch")
	board.fits(true)
	board.loads(true)
	erasures, writes := board.counts()
	l := board.line()
	defer l.Close()
	c := link.NewConn(l, link.Options{})
	_, err = c.Ask(t.Context(), link.Switch, nil)
	require.True(t, link.IsStatus(err, link.Busy), err)
	e, w := board.counts()
	require.Equal(t, erasures, e)
	require.Equal(t, writes, w)
	require.True(t, bytes.Equal(a.Bytes(), board.shows()))
	board.loads(false)
	_, err = c.Ask(t.Context(), link.Switch, nil)
	require.NoError(t, err)
	require.True(t, bytes.Equal(b.Bytes(), board.shows()))
}

// Whether the controller has switched is never guessed: when its answer is lost, hello
// tells.
func TestTheSwitchIsAskedAfter(t *testing.T) {
	a, b := panel(t, 4, 10, 10, 20), panel(t, 4, 10, 11, 20)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	soon := link.Options{Timeout: 5 * time.Millisecond, Tries: 2}
	question := len(link.Append(nil, link.Frame{Kind: link.Switch, Body: make([]byte, 3)}))
	lose := func(answers bool) func(p []byte) []byte {
		return func(p []byte) []byte {
			if len(p) > 2 && p[2] == byte(link.Switch) && answers == (len(p) > question) {
				return nil
			}
			return p
		}
	}
	board.spoil = lose(false)
	_, err = board.try(b, Options{}, soon)
	require.ErrorIs(t, err, link.ErrSilent)
	require.True(t, bytes.Equal(a.Bytes(), board.shows()))
	board.spoil = lose(true)
	r, err := board.try(b, Options{}, soon)
	require.NoError(t, err)
	require.EqualValues(t, 2, r.Installed)
	require.True(t, bytes.Equal(b.Bytes(), board.shows()))
}
