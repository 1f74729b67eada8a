package upload

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
)

// What is read back is compared to the byte. This board's firmware reads slots only: the
// one in force is what plays.
func TestCompareToTheByte(t *testing.T) {
	a, b := panel(t, 6, 20, 10, 20), panel(t, 6, 20, 10, 21)
	board := startBoard(t, buildBoard(t), a.PanelSum())
	compare := func(of int) (r Compared, done []int, err error) {
		l := board.line()
		defer l.Close()
		tab := a
		if of == 1 {
			tab = b
		}
		r, err = Compare(t.Context(), link.NewConn(l, link.Options{}), tab, func(n, all int) { done = append(done, n) })
		return r, done, err
	}
	_, _, err := compare(0)
	require.ErrorIs(t, err, ErrUnread, "nothing plays")

	_, err = board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	r, done, err := compare(0)
	require.NoError(t, err)
	require.Equal(t, -1, r.Differs)
	require.Equal(t, len(a.ForController()), r.Bytes)
	require.Equal(t, r.Bytes, done[len(done)-1])
	require.IsIncreasing(t, done)

	x, y := a.ForController(), b.ForController()
	first := 0
	for x[first] == y[first] {
		first++
	}
	r, _, err = compare(1)
	require.NoError(t, err)
	require.Equal(t, first, r.Differs)
	require.Equal(t, x[first], r.Is)
	require.Equal(t, y[first], r.Should)
}
