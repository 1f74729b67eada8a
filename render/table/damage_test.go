package table

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// sample is a small table with every kind of clip.
func sample(t testing.TB) []byte {
	s := cabinet()
	n := s.Channels()
	r := rand.New(rand.NewPCG(3, 4))
	static := make([]byte, 3*n)
	for i := range static {
		static[i] = uint8(r.IntN(256))
	}
	dark(s, static)
	value := ramp(s, 256)
	clips := []Clip{
		{Name: "rest", Frames: 20, Channels: n, Bytes: ramp(s, 20), Loop: true},
		{Name: "turning", Frames: 3, Channels: n, Bytes: bytes.Repeat(static[:n], 3)},
		{Name: "static", Frames: 3, Channels: n, Bytes: static},
		{Name: "lift", Frames: 256, Channels: n, Bytes: value, Value: true},
	}
	var out bytes.Buffer
	rep, err := Write(&out, s, clips, Options{})
	require.NoError(t, err)
	for i, want := range []Kind{Coded, Still, Raw, Coded} {
		require.Equal(t, want, rep.Clips[i].Kind)
	}
	return out.Bytes()
}

var sentinels = []error{ErrCut, ErrExtra, ErrChecksum, ErrNotTable, ErrVersion, ErrKind, ErrData, ErrLimit}

func known(err error) bool {
	for _, s := range sentinels {
		if errors.Is(err, s) {
			return true
		}
	}
	return false
}

func TestCutAtEveryByte(t *testing.T) {
	b := sample(t)
	h, err := ReadHeader(b)
	require.NoError(t, err)
	for n := range b {
		tab, err := Read(b[:n:n], Limits{})
		if n == h.NotesOffset {
			require.NoError(t, err, "a controller needs no notes")
			require.True(t, tab.Bare)
		} else {
			require.ErrorIs(t, err, ErrCut, "cut after %d bytes", n)
		}
		_, err = ReadHeader(b[:n:n])
		if n < h.HeaderLength {
			require.ErrorIs(t, err, ErrCut, "header cut after %d bytes", n)
		} else {
			require.NoError(t, err, "the header needs no more than itself")
		}
	}
	_, err = Read(append(bytes.Clone(b), 0), Limits{})
	require.ErrorIs(t, err, ErrExtra)
}

func TestEveryBitFlipped(t *testing.T) {
	b := sample(t)
	for i := range b {
		for bit := range 8 {
			b[i] ^= 1 << bit
			_, err := Read(b, Limits{})
			require.Error(t, err, "byte %d bit %d", i, bit)
			require.True(t, known(err), "byte %d bit %d: %v", i, bit, err)
			b[i] ^= 1 << bit
		}
	}
	_, err := Read(b, Limits{})
	require.NoError(t, err)
}

func TestReaderLimits(t *testing.T) {
	b := sample(t)
	_, err := Read(b, Limits{Bytes: len(b) - 1})
	require.ErrorIs(t, err, ErrLimit)
	frames, n := 20+3+3+256, cabinet().Channels()
	_, err = Read(b, Limits{Decoded: int64(frames*n) - 1})
	require.ErrorIs(t, err, ErrLimit)
	_, err = Read(b, Limits{Bytes: len(b), Decoded: int64(frames * n)})
	require.NoError(t, err)
}

// A kind of clip from a later writer is named, not guessed at.
func TestUnknownKind(t *testing.T) {
	s := cabinetFor(cabinet())
	n := s.Channels()
	var out bytes.Buffer
	_, err := Write(&out, s, []Clip{{Name: "c", Frames: 1, Channels: n, Bytes: make([]byte, n)}}, Options{})
	require.NoError(t, err)
	h, err := parseHeader(out.Bytes())
	require.NoError(t, err)
	h.Clips[0].Kind = 9
	b := append(h.marshal(), out.Bytes()[h.HeaderLength:]...)
	_, err = Read(b, Limits{})
	require.ErrorIs(t, err, ErrKind)
	require.ErrorContains(t, err, `clip "c" is of kind 9`)
}

// Whatever the bytes, reading them ends with a table or with a known error.
func FuzzRead(f *testing.F) {
	b := sample(f)
	f.Add(b)
	f.Add(b[:len(b)/2])
	f.Add([]byte{})
	s, clips := worked()
	var out bytes.Buffer
	_, err := Write(&out, s, clips, Options{})
	require.NoError(f, err)
	f.Add(out.Bytes())
	f.Fuzz(func(t *testing.T, b []byte) {
		_, err := Read(b, Limits{Bytes: 1 << 16, Decoded: 1 << 20})
		if err != nil && !known(err) {
			t.Fatalf("an error of no known kind: %v", err)
		}
	})
}

// Headers whose checksum is right and whose fields are anything.
func FuzzHeaderFields(f *testing.F) {
	b := sample(f)
	h, err := ReadHeader(b)
	require.NoError(f, err)
	f.Add(b[5 : h.HeaderLength-4])
	more := bytes.Clone(b[5 : h.HeaderLength-4])
	more[36-4]++ // a second supply
	f.Add(append(more, make([]byte, supplyRecord+budgetRecord*len(h.States))...))
	f.Fuzz(func(t *testing.T, fields []byte) {
		if len(fields) > 4096 || len(fields) < preamble-5 {
			return
		}
		head := append(bytes.Clone(b[:5]), fields...)
		binary.LittleEndian.PutUint32(head[8:], uint32(len(head)+4))
		table := append(sealed(head), b[h.HeaderLength:]...)
		if got, err := Read(table, Limits{Bytes: 1 << 16, Decoded: 1 << 20}); err == nil {
			require.Equal(t, got.marshal(), table[:got.HeaderLength], "a header reads and writes the same bytes")
		} else if !known(err) {
			t.Fatalf("an error of no known kind: %v", err)
		}
	})
}

// Notes whose checksum is right and whose content is anything.
func FuzzNotes(f *testing.F) {
	b := sample(f)
	h, err := ReadHeader(b)
	require.NoError(f, err)
	f.Add(b[h.NotesOffset : len(b)-4])
	f.Add([]byte{0})
	f.Add([]byte{3, 0})
	f.Fuzz(func(t *testing.T, body []byte) {
		if len(body) > 4096 {
			return
		}
		h.TableLength = h.NotesOffset + len(body) + 4
		table := append(h.marshal(), b[h.HeaderLength:h.NotesOffset]...)
		table = append(table, sealed(body)...)
		if _, err := Read(table, Limits{Bytes: 1 << 16, Decoded: 1 << 20}); err != nil && !known(err) {
			t.Fatalf("an error of no known kind: %v", err)
		}
	})
}

// A bit that no field uses is refused, even under a right checksum.
func TestUnusedBits(t *testing.T) {
	b := sample(t)
	h, err := ReadHeader(b)
	require.NoError(t, err)
	refused := 0
	for i := 5; i < h.HeaderLength-4; i++ {
		for bit := range 8 {
			head := bytes.Clone(b[:h.HeaderLength-4])
			head[i] ^= 1 << bit
			got, err := ReadHeader(sealed(head))
			if err == nil {
				require.Equal(t, sealed(head), got.marshal())
				continue
			}
			require.True(t, known(err), err)
			refused++
		}
	}
	require.NotZero(t, refused)
}

// An older table is named as such, before anything else is asked of it.
func TestOtherVersions(t *testing.T) {
	b := sample(t)
	for _, v := range []byte{0, 1, 3, 255} {
		old := bytes.Clone(b)
		old[4] = v
		for _, part := range [][]byte{old, old[:5]} {
			_, err := Read(part, Limits{})
			require.ErrorIs(t, err, ErrVersion)
			require.ErrorContains(t, err, fmt.Sprintf("version %d of the format, this program reads version 2; export the show again", v))
		}
	}
}
