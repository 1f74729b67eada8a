package upload

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
)

// Every kind of fault is tried by a function that counts them; a test tries a share,
// BenchmarkLinkFaults all. After each one of two shows plays, whole, and where the
// upload has said that it switched, the new one.

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

// powerAtEveryByte: power goes at every single byte of the line that an upload takes,
// and a second try brings the new show.
func powerAtEveryByte(t testing.TB, program string, whole bool) (cuts int) {
	a, b := panel(t, 4, 30, 10, 20, 30), panel(t, 4, 30, 11, 20, 30)
	board := startBoard(t, program, a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	was, will := a, b
	resumed := 0
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
	t.Logf("whole %v: power went %d times, %d uploads were resumed", whole, cuts, resumed)
	return cuts
}

func TestPowerGoesAtEveryByte(t *testing.T) {
	program := buildBoard(t)
	powerAtEveryByte(t, program, true)
	powerAtEveryByte(t, program, false)
}

// powerInEveryWrite: power goes in the midst of every write and erasure, the record's
// too; any of the bits under way may have changed.
func powerInEveryWrite(t testing.TB, program string, seeds uint32) (cuts int) {
	a, b := panel(t, 2, 12, 10, 20), panel(t, 2, 12, 11, 20)
	board := startBoard(t, program, a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	was, will := a, b
	for seed := uint32(1); seed <= seeds; seed++ {
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
	require.Greater(t, cuts, 6*int(seeds))
	t.Logf("power went in %d writes and erasures", cuts)
	return cuts
}

func TestPowerGoesInEveryWrite(t *testing.T) { powerInEveryWrite(t, buildBoard(t), 30) }

// badLine: flipped bits, lost and doubled bytes, pieces that never come or come
// twice, both ways. The upload takes longer and succeeds, or ends with an error.
func badLine(t testing.TB, program string, most int) (faults int) {
	a, b := panel(t, 2, 12, 10, 20), panel(t, 2, 12, 11, 20)
	board := startBoard(t, program, a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	was, will := a, b
	r := rand.New(rand.NewPCG(3, 4))
	failed, changed := 0, 0
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
	for faults < most {
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
	t.Logf("%d faults of the line, %d uploads came through, %d gave up", faults, changed, failed)
	return faults
}

func TestBadLine(t *testing.T) { badLine(t, buildBoard(t), 400) }

// unplugged: the line is pulled at any byte while the controller keeps its power; the
// next upload, over a line plugged in anew, goes on.
func unplugged(t testing.TB, program string, times int) int {
	a, b := panel(t, 2, 12, 10, 20), panel(t, 2, 12, 11, 20)
	board := startBoard(t, program, a.PanelSum())
	_, err := board.try(a, Options{}, link.Options{})
	require.NoError(t, err)
	was, will := a, b
	r := rand.New(rand.NewPCG(5, 6))
	all, pulled := 0, 0
	for pulled < times {
		left := 1 + r.IntN(2*len(b.Bytes()))
		l := board.line()
		whole := r.IntN(3) > 0
		_, err := Upload(t.Context(), link.NewConn(&short{l, left}, link.Options{Timeout: 20 * time.Millisecond}), will, Options{Whole: whole})
		l.Close()
		all++
		switch {
		case errors.Is(err, errPulled) || errors.Is(err, link.ErrClosed):
			pulled++
		default:
			require.NoError(t, err)
		}
		switch got := board.shows(); {
		case bytes.Equal(got, will.Bytes()):
			was, will = will, was
		default:
			require.True(t, bytes.Equal(got, was.Bytes()), "a mix")
			require.Error(t, err)
		}
	}
	t.Logf("pulled %d times in %d uploads", pulled, all)
	return pulled
}

var errPulled = errors.New("the plug is out")

// short is a line that is pulled after so many bytes.
type short struct {
	*line
	left int
}

func (s *short) Write(p []byte) (int, error) {
	if len(p) < s.left {
		s.left -= len(p)
		return s.line.Write(p)
	}
	if s.left > 0 {
		s.line.Write(p[:s.left])
	}
	s.left = 0
	s.line.Close()
	return 0, errPulled
}

func TestUnplugged(t *testing.T) { unplugged(t, buildBoard(t), 150) }

// BenchmarkLinkFaults counts the faults after which nothing was lost: any that is not
// survived ends it.
func BenchmarkLinkFaults(b *testing.B) {
	program := buildBoard(b)
	for range b.N {
		n := powerAtEveryByte(b, program, true) + powerAtEveryByte(b, program, false)
		n += powerInEveryWrite(b, program, 250)
		n += badLine(b, program, 4000)
		n += unplugged(b, program, 2500)
		require.GreaterOrEqual(b, n, 10_000)
		b.ReportMetric(float64(n), "link_faults_survived")
	}
	b.ReportMetric(0, "ns/op")
}
