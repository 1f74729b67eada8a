package table

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"paneglow/anim/show"
)

// drawShow draws strips of three and four dies, with missing pixels.
func drawShow(t *rapid.T) *Show {
	s := cabinet()
	s.States, s.Silence, s.Then, s.Strips = nil, 0, None, nil
	for i := range rapid.IntRange(0, 4).Draw(t, "strips") {
		st := Strip{Name: string(rune('a' + i)), Part: rapid.IntRange(0, 1).Draw(t, "part"), Pixels: rapid.IntRange(0, 40).Draw(t, "pixels")}
		for px := range st.Pixels {
			if px%13 == 5 {
				st.Missing = append(st.Missing, px)
			}
		}
		s.Strips = append(s.Strips, st)
	}
	return s
}

// drawCodes draws frames that move, jump, repeat and sparkle.
func drawCodes(t *rapid.T, s *Show, frames int) []byte {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
	n := s.Channels()
	b := make([]byte, 0, n*frames)
	last := make([]byte, n)
	for range frames {
		next := bytes.Clone(last)
		switch r.IntN(7) {
		case 0: // the same
		case 1:
			for i := range next {
				next[i] = uint8(r.IntN(256))
			}
		case 2, 3:
			d := r.IntN(5) - 2
			for i := range next {
				next[i] += uint8(d + r.IntN(2))
			}
		case 4:
			copy(next[min(3, n):], last)
		case 5:
			copy(next, last[min(4, n):])
		case 6:
			if n > 0 {
				next[r.IntN(n)] ^= 1 << r.IntN(8)
			}
		}
		dark(s, next)
		b = append(b, next...)
		last = next
	}
	return b
}

// Every table drawn comes back, in every kind, for any number of workers with
// the same bytes, and hardly larger than its codes.
func TestTablesComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawShow(t)
		n := s.Channels()
		var clips []Clip
		raw := 0
		for i := range rapid.IntRange(0, 4).Draw(t, "clips") {
			c := Clip{Name: string(rune('c' + i)), Channels: n, Loop: rapid.Bool().Draw(t, "loop")}
			c.Frames = rapid.IntRange(1, 20).Draw(t, "frames")
			if rapid.IntRange(0, 9).Draw(t, "value") == 0 {
				c.Value, c.Frames = true, 256
			}
			c.Bytes = drawCodes(t, s, c.Frames)
			raw += len(c.Bytes)
			clips = append(clips, c)
		}
		pack := Pack(rapid.IntRange(0, 1).Draw(t, "pack"))
		var one, many bytes.Buffer
		_, err := Write(&one, s, clips, Options{Pack: pack, Workers: 1})
		require.NoError(t, err)
		_, err = Write(&many, s, clips, Options{Pack: pack, Workers: 7})
		require.NoError(t, err)
		require.True(t, bytes.Equal(one.Bytes(), many.Bytes()))
		tab, err := Read(one.Bytes(), Limits{})
		require.NoError(t, err)
		got := make([]byte, n)
		for i, c := range clips {
			d := tab.Clip(i).Start()
			for f := range c.Frames {
				require.NoError(t, d.Next(got))
				require.True(t, bytes.Equal(c.Bytes[f*n:(f+1)*n], got))
				require.Equal(t, (tab.Meter().Current(got)+999)/1000, tab.Currents(i)[f])
			}
			require.LessOrEqual(t, tab.Clips[i].Length, len(c.Bytes))
		}
	})
}

func TestWriterRefuses(t *testing.T) {
	n := cabinet().Channels()
	good := func() (*Show, []Clip) {
		s := cabinet()
		return s, []Clip{{Name: "rest", Frames: 4, Channels: n, Bytes: ramp(s, 4)}, {Name: "turning", Frames: 1, Channels: n, Bytes: ramp(s, 1)}}
	}
	for name, spoil := range map[string]func(*Show, []Clip) []Clip{
		"a byte too few":         func(s *Show, c []Clip) []Clip { c[0].Bytes = c[0].Bytes[1:]; return c },
		"other channels":         func(s *Show, c []Clip) []Clip { c[0].Channels--; return c },
		"a lit missing pixel":    func(s *Show, c []Clip) []Clip { c[0].Bytes[6] = 1; return c },
		"a wrong current":        func(s *Show, c []Clip) []Clip { c[1].Current = []int64{5}; return c },
		"currents too few":       func(s *Show, c []Clip) []Clip { c[0].Current = []int64{5}; return c },
		"a short value clip":     func(s *Show, c []Clip) []Clip { c[0].Value = true; return c },
		"a state without a clip": func(s *Show, c []Clip) []Clip { return c[:1] },
		"a nameless clip":        func(s *Show, c []Clip) []Clip { c[0].Name = ""; return c },
		"no frames":              func(s *Show, c []Clip) []Clip { c[0].Frames, c[0].Bytes = 0, nil; return c },
		"an unknown order":       func(s *Show, c []Clip) []Clip { s.Parts[0].Order = "GGB"; return c },
		"a stay without a goal":  func(s *Show, c []Clip) []Clip { s.States[1].Then = None; return c },
		"a load of no machine":   func(s *Show, c []Clip) []Clip { s.States[1].Loads = 2; return c },
		"a missing pixel twice":  func(s *Show, c []Clip) []Clip { s.Strips[0].Missing = []int{2, 2}; return c },
		"an unknown law":         func(s *Show, c []Clip) []Clip { s.Parts[0].Law = show.Ceiling + 1; return c },
	} {
		s, clips := good()
		clips = spoil(s, clips)
		var out bytes.Buffer
		_, err := Write(&out, s, clips, Options{})
		require.ErrorIs(t, err, ErrData, name)
		require.Zero(t, out.Len(), "%s: nothing is written", name)
	}
	// Frames as given are never changed, spare capacity included.
	s, clips := good()
	room := append(bytes.Clone(clips[1].Bytes), 1, 2, 3, 4)
	clips[1].Bytes = room[:n]
	_, err := Write(io.Discard, s, clips, Options{})
	require.NoError(t, err)
	require.Equal(t, []byte{1, 2, 3, 4}, room[n:])
}

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

func TestDecodingAllocatesNothing(t *testing.T) {
	tab, err := Read(sample(t), Limits{})
	require.NoError(t, err)
	dst := make([]uint8, tab.Channels())
	for i := range tab.Clips {
		d := tab.Clip(i).Start()
		require.Zero(t, testing.AllocsPerRun(1, func() {
			if err := d.Seek(0); err != nil {
				t.Fatal(err)
			}
			for range tab.Clips[i].Frames {
				if err := d.Next(dst); err != nil {
					t.Fatal(err)
				}
			}
		}))
	}
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

// What a packer knows of its frames' costs comes back in units of the notes,
// and a record that says otherwise is refused.
func TestCyclesReadBack(t *testing.T) {
	s := cabinetFor(cabinet())
	n := s.Channels()
	c := Clip{Name: "c", Frames: 3, Channels: n, Bytes: ramp(s, 3)}
	meter, err := s.Meter()
	require.NoError(t, err)
	var currents []int64
	for f := range 3 {
		currents = append(currents, meter.Current(c.Bytes[f*n:(f+1)*n]))
	}
	build := func(worst uint32) []byte {
		p := packed{payload: c.Bytes, kind: Raw, work: 77, cycles: []uint32{1, 256, 70_001}}
		h := &Header{Show: *s, Version: Version, Panel: s.PanelSum(), Clips: []ClipInfo{p.info(&c)}}
		for _, ua := range currents {
			h.Clips[0].Peak = max(h.Clips[0].Peak, ua)
		}
		h.Clips[0].Cycles = worst
		h.HeaderLength = len(h.marshal())
		h.Clips[0].Offset = h.HeaderLength
		h.NotesOffset = h.HeaderLength + len(p.payload) + 4
		notes := h.notes([][]int64{currents}, [][]uint32{p.cycles})
		h.TableLength = h.NotesOffset + len(notes)
		return append(append(h.marshal(), sealed(p.payload)...), notes...)
	}
	tab, err := Read(build(70_001), Limits{})
	require.NoError(t, err)
	require.Equal(t, []int64{256, 256, 274 * 256}, tab.Cycles(0))
	require.Equal(t, 77, tab.Work())
	require.EqualValues(t, 70_001, tab.Clips[0].Cycles)
	_, err = Read(build(60_000), Limits{})
	require.ErrorIs(t, err, ErrData)
	require.ErrorContains(t, err, "takes at most 60000 cycles a frame by its record and 70144 by the notes")
}

// Without notes a table plays and counts the same; names are numbers.
func TestBareTable(t *testing.T) {
	whole, err := Read(sample(t), Limits{})
	require.NoError(t, err)
	require.False(t, whole.Bare)
	bare, err := Read(whole.ForController(), Limits{})
	require.NoError(t, err)
	require.True(t, bare.Bare)
	require.Empty(t, bare.Title)
	require.Equal(t, "1", bare.States[1].Name)
	require.Equal(t, "3", bare.Clips[3].Name)
	require.Equal(t, whole.Panel, bare.PanelSum())
	for i := range whole.Clips {
		require.Equal(t, whole.Currents(i), bare.Currents(i))
	}
	h, err := ReadHeader(whole.Bytes())
	require.NoError(t, err)
	require.Equal(t, bare.Header, h)
}
