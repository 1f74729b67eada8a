package link

import (
	"bytes"
	"encoding/binary"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Blocks that are taken while the controller's program stands still: those that follow
// upon each other and have room get the answer and the place that this side reckons,
// byte for byte, whatever comes between them and wherever the time for one ends;
// everything else is left to the program.
func TestBlocksTakenAhead(t *testing.T) {
	cc, err := exec.LookPath("cc")
	if err != nil {
		t.Skip("NOT TRIED: blocks taken ahead, there is no C compiler (cc)")
	}
	program := filepath.Join(t.TempDir(), "aheadhost")
	b, err := exec.Command(cc, "-std=c99", "-O1", "-g", "-Wall", "-Wextra", "-pedantic", "-Werror",
		"-fsanitize=address,undefined", "-fno-sanitize-recover=all",
		"-o", program, "testdata/aheadhost.c", "../player/link.c").CombinedOutput()
	require.NoError(t, err, string(b))
	taken, left, broken := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.IntRange(1, 4).Draw(t, "pages") * 256
		ring := make([]byte, size)
		next := uint32(rapid.SampledFrom([]int{0, 244, 0xff00, 0xfffe10, 1 << 24}).Draw(t, "next"))
		at := 0
		sc := newScript()
		sc.input.WriteByte('r')
		binary.Write(&sc.input, binary.LittleEndian, uint16(size))
		for range rapid.IntRange(1, 4).Draw(t, "pages written") {
			room := rapid.IntRange(0, size).Draw(t, "room")
			sc.input.WriteByte('o')
			binary.Write(&sc.input, binary.LittleEndian, uint16(room))
			binary.Write(&sc.input, binary.LittleEndian, next)
			n := 0
			for range rapid.IntRange(0, 6).Draw(t, "frames") {
				f := Frame{Kind: Block, Seq: rapid.Byte().Draw(t, "seq")}
				offset := next
				switch rapid.IntRange(0, 7).Draw(t, "what") {
				case 0:
					f.Kind = rapid.SampledFrom([]Kind{Hello, Alive, Copy, State}).Draw(t, "kind")
				case 1:
					offset += rapid.SampledFrom([]uint32{1, 256, 1 << 16, ^uint32(0)}).Draw(t, "off")
				}
				f.Body = binary.LittleEndian.AppendUint32(nil, offset)
				length := rapid.SampledFrom([]int{0, 1, 7, 8, 9, 100, 244, 246}).Draw(t, "length")
				fill := rapid.SampledFrom([]int{0, 1, 0xff, -1}).Draw(t, "fill")
				for range length {
					c := byte(fill)
					if fill < 0 {
						c = rapid.Byte().Draw(t, "byte")
					}
					f.Body = append(f.Body, c)
				}
				wire := Append(nil, f)
				if rapid.IntRange(0, 5).Draw(t, "broken") == 0 {
					wire[rapid.IntRange(1, len(wire)-2).Draw(t, "at")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
				}
				frames := 0
				whole := Splitter{Frame: func(Frame) { frames++ }}
				whole.Write(wire, sc.at(0))
				data := f.Body[4:]
				mine := frames == 1 && f.Kind == Block && offset == next && len(data) > 0 && len(data) <= room
				if !mine {
					left++
					for _, c := range wire {
						sc.byteOnly(c)
					}
					continue
				}
				// Steps before the last: one to look, one for 8 bytes each, seven of the sum.
				steps := 1 + (len(data)+7)/8 + 7
				for _, c := range wire[:len(wire)-1] {
					sc.byteOnly(c)
				}
				if k := rapid.IntRange(0, 2*steps).Draw(t, "steps"); k <= steps {
					broken++
					sc.input.Write([]byte{'i', byte(k)})
					for i, c := range data[:min(len(data), 8*max(0, k-1))] { // there, but nobody was told
						ring[(at+i)%size] = c
					}
					sc.closed(n, next, ring)
					n = 0
				} else {
					sc.input.Write([]byte{'b', 0})
				}
				for i, c := range data {
					ring[(at+i)%size] = c
				}
				at = (at + len(data)) % size
				next += uint32(len(data))
				room -= len(data)
				n++
				taken++
				sc.want.WriteByte('A')
				answer := binary.LittleEndian.AppendUint32([]byte{0}, next)
				sc.want.Write(Append(nil, Frame{Kind: Block, Seq: f.Seq, Body: answer}))
				sc.s = Splitter{Frame: sc.s.Frame, Text: sc.s.Text} // this side heard all but the zero,
				sc.s.Write([]byte{0}, sc.at(0))                     // which ends nothing anew
			}
			sc.input.WriteByte('c')
			sc.closed(n, next, ring)
		}
		sc.check(t, program)
	})
	require.Greater(t, taken, 100)
	require.Greater(t, left, 50)
	require.Greater(t, broken, 20)
	require.Greater(t, taken, broken)
}

func (sc *script) byteOnly(c byte) {
	sc.input.Write([]byte{'b', c})
	sc.s.Write([]byte{c}, sc.at(0))
}

func (sc *script) closed(taken int, next uint32, ring []byte) {
	sc.want.Write([]byte{'C', byte(taken)})
	binary.Write(&sc.want, binary.LittleEndian, next)
	sc.want.Write(bytes.Clone(ring))
}
