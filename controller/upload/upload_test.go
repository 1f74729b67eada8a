package upload

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"math/rand/v2"
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
	require.ErrorIs(t, err, ErrLayout)
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
	u.Board.Slots = 0
	require.ErrorIs(t, u.fits(), ErrNoSlots)
}

// Loads start in the midst of an upload: it stops without harm, and goes on
// where it was.
func TestLoadsStartMeanwhile(t *testing.T) {
	a, b := panel(t, 4, 30, 10, 20, 30), panel(t, 4, 30, 11, 21, 31)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	stopped := false
	_, err = board.try(b, Options{Progress: func(n, all int) {
		if n > all/2 && !stopped {
			stopped = true
			board.mu.Lock()
			board.loads(true)
			board.mu.Unlock()
		}
	}}, link.Options{})
	require.ErrorIs(t, err, ErrBusy)
	require.True(t, bytes.Equal(a.Bytes(), board.shows()))
	board.loads(false)
	r, err := board.try(b, Options{}, link.Options{})
	require.NoError(t, err)
	require.True(t, bytes.Equal(b.Bytes(), board.shows()))
	require.Greater(t, r.Found, len(b.Bytes())/3)
}

// either checks that after power came back one of two shows plays, whole.
func (b *board) either(was, will []byte) bool {
	b.power()
	got := b.shows()
	if bytes.Equal(got, will) {
		return true
	}
	require.True(b.t, bytes.Equal(got, was), "a mix: %d bytes", len(got))
	return false
}

// Power goes at every single byte of the line that an upload takes: the old show
// plays or the new one, and a second try brings the new one.
func TestPowerGoesAtEveryByte(t *testing.T) {
	a, b := panel(t, 4, 30, 10, 20, 30), panel(t, 4, 30, 11, 20, 30)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	was, will := a, b
	for _, whole := range []bool{true, false} {
		cuts, resumed := 0, 0
		for k := uint32(1); ; k++ {
			board.cut(k, 0, k)
			_, err := board.try(will, Options{Whole: whole}, link.Options{})
			board.cut(0, 0, 0)
			if err == nil {
				break // the whole upload took fewer bytes
			}
			cuts++
			if board.either(was.Bytes(), will.Bytes()) {
				was, will = will, was
				continue
			}
			if k%5 == 0 {
				resumed++
				_, err = board.try(will, Options{}, link.Options{})
				require.NoError(t, err)
				require.True(t, bytes.Equal(will.Bytes(), board.shows()))
				was, will = will, was
			}
		}
		if whole {
			require.Greater(t, cuts, len(b.Bytes()))
		}
		t.Logf("whole %v: %d cuts, %d resumed", whole, cuts, resumed)
	}
}

// Power goes in the midst of every write and erasure, the record's too; any of
// the bits under way may have changed.
func TestPowerGoesInEveryWrite(t *testing.T) {
	a, b := panel(t, 2, 12, 10, 20), panel(t, 2, 12, 11, 20)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	was, will := a, b
	cuts := 0
	for seed := uint32(1); seed <= 30; seed++ {
		for k := uint32(1); ; k++ {
			board.cut(0, k, seed*2654435761+k)
			_, err := board.try(will, Options{Whole: true}, link.Options{})
			board.cut(0, 0, 0)
			if err == nil {
				was, will = will, was
				break
			}
			cuts++
			if board.either(was.Bytes(), will.Bytes()) {
				was, will = will, was
			}
			if k%3 == 0 {
				_, err = board.try(will, Options{}, link.Options{})
				require.NoError(t, err)
				require.True(t, bytes.Equal(will.Bytes(), board.shows()))
				was, will = will, was
			}
		}
	}
	require.Greater(t, cuts, 200)
	t.Logf("%d cuts", cuts)
}

// A bad line: flipped bits, lost and doubled bytes, pieces that never come, both
// ways. The upload takes longer and succeeds, or ends with an error; never is the
// show a mix.
func TestBadLine(t *testing.T) {
	a, b := panel(t, 2, 12, 10, 20), panel(t, 2, 12, 11, 20)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	was, will := a, b
	r := rand.New(rand.NewPCG(3, 4))
	faults, failed, changed := 0, 0, 0
	board.spoil = func(p []byte) []byte {
		if r.IntN(12) > 0 {
			return p
		}
		faults++
		q := append([]byte(nil), p...)
		at := r.IntN(len(q))
		switch r.IntN(5) {
		case 0:
			q[at] ^= 1 << r.IntN(8)
		case 1:
			q = append(q[:at], q[at+1:]...)
		case 2:
			q = append(q[:at], append([]byte{q[at]}, q[at:]...)...)
		case 3:
			q = q[:at]
		default:
			q = append(q, q...) // all of it twice
		}
		return q
	}
	for faults < 400 {
		_, err := board.try(will, Options{Whole: r.IntN(2) == 0}, link.Options{Timeout: 3 * time.Millisecond, Tries: 8})
		if err != nil {
			failed++
		}
		if board.either(was.Bytes(), will.Bytes()) {
			changed++
			was, will = will, was
		} else {
			require.Error(t, err, "it said that it had switched")
		}
	}
	require.Positive(t, changed)
	t.Logf("%d faults, %d uploads came through, %d gave up", faults, changed, failed)
}
