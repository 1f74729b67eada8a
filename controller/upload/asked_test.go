package upload

import (
	"bytes"
	"encoding/binary"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
	"paneglow/render/table"
)

// The controller's side trusts no computer: what Upload never asks is refused there too.

// asks gives a line on which anything can be asked.
func (b *board) asks() *link.Conn {
	l := b.line()
	b.t.Cleanup(l.Close)
	return link.NewConn(l, link.Options{})
}

func begins(length int, sum, layout uint32) []byte {
	le := binary.LittleEndian
	return le.AppendUint32(le.AppendUint32(le.AppendUint32(nil, uint32(length)), sum), layout)
}

// filled brings all of a table into the other slot, by a sum of its own, without the
// switch.
func (b *board) filled(c *link.Conn, t *table.Table, sum uint32) {
	ask := func(kind link.Kind, body []byte) {
		_, err := c.Ask(b.t.Context(), kind, body)
		require.NoError(b.t, err)
	}
	all := t.Bytes()
	ask(link.Begin, begins(len(all), sum, t.PanelSum()))
	for at := 0; at < len(all); at += blockBytes {
		ask(link.Block, append(binary.LittleEndian.AppendUint32(nil, uint32(at)), all[at:min(at+blockBytes, len(all))]...))
	}
}

func refuses(t *testing.T, c *link.Conn, s link.Status, kind link.Kind, body []byte) {
	t.Helper()
	_, err := c.Ask(t.Context(), kind, body)
	require.True(t, link.IsStatus(err, s), "want %v, got %v", s, err)
}

func TestWhatTheControllerRefuses(t *testing.T) {
	a, b := panel(t, 4, 10, 10, 20), panel(t, 4, 10, 11, 20)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	erasures, writes := board.counts()
	c := board.asks()
	le := binary.LittleEndian
	refuses(t, c, link.OutOfRange, link.Switch, nil)
	refuses(t, c, link.OutOfRange, link.Block, []byte{0, 0, 0, 0, 1})
	refuses(t, c, link.OutOfRange, link.Begin, begins(0, 0, a.PanelSum()))
	refuses(t, c, link.OutOfRange, link.Begin, begins(slotSize+1, 0, a.PanelSum()))
	refuses(t, c, link.Refused, link.Begin, begins(100, 0, a.PanelSum()+1))
	refuses(t, c, link.Malformed, link.Begin, make([]byte, 11))
	refuses(t, c, link.OutOfRange, link.Verify, le.AppendUint32(make([]byte, 5), slotSize+1))
	refuses(t, c, link.OutOfRange, link.Verify, le.AppendUint32([]byte{1, 0, 0, 0, 0}, slotSize+1))
	refuses(t, c, link.OutOfRange, link.Verify, []byte{2, 0, 0, 0, 0, 1, 0, 0, 0})
	board.loads(true)
	refuses(t, c, link.Busy, link.Begin, begins(100, 0, a.PanelSum()))
	board.loads(false)
	e, w := board.counts()
	require.Equal(t, erasures, e)
	require.Equal(t, writes, w)

	// A part of the table, and all of it by another sum.
	_, err = c.Ask(t.Context(), link.Begin, begins(len(b.Bytes()), Sum(b.Bytes()), b.PanelSum()))
	require.NoError(t, err)
	_, err = c.Ask(t.Context(), link.Block, append(make([]byte, 4), b.Bytes()[:200]...))
	require.NoError(t, err)
	refuses(t, c, link.OutOfRange, link.Block, append(le.AppendUint32(nil, 201), 1))
	refuses(t, c, link.OutOfRange, link.Block, append(le.AppendUint32(nil, uint32(len(b.Bytes()))), 1))
	refuses(t, c, link.Damaged, link.Switch, nil)
	board.filled(c, b, Sum(b.Bytes())^1)
	refuses(t, c, link.Damaged, link.Switch, nil)
	require.True(t, bytes.Equal(a.Bytes(), board.shows()))
	require.EqualValues(t, 1, board.power())
	require.True(t, bytes.Equal(a.Bytes(), board.shows()))
}

// A memory that takes nothing any more is noticed page by page.
func TestAPageIsReadBack(t *testing.T) {
	a, b := panel(t, 4, 10, 10, 20), panel(t, 4, 10, 11, 20)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	board.worn(1)
	_, err = board.try(b, Options{Whole: true}, link.Options{})
	require.True(t, link.IsStatus(err, link.Storage), err)
	require.ErrorContains(t, err, "worn out, or a chip of its own is not connected")
	require.True(t, bytes.Equal(a.Bytes(), board.shows()))
}

// Any bit of the newest record is lost: the one before it is in force.
func TestARecordOfWhichABitIsLost(t *testing.T) {
	a, b := panel(t, 4, 10, 10, 20), panel(t, 4, 10, 11, 20)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	for _, tab := range []*table.Table{a, b} {
		_, err := board.try(tab, Options{}, link.Options{})
		require.NoError(t, err)
	}
	const cell, record = 32, 20
	for bit := range uint32(record * 8) {
		board.loses(cell+bit/8, uint8(bit%8))
		require.EqualValues(t, 1, board.power(), "bit %d", bit)
		require.True(t, bytes.Equal(a.Bytes(), board.shows()))
		board.loses(cell+bit/8, uint8(bit%8)) // it is back
	}
	require.EqualValues(t, 2, board.power())
	require.True(t, bytes.Equal(b.Bytes(), board.shows()))
}

// No cell takes the record of a switch: wherever the one in force stands, it stays, and
// so does its show.
func TestNoCellTakesARecord(t *testing.T) {
	a, b := panel(t, 4, 3, 10), panel(t, 4, 3, 20)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	c := board.asks()
	for i := range uint32(20) { // 16 cells in two units
		tab := []*table.Table{a, b}[i%2]
		board.filled(c, tab, Sum(tab.Bytes()))
		if i > 0 {
			_, err := c.Ask(t.Context(), link.Verify, make([]byte, 9)) // what is behind gets written
			require.NoError(t, err)
			was := board.shows()
			board.worn(1 << 20)
			refuses(t, c, link.Storage, link.Switch, nil)
			board.worn(0)
			require.EqualValues(t, i, board.power())
			require.True(t, bytes.Equal(was, board.shows()))
			c = board.asks()
			board.filled(c, tab, Sum(tab.Bytes()))
		}
		_, err := c.Ask(t.Context(), link.Switch, nil)
		require.NoError(t, err)
		require.EqualValues(t, i+1, board.power())
		c = board.asks()
	}
}
